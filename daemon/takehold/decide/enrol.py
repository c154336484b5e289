"""Which load is this card now?

1. A card is known by its root's identity and by what lies on it, never by its path or label alone.
2. One formatted life, one load: a card on which nothing known is left, and other files are, was
   formatted; not where its folder was renamed.
3. Two live volumes of one identity (clones) are two loads.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from takehold.decide.litter import holds_audio
from takehold.decide.looked_into import undescribed
from takehold.decide.place import card_folder
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Stamp, Trace
from takehold.model.settings import Source

if TYPE_CHECKING:
    from takehold.model.volume import Root

Files = tuple[tuple[bytes, Stamp], ...]


class Arrival(NamedTuple):
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
    found = ((_known_there(ledger.traces(load.id), arrival), load) for load in candidates)
    fitting = [(there, load.id) for there, load in found if there is not None]
    return ledger.loads[max(fitting)[1]] if fitting else None


def _known_there(traces: list[Trace], arrival: Arrival) -> int | None:
    """How many files lie there as they are known of a load; None if that load is another life."""
    there = _overlap(traces, arrival.files)
    may_be = not traces or not arrival.files or not arrival.complete
    return there if there or may_be or _moved(traces, arrival.files) else None


def _moved(traces: list[Trace], files: Files) -> bool:
    """Whether most of what was read there lies in other folders now: one of them was renamed.

    By name, size and time of change, of two times at least: where the clock stands still, a card
    that was formatted may hold other files with all of these.
    """
    newest = {trace.path: trace for trace in traces}
    read = [trace for trace in newest.values() if trace.read]
    there = {(_name(path), stamp.size, stamp.mtime_ns) for path, stamp in files}
    found = [r for r in read if (_name(r.path), r.stamp.size, r.stamp.mtime_ns) in there]
    return 2 * len(found) > len(read) and len({r.stamp.mtime_ns for r in found}) > 1


def _name(path: bytes) -> bytes:
    return path.rpartition(b"/")[2]


def _overlap(traces: list[Trace], files: Files) -> int:
    """Files that lie there as they are known."""
    known: dict[bytes, list[Stamp]] = defaultdict(list)
    for trace in traces:
        known[trace.path].append(trace.stamp)
    return sum(any(_same(path, k, stamp) for k in known.get(path, ())) for path, stamp in files)


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
