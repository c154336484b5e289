"""What a drive that comes tells of days that are not known here: level-triggered, with every mount.

A catalogue may be lost, and begun anew before the drive is there that has its days. What our key
signed is taken in as `engine.rebuild` does at the first start. Any other manifest keeps the number
that it has: the next revision of ours gets one that nobody used.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field

from takehold.decide.day import is_day
from takehold.decide.manifest_names import names_of
from takehold.decide.manifest_names import number_of as number_in
from takehold.decide.merge import merged
from takehold.decide.rebuild import facts_of_manifests, follows
from takehold.engine.days import Days
from takehold.engine.patience import NoAnswer, Patience, of_a_device
from takehold.engine.rebuild import (
    MANIFEST_CAP,
    SIGNATURE_CAP,
    Page,
    Read,
    judged,
    keep,
    must_be_ours,
    reading,
    size_of,
    text_of,
)
from takehold.formats.names import safe_part, shown
from takehold.model.errors import (
    EvidenceError,
    FileMissing,
    NameTaken,
    Stalled,
    TakeholdError,
    VolumeGone,
)
from takehold.model.facts import Fact, Inventoried, Met, Proven, Revised
from takehold.model.ledger import Ledger
from takehold.model.situation import Target
from takehold.ports.disk import DestinationTree, Disk

Record = Callable[[Iterable[Fact]], None]


@dataclass(slots=True)
class _Found:
    """What one drive showed: our manifests, and the numbers that others use.

    The archive holds `clashes` with other bytes: they were signed here, and not recorded yet.
    """

    pages: list[Page] = field(default_factory=list)
    met: list[Met] = field(default_factory=list)
    clashes: set[tuple[str, int]] = field(default_factory=set)


class Recall:
    """Remembers which mounts were looked at since the program started."""

    def __init__(self, disk: Disk, patience: Patience) -> None:
        self._disk = disk
        self._patience = patience
        self._seen: set[str] = set()
        self._said: list[str] = []

    def look(self, ledger: Ledger, targets: Iterable[Target], days: Days, record: Record) -> None:
        """Have recorded what drives tell which came since.

        A drive that fails is asked again at the next look, and so is one of which the facts were
        not recorded. Raises what `record` and the ledger raise.
        """
        present = {target.root.volume.mount_id + target.root.identity: target for target in targets}
        self._seen &= present.keys()
        for name in sorted(present.keys() - self._seen):
            with suppress(NoAnswer):
                facts, says = self._ask(ledger, present[name], days)
                record(facts)
                self._seen.add(name)
                self._said += says

    def says(self) -> list[str]:
        """What was found since the last time that somebody asked."""
        said, self._said = self._said, []
        return said

    def _ask(self, ledger: Ledger, target: Target, days: Days) -> tuple[list[Fact], list[str]]:
        """The facts that it tells, and what is said of them."""
        with of_a_device():
            found, says = self._found(ledger, target, days)
        if found.pages:
            facts = self._facts(ledger, target, found, days)
            return [*facts, *found.met], [*says, _known_again(target, found, facts)]
        return list(found.met), says

    def _found(self, ledger: Ledger, target: Target, days: Days) -> tuple[_Found, list[str]]:
        """Each day by itself, so that a drive with many is not taken for one that hangs."""
        key, found, says = f"recall {target.root.identity}", _Found(), []

        def held() -> list[str]:
            with self._disk.destination(target.root) as tree:
                names = map(text_of, tree.taken(safe_part(days.settings.production.encode())))
                return sorted(name for name in names if is_day(name))

        def read(day: str) -> Callable[[], None]:
            def look() -> None:
                with self._disk.destination(target.root) as tree:
                    _read_day(found, ledger, target, tree, day, days)

            return look

        for day in self._patience.ask(key, held):
            try:
                self._patience.ask(key, read(day))
            except (VolumeGone, Stalled):
                raise
            except TakeholdError as error:
                says.append(f"{shown(target.name)}: {error.says}")
        return found, says

    def _facts(self, ledger: Ledger, target: Target, found: _Found, days: Days) -> list[Fact]:
        pages = sorted(found.pages, key=lambda page: (page.told.day, page.told.revision))
        told = merged(facts_of_manifests((page.raw, page.doc) for page in pages), ledger)
        lost = self._lost(ledger, target, told)
        facts = [fact for fact in told if fact not in lost and not _clashes(found, fact)]
        return [*facts, *_ends(ledger, target, pages, days.clock.now())]

    def _lost(self, ledger: Ledger, target: Target, told: Iterable[Fact]) -> set[Fact]:
        """Copies that are plainly not on that drive: they are owed, and are made again."""
        root, new = target.root.identity, [f.recording for f in told if isinstance(f, Inventoried)]
        mine = [f for f in told if isinstance(f, Proven) and f.copy.root == root]
        sizes = {recording.id: recording.stamp.size for recording in new}
        known = {f.copy.recording for f in mine} - sizes.keys()
        sizes |= {number: ledger.size_of(number) for number in known}

        def gone() -> set[Fact]:
            with self._disk.destination(target.root) as tree:
                return {f for f in mine if size_of(tree, f.copy.path) != sizes[f.copy.recording]}

        with of_a_device():
            return self._patience.ask(f"recall {root}", gone) if mine else set()


def _known_again(target: Target, found: _Found, facts: Iterable[Fact]) -> str:
    told = list(facts)
    days = ", ".join(sorted({page.told.day for page in found.pages}))
    files = sum(isinstance(fact, Inventoried) for fact in told)
    copies = sum(isinstance(fact, Proven) for fact in told)
    return (
        f"{shown(target.name)} holds manifests that were signed with this key and were not "
        f"known here: {days}. Known again: files {files}, proven copies {copies}."
    )


def _clashes(found: _Found, fact: Fact) -> bool:
    return isinstance(fact, Revised) and (fact.day, fact.number) in found.clashes


def _ends(ledger: Ledger, target: Target, pages: Iterable[Page], at: int) -> list[Met]:
    """That these stand there, and which of all that are known no other names (P11)."""
    followed = {sha for page in pages for sha in follows(page.doc)}
    ends = [
        m._replace(loose=False) for m in ledger.met.values() if m.loose and m.sha256 in followed
    ]
    last = ledger.last_revision()
    if last is not None and not last.basis and last.sha256 not in followed:
        ends.append(Met(last.day, last.number, last.sha256, "", "", at, ours=True, loose=True))
    for page in pages:
        about = page.told.day, page.told.revision, page.sha256, target.name, target.root.identity
        ends.append(Met(*about, at, ours=True, loose=page.sha256 not in followed))
    return ends


def _read_day(
    found: _Found, ledger: Ledger, target: Target, tree: DestinationTree, day: str, days: Days
) -> None:
    """The manifests in a day's folder that are not known to stand there."""
    folder = safe_part(days.settings.production.encode()) + b"/" + day.encode()
    names = {text_of(name) for name in tree.taken(folder)}
    root = target.root.identity
    used = {n for name in names if (n := number_in(day, name)) is not None}
    for number in sorted(used):
        if (day, number, root) in ledger.published or (day, number, root) in ledger.met:
            continue
        whole = {names_of(day, number)[what] for what in ("manifest", "signature")} <= names
        read = reading(tree, folder + b"/")
        _read_one(found, ledger, target, day, number, read if whole else None, days)


def _read_one(
    found: _Found,
    ledger: Ledger,
    target: Target,
    day: str,
    number: int,
    read: Read | None,
    days: Days,
) -> None:
    """One number that is used there: by our manifest that is known, by ours that is not, by others.

    A revision that is on its way there may stand with a part of its files only; the rest is put
    there then.
    """
    mine = next((r for r in ledger.revisions.get(day, ()) if r.number == number), None)
    sha, names = "", names_of(day, number)
    try:
        if read is not None:
            raw = read(names["manifest"], MANIFEST_CAP)
            sha = hashlib.sha256(raw).hexdigest()
            if mine is not None and mine.sha256 == sha:
                return
            signature = read(names["signature"], SIGNATURE_CAP)
            page = judged(days.signer, day, number, raw, signature)
            must_be_ours(page.told, days.settings.production)
            found.pages.append(page)
            if mine is None:
                keep(days.archive, days.signer, page, signature)
            return
    except NameTaken:
        found.clashes.add((day, number))
        return
    except (EvidenceError, FileMissing):
        pass
    if mine is None or read is not None:
        at = days.clock.now()
        found.met.append(
            Met(day, number, sha, target.name, target.root.identity, at, ours=False, loose=False)
        )
