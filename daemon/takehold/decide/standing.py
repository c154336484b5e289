"""What a day's recordings have, and what each still lacks.

Plan, check, manifest and status all ask here, so that they can never disagree.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from takehold.decide.astray import beyond
from takehold.decide.keys import prove_key
from takehold.decide.litter import is_document, named_wave
from takehold.decide.match import Beyond, Matched, match
from takehold.decide.reads import Reads, reads_of
from takehold.decide.sides import Sides, sides
from takehold.decide.weighing import mirror
from takehold.model.comparison import Side
from takehold.model.finding import Counterpart, Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Copy, Load, Recording
from takehold.model.settings import Role, Settings
from takehold.model.sound import Kind

_OTHER_CARD = {Role.PRIMARY: Role.BACKUP, Role.BACKUP: Role.PRIMARY}


class Standing(NamedTuple):
    """One version of a file: its copies, on how many devices, and whether its read is confirmed.

    `doubtful` copies could not be read again and count for nothing. `answer` is the counterpart,
    seen from this recording, whichever card it is on. `renamed` is what its card holds in its
    stead; `deleted` says that it holds nothing of it any more: one that is not current had its name
    used again. `seen_alike` says that an earlier version on another card had the very same bytes.
    """

    recording: Recording
    load: Load
    current: bool
    copies: tuple[Copy, ...]
    doubtful: tuple[Copy, ...]
    devices: int
    reads: Reads
    answer: Counterpart | None
    renamed: Recording | None = None
    deleted: bool = False
    seen_alike: bool = False

    @property
    def owes_copies(self) -> bool:
        """Whether this version must be copied: a read that was refuted, and a stale one not."""
        if self.reads is Reads.FIRST_WRONG:
            return False
        return self.current or self.reads is not Reads.NONE

    @property
    def confirmed(self) -> bool:
        """P8: two reads agree, or another card's read shows the very same bytes.

        The same audio in other bytes says nothing of what stands around it: date, timecode, names.
        """
        if self.reads is Reads.AGREED:
            return True
        answered = self.seen_alike or (self.answer is not None and self.answer.confirms)
        return answered and self.reads in (Reads.ONCE, Reads.DISPUTED)


@dataclass(frozen=True, slots=True, eq=False)
class DayStanding:
    """A whole day. `loads` are those with a file in it and those first seen then.

    `elsewhere` counts the files of that day that belong to another production. `uncompared` are
    the primary recordings and the backup's whose samples should be compared. `opaque` are the
    primary loads that hold containers only that cannot be looked into, and `beside_opaque` the
    backup's recordings whose audio may be in them. `backup_seen` says whether a backup card holds
    any of it.
    """

    day: str
    files: tuple[Standing, ...]
    loads: tuple[Load, ...]
    index: Mapping[int, Standing]
    elsewhere: int = 0
    uncompared: tuple[tuple[Side, Side], ...] = ()
    opaque: frozenset[int] = frozenset()
    beside_opaque: frozenset[int] = frozenset()
    beside: tuple[Standing, ...] = ()
    left_open: bool = False
    backup_seen: bool = False

    def of(self, recording: int) -> Standing | None:
        """The standing of one recording."""
        return self.index.get(recording)


def devices_of(copies: Iterable[Copy]) -> int:
    """Devices that the copies stand on: disks shared by two copies join them (P5).

    A copy without disks stands in memory and counts for nothing.
    """
    groups: list[frozenset[str]] = []
    for copy in copies:
        if not copy.disks:
            continue
        joined = copy.disks
        apart: list[frozenset[str]] = []
        for group in groups:
            if group & joined:
                joined |= group
            else:
                apart.append(group)
        groups = [*apart, joined]
    return len(groups)


def day_standing(ledger: Ledger, day: str, settings: Settings) -> DayStanding:
    """Weigh everything of a shooting day that belongs to the production of the config."""
    return _weighed(ledger, ledger.serial, day, settings)


@lru_cache(maxsize=3)  # each turn asks often; what is kept here cannot leave memory
def _weighed(ledger: Ledger, _serial: int, day: str, settings: Settings) -> DayStanding:
    both = sides(ledger, day, settings)
    other, left_open = Beyond(), False
    matched: Matched | None = None
    if both.has_backup or settings.has_backup():
        other, left_open = beyond(ledger, day, settings)
        cards = both.primaries, both.backups
        matched = match(*cards, ledger.comparisons, settings.rerecorded, other)
    answers = _answers(matched, other) if matched else {}
    twins = _twins(ledger, both)
    for old, twin in twins.items():
        answers[old] = Counterpart(old, Relation.IDENTICAL, twin, others=(twin,))
    alike = frozenset(twins.values())
    files = tuple(
        _standing(
            ledger,
            r,
            current=r.id in both.current,
            answer=answers.get(r.id),
            renamed=both.departed.renamed.get(r.id),
            deleted=r.id in both.departed.deleted,
            seen_alike=r.id in alike,
        )
        for r in both.recordings
    )
    ids = {r.load for r in both.recordings}
    ids |= {i for i, load in ledger.loads.items() if load.day == day}
    loads = tuple(ledger.loads[i] for i in sorted(ids))
    beside = tuple(
        _standing(ledger, r, current=True, answer=answers.get(r.id)) for r in other.files
    )
    index = {s.recording.id: s for s in (*files, *beside)}
    uncompared = matched.uncompared if matched else ()
    seen = any(s.load.role is Role.BACKUP for s in (*files, *beside))
    told = (both.elsewhere, uncompared, *_opaque(files), beside, left_open, seen)
    return DayStanding(day, files, loads, index, *told)


def _standing(
    ledger: Ledger,
    recording: Recording,
    *,
    current: bool,
    answer: Counterpart | None,
    renamed: Recording | None = None,
    deleted: bool = False,
    seen_alike: bool = False,
) -> Standing:
    held = sorted(ledger.copies_of(recording.id), key=lambda c: (c.destination, c.path))
    troubles = ledger.troubles
    doubtful = tuple(c for c in held if prove_key(c) in troubles) if troubles else ()
    return Standing(
        recording,
        ledger.loads[recording.load],
        current,
        tuple(held),
        doubtful,
        devices_of([c for c in held if c not in doubtful] if doubtful else held),
        reads_of(recording),
        answer,
        renamed,
        deleted,
        seen_alike,
    )


def _opaque(files: Iterable[Standing]) -> tuple[frozenset[int], frozenset[int]]:
    """The opaque primary loads, where the backup cards hold audio that may be theirs; and that."""
    current = [s for s in files if s.current]
    readable = [s for s in current if s.recording.description.kind is not Kind.OTHER]
    boxes = {s.load.id for s in current if s.load.role is Role.PRIMARY and _unanswered_box(s)}
    boxes -= {s.load.id for s in readable}
    backups = [s for s in readable if s.load.role is Role.BACKUP and s.answer is not None]
    alone = [s for s in backups if s.answer and s.answer.relation is Relation.MISSING]
    # What answers a readable card tells whose backup the rest of that recorder's files are.
    ids = {s.recording.id for s in alone}
    of_others = {_rolled_by(s) for s in backups if s.recording.id not in ids}
    beside = [s for s in alone if _rolled_by(s) not in of_others] or alone
    if not boxes or not beside:
        return frozenset(), frozenset()
    return frozenset(boxes), frozenset(s.recording.id for s in beside)


def _unanswered_box(standing: Standing) -> bool:
    answer = standing.answer
    same = answer is not None and answer.relation is Relation.IDENTICAL
    return container(standing.recording) and not same


def _rolled_by(standing: Standing) -> tuple[int, str]:
    """The card, and the recorder by its own name."""
    return standing.load.id, standing.recording.description.metadata.originator


def container(recording: Recording) -> bool:
    """Whether a file may be a recording that cannot be looked into."""
    said, path = recording.description, recording.path
    known = named_wave(path) or is_document(path)
    return said.kind is Kind.OTHER and not said.complaints and not known


def _answers(matched: Matched, other: Beyond) -> dict[int, Counterpart]:
    """Counterparts both ways, and those of other days' files."""
    told = (*matched.primaries, *matched.backups)
    answers = {found.recording: found for found in told}
    seen: dict[int, list[Counterpart]] = defaultdict(list)
    for answer in other.told():
        for number in answer.others:
            seen[number].append(answer)
    return answers | {file.id: mirror(file, seen[file.id]) for file in other.files}


def _twins(ledger: Ledger, both: Sides) -> dict[int, int]:
    """The earlier versions of files, each with what has the very same bytes on another card.

    They confirm each other's read, whatever lies in their place by now.
    """
    if not both.earlier:
        return {}
    files = (*both.earlier, *both.primaries, *both.backups)
    shelf = {(ledger.loads[r.load].role, r.digests): r.id for r in files}
    found = {}
    for old in both.earlier:
        card = _OTHER_CARD.get(ledger.loads[old.load].role)
        twin = shelf.get((card, old.digests)) if card and old.digests else None
        if twin is not None:
            found[old.id] = twin
    return found
