"""Writing a day's manifest: judged from what is known, signed, kept on the laptop (P11).

Order: the manifest's files first, then the fact that they exist.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import count

from takehold.decide.check import Around
from takehold.decide.judge import judge
from takehold.decide.manifest import (
    NAMESPACE,
    PRINCIPAL,
    Writer,
    basis,
    document,
    revision,
)
from takehold.decide.manifest_lists import SUMS, is_true_list, listed, lists, sums_of, told_by
from takehold.decide.manifest_names import MOST_REVISIONS, names_of, number_of
from takehold.decide.place import day_folder
from takehold.formats.canonical import canonical
from takehold.formats.signature import public_line, verify
from takehold.model.errors import EvidenceError, FileMissing
from takehold.model.facts import Revised
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings
from takehold.model.situation import Situation
from takehold.model.step import Publish
from takehold.ports.archive import Archive
from takehold.ports.clock import Clock
from takehold.ports.signer import Signer

KEPT = ("manifest", "signature", "signers")
# What a revision has beside the day's document.
OF_A_REVISION = frozenset({"revision", "written_at", "previous", "also_follows"})


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

    def kept(self, ledger: Ledger, day: str) -> Revised | None:
        """The day's next revision, if it is signed and kept but was never recorded.

        The power went between the two, or the catalogue took no facts. It stays what it is, so
        that one number never means two manifests. A number of which not all was kept is passed
        over, as it was when the next one was written. Raises what the archive and the signer raise.
        """
        newest = ledger.newest(day)
        number = self._first_whole(day, newest.number + 1 if newest else 1)
        if number is None:
            return None
        names = names_of(day, number)
        raw = self.archive.read(day, names["manifest"])
        try:
            key = verify(raw, self.archive.read(day, names["signature"]), NAMESPACE)
        except EvidenceError:
            return None
        if public_line(key) != self.signer.public_line():
            return None
        doc = json.loads(raw)
        known = {r.digests.sha256 for r in ledger.day(day) if r.digests is not None}
        if not {entry["sha256"] for entry in doc["files"]} <= known:
            return None  # found on a drive, and what it tells was not recorded: it is found again
        at = int(datetime.fromisoformat(doc["written_at"]).timestamp())
        bare = {k: v for k, v in doc.items() if k not in OF_A_REVISION}
        sha = hashlib.sha256(raw).hexdigest()
        return Revised(day, number, names["manifest"], sha, at, str(doc["verdict"]), basis(bare))

    def _first_whole(self, day: str, least: int) -> int | None:
        """The lowest number from `least` on of which manifest and signature are kept."""
        held = set(self.archive.names(day))
        numbers = {n for name in held if (n := number_of(day, name)) is not None and n >= least}
        names = ((number, names_of(day, number)) for number in sorted(numbers))
        whole = (n for n, of in names if {of["manifest"], of["signature"]} <= held)
        return next(whole, None)

    def left_over(self, ledger: Ledger, day: str) -> Revised | None:
        """What `kept` finds, of any day: the one that names the chain's end comes next (P11)."""
        end = ledger.last_revision()
        for other in self.archive.days():
            found = self.kept(ledger, other)
            if found is not None and self._names(found) == (end and end.sha256):
                return found
        return self.kept(ledger, day)

    def _names(self, revised: Revised) -> str | None:
        """The hash of the manifest before it, as it says."""
        link = json.loads(self.archive.read(revised.day, revised.name))["previous"]
        return None if link is None else str(link["sha256"])

    def write(
        self, ledger: Ledger, day: str, now: Situation, around: Around
    ) -> tuple[Revised, bool]:
        """The day's newest revision, and whether it is new: one that says the same is kept.

        Where the kept one was altered, a new one takes its place. Raises what the archive and the
        signer raise.
        """
        doc = self._doc(ledger, day, now, around)
        what = basis(doc)
        newest = ledger.newest(day)
        if newest is not None and newest.basis == what and self._is_kept(ledger, newest):
            return newest, False
        number = self._next_number(ledger, day)
        at = self.clock.now()
        raw = canonical(revision(doc, number, at, ledger.last_revision(), ledger.loose()))
        self._keep(day, number, raw)
        word = str(doc["verdict"])
        sha = hashlib.sha256(raw).hexdigest()
        return Revised(day, number, names_of(day, number)["manifest"], sha, at, word, what), True

    def _next_number(self, ledger: Ledger, day: str) -> int:
        """Above all that were ever used for that day, by whom and wherever.

        Where somebody used up the last one: the first above our own that nobody used.
        """
        mine = {number_of(day, name) or 0 for name in self.archive.names(day)}
        mine |= {revised.number for revised in ledger.revisions.get(day, ())}
        used = mine | {met.number for met in ledger.met.values() if met.day == day}
        number = 1 + max(used, default=0)
        if number <= MOST_REVISIONS:
            return number
        return next(n for n in count(1 + max(mine, default=0)) if n not in used)

    def _keep(self, day: str, number: int, raw: bytes) -> None:
        names = names_of(day, number)
        self.archive.keep(
            day,
            {
                names["signature"]: self.signer.sign(raw, NAMESPACE),
                names["signers"]: self.signer.allowed_signers(PRINCIPAL, NAMESPACE),
                names["manifest"]: raw,
            },
        )

    def kept_files(self, ledger: Ledger, day: str, number: int) -> dict[str, bytes]:
        """A revision's kept files; EvidenceError if they are not what was signed."""
        names = names_of(day, number)
        known = {r.sha256 for r in ledger.revisions.get(day, ()) if r.number == number}
        try:
            kept = {what: self.archive.read(day, names[what]) for what in KEPT}
            key = public_line(verify(kept["manifest"], kept["signature"], NAMESPACE))
        except (EvidenceError, FileMissing):
            whole = False
        else:
            whole = hashlib.sha256(kept["manifest"]).hexdigest() in known
            whole = whole and key.encode() in kept["signers"]
        if whole:
            return kept
        raise EvidenceError(
            f"The laptop's own {names['manifest']}, or its signature, is gone or was altered.",
            f"Take its three files ({', '.join(names[what] for what in KEPT)}) from the day's"
            " folder on a drive that has them, and put them into the folder manifests/"
            f"{day} of takehold's state folder. The next wrap writes a new revision, too.",
        )

    def _is_kept(self, ledger: Ledger, revised: Revised) -> bool:
        try:
            return bool(self.kept_files(ledger, revised.day, revised.number))
        except EvidenceError:
            return False

    def is_of_another(self, ledger: Ledger, revised: Revised) -> bool:
        """Whether a revision is of the production of before: its name in the config was changed."""
        try:
            kept = self.kept_files(ledger, revised.day, revised.number)
        except EvidenceError:
            return False  # told where it is to be published
        production = str(told_by(kept["manifest"])["production"])
        here = day_folder(self.settings.production, revised.day)
        return here != day_folder(production, revised.day)

    def is_whole(
        self,
        ledger: Ledger,
        revised: Revised,
        root: str,
        found: Mapping[str, bytes],
        kept: Mapping[str, bytes],
    ) -> bool:
        """Whether a revision's files, by what they are, hold what that drive was given.

        `kept` is what `kept_files` gives. A list names each current file of its manifest, by the
        copies of its time; of one that was found again nobody knows which they were.
        """
        if any(found[what] != kept[what] for what in KEPT):
            return False
        doc = told_by(kept["manifest"])
        sums = {what: sums_of(doc, what) for what in SUMS}
        folder = day_folder(self.settings.production, revised.day) + b"/"
        # Seldom a recording went to another day since: then all are asked.
        of_it: tuple[Iterable[int], ...] = ledger.of_day.get(revised.day, ()), ledger.recordings
        known = (listed(doc, ledger, ids, folder, root) if revised.basis else None for ids in of_it)
        return any(all(is_true_list(found[w], k, sums[w]) for w in SUMS) for k in known)

    def files_for(self, ledger: Ledger, step: Publish) -> dict[bytes, bytes]:
        """What a revision's folder on one destination gets: the kept files, and its own lists.

        EvidenceError if the kept ones are not what was signed.
        """
        folder = day_folder(self.settings.production, step.day) + b"/"
        names = names_of(step.day, step.number)
        kept = self.kept_files(ledger, step.day, step.number)
        doc = told_by(kept["manifest"])
        sha, xxh = lists(doc, ledger, folder, step.target.root.identity)
        files = {**kept, "sha256": sha, "xxh64": xxh}
        return {folder + names[what].encode(): data for what, data in files.items()}

    def _doc(self, ledger: Ledger, day: str, now: Situation, around: Around) -> dict[str, object]:
        judged = judge(ledger, day, self.settings, around)
        return document(judged, ledger, self.settings, now.targets, self.writer)
