"""Writing a day's manifest: judged from what is known, signed, kept on the laptop (P11).

Order: the manifest's files first, then the fact that they exist.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from takehold.decide.check import Around
from takehold.decide.judge import judge
from takehold.decide.manifest import (
    NAMESPACE,
    PRINCIPAL,
    Writer,
    basis,
    document,
    lists,
    names_of,
    revision,
)
from takehold.decide.place import day_folder
from takehold.formats.canonical import canonical
from takehold.model.facts import Revised
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings
from takehold.model.situation import Situation
from takehold.model.step import Publish
from takehold.ports.archive import Archive
from takehold.ports.clock import Clock
from takehold.ports.signer import Signer


@dataclass(frozen=True, slots=True)
class Days:
    """Judges and writes days for one production."""

    settings: Settings
    archive: Archive
    signer: Signer
    clock: Clock
    writer: Writer

    def stale(self, ledger: Ledger, day: str, now: Situation, around: Around) -> bool:
        """Whether a day that has a manifest says something else by now."""
        newest = ledger.newest(day)
        return newest is not None and newest.basis != basis(self._doc(ledger, day, now, around))

    def write(
        self, ledger: Ledger, day: str, now: Situation, around: Around
    ) -> tuple[Revised, bool]:
        """The day's newest revision, and whether it is new: one that says the same is kept.

        Raises what the archive and the signer raise.
        """
        doc = self._doc(ledger, day, now, around)
        what = basis(doc)
        newest = ledger.newest(day)
        if newest is not None and newest.basis == what:
            return newest, False
        number = newest.number + 1 if newest else 1
        at = self.clock.now()
        raw = canonical(revision(doc, number, at, ledger.last_revision()))
        names = names_of(day, number)
        self.archive.keep(
            day,
            {
                names["manifest"]: raw,
                names["signature"]: self.signer.sign(raw, NAMESPACE),
                names["signers"]: self.signer.allowed_signers(PRINCIPAL, NAMESPACE),
            },
        )
        word = str(doc["verdict"])
        sha = hashlib.sha256(raw).hexdigest()
        return Revised(day, number, names["manifest"], sha, at, word, what), True

    def files_for(self, ledger: Ledger, step: Publish) -> dict[bytes, bytes]:
        """What a revision's folder on one destination gets: the kept files, and its own lists."""
        folder = day_folder(self.settings.production, step.day) + b"/"
        names = names_of(step.day, step.number)
        kept = {
            n: self.archive.read(step.day, names[n]) for n in ("manifest", "signature", "signers")
        }
        view = judge(ledger, step.day, self.settings).view
        sha, xxh = lists(view, self.settings.production, step.target.root.identity)
        files = {**kept, "sha256": sha, "xxh64": xxh}
        return {folder + names[what].encode(): data for what, data in files.items()}

    def _doc(self, ledger: Ledger, day: str, now: Situation, around: Around) -> dict[str, object]:
        judged = judge(ledger, day, self.settings, around)
        return document(judged, ledger, self.settings, now.targets, self.writer)
