"""Which load is this card now?

1. A card is known by its root's identity and by what lies on it, never by its path or label alone.
2. One formatted life, one load: a card on which nothing known is left, and other files are, was
   formatted; not where its folder was renamed.
3. Two live volumes of one identity (clones) are two loads.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from takehold.decide.litter import holds_audio
from takehold.decide.looked_into import undescribed
from takehold.decide.place import card_folder
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Stamp
from takehold.model.settings import Source

if TYPE_CHECKING:
    from takehold.model.volume import Root

Files = tuple[tuple[bytes, Stamp], ...]


@dataclass(frozen=True, slots=True)
class Arrival:
    """A source's root and the files to copy on it."""

    source: Source
    root: Root
    files: Files
    complete: bool


def load_of(
    ledger: Ledger, arrival: Arrival, claimed: Iterable[int], sticky: int | None
) -> Load | None:
    """The known load that lies there, None if it is a new one.

    `claimed` are loads that other live volumes are; `sticky` is what this mount was a moment ago:
    a mounted card is not formatted.
    """
    claimed = set(claimed)
    candidates = [
        load
        for load in ledger.loads.values()
        if load.identity == arrival.root.identity and load.id not in claimed
    ]
    for load in candidates:
        if load.id == sticky:
            return load
    fitting = [load for load in candidates if _fits(ledger, load, arrival)]
    return max(
        fitting, key=lambda load: (_overlap(ledger, load, arrival.files), load.id), default=None
    )


def _fits(ledger: Ledger, load: Load, arrival: Arrival) -> bool:
    known = ledger.of_load.get(load.id)
    if not known or not arrival.files or not arrival.complete:
        return True
    return _overlap(ledger, load, arrival.files) > 0 or _moved(ledger, known, arrival.files)


def _moved(ledger: Ledger, known: Mapping[bytes, list[int]], files: Files) -> bool:
    """Whether most of what was read there lies in other folders now: one of them was renamed.

    By name, size and time of change, of two times at least: where the clock stands still, a card
    that was formatted may hold other files with all of these.
    """
    read = [r for ids in known.values() if (r := ledger.recordings[ids[-1]]).readings]
    there = {(_name(path), stamp.size, stamp.mtime_ns) for path, stamp in files}
    found = [r for r in read if (_name(r.path), r.stamp.size, r.stamp.mtime_ns) in there]
    return 2 * len(found) > len(read) and len({r.stamp.mtime_ns for r in found}) > 1


def _name(path: bytes) -> bytes:
    return path.rpartition(b"/")[2]


def _overlap(ledger: Ledger, load: Load, files: Files) -> int:
    """Files that lie there as they are known."""
    return sum(
        any(_same(path, r.stamp, stamp) for r in ledger.versions(load.id, path))
        for path, stamp in files
    )


def _same(path: bytes, known: Stamp, found: Stamp) -> bool:
    """By size and time of change; for audio by size alone.

    An edit of the metadata keeps the size, and FAT tells local times: they shift with the zone. A
    file that every format writes anew, always of one size, is told by its time.
    """
    return known.size == found.size and (known.mtime_ns == found.mtime_ns or holds_audio(path))


def new_load(ledger: Ledger, arrival: Arrival, now: int, day: str) -> Load:
    """A load for a card that is not known."""
    root = arrival.root
    label = root.volume.label
    if arrival.source.path is not None:
        label = arrival.source.name
    return Load(
        id=ledger.next_id,
        source=arrival.source.name,
        role=arrival.source.role,
        identity=root.identity,
        label=label,
        folder=card_folder(label, day, ledger.loads.values()),
        disks=root.volume.disks,
        seen_at=now,
        day=day,
    )


def untaken(ledger: Ledger, load: int, files: Files) -> int:
    """How many files lie there that were not taken in as they are, their header read."""
    return sum(
        (known := ledger.current(load, path)) is None or known.stamp != stamp or undescribed(known)
        for path, stamp in files
    )
