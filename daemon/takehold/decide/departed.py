"""What a card held when it was copied and holds no more: renamed there, or deleted.

Recorders rename a file when its scene or take is edited. By the last whole listing of the load
(decide/listing) and what was read of it:
1. Where the card holds the same audio from the same time on under another path, that is the file as
   it is now, and what is gone or was recorded over under its own path is an earlier version of it.
2. Else it was deleted; that is said only where the rest of its day lies there and was all read. A
   day that is gone as a whole was cleared.
3. What another recording took the name of is deleted, too: that holds other audio, and begins at
   another time. No listing is needed to know it.
4. Where a newer version of it has the same audio from the same time on and tells another day, its
   date was corrected on the card: it is an earlier version of a recording of that day.
Absence is evidence only in a listing that was whole, of a card that holds still what it held when
the file was first seen: a card that is not in tells nothing, nor does one that was formatted.
Cost: linear in the number of recordings.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from takehold.decide.layouts import silent
from takehold.model.facts import Listed, Skip
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording, Stamp
from takehold.model.sound import Kind

# Why a listing names a path that is no entry of the card any more: it was read there once.
GONE = "gone from the card"


def is_gone(skip: Skip) -> bool:
    """Whether it is no entry of the card any more."""
    return skip.why == GONE


def gone_from(listed: Listed | None) -> AbstractSet[bytes]:
    """The paths that were read on a card and that its last whole listing did not have."""
    return {skip.path for skip in listed.skipped if is_gone(skip)} if listed else set()


def gone_now(
    ledger: Ledger,
    load: int,
    there: Mapping[bytes, Stamp],
    skipped: Iterable[Skip],
    *,
    sure: bool,
) -> Iterator[Skip]:
    """What was read of a load and is not on its card any more, for its listing.

    `there` is what it shows; what lies below a `skipped` entry may be there all the same. Where it
    is not `sure`, and on a card that may have been formatted, nothing more is gone than was before.
    """
    away = gone_from(ledger.listings.get(load)) - there.keys()
    absent = [path for path in ledger.of_load.get(load, {}) if path not in there] if sure else []
    if len(absent) > len(away):
        since = _held_since(ledger, load, there)
        lost = (ledger.versions(load, path)[-1] for path in absent)
        away |= {r.path for r in lost if r.readings and since is not None and since <= r.seen_at}
    hidden = tuple(skip.path + b"/" for skip in skipped)
    return (Skip(path, GONE) for path in sorted(away) if not path.startswith(hidden))


def _held_since(ledger: Ledger, load: int, there: Mapping[bytes, Stamp]) -> int | None:
    """When the first of the audio that lies there as it was read was first seen on that load."""
    first: dict[Hashable, int] = {}
    lying: set[Hashable] = set()
    for path in ledger.of_load.get(load, {}):
        versions = [r for r in ledger.versions(load, path) if r.readings and _is_audio(r)]
        for r in versions:
            first[_same(r)] = min(r.seen_at, first.get(_same(r), r.seen_at))
        lying |= {_same(r) for r in versions[-1:] if there.get(path) == r.stamp}
    return min((first[same] for same in lying), default=None)


@dataclass(frozen=True, slots=True)
class Departed:
    """Recordings that their card holds no more, by number.

    `renamed` tells what it holds in their stead, under another name or date, `deleted` those of
    which it holds nothing.
    """

    renamed: Mapping[int, Recording] = field(default_factory=dict)
    deleted: frozenset[int] = frozenset()

    def __contains__(self, number: int) -> bool:
        return number in self.renamed or number in self.deleted


def departed(recordings: Iterable[Recording], listings: Mapping[int, Listed]) -> Departed:
    """Those of some recordings, told in the order in which they were met, that left their cards."""
    of_day: dict[tuple[int, str], list[Recording]] = defaultdict(list)
    for recording in recordings:
        of_day[recording.load, recording.day].append(recording)
    renamed: dict[int, Recording] = {}
    deleted: set[int] = set()
    for (load, _), files in of_day.items():
        listed = listings.get(load)
        gone, newest = gone_from(listed), {r.path: r for r in files}
        there = {r.id: r for path, r in newest.items() if path not in gone}
        away = [r for r in files if r.id not in there and r.readings]
        holds = {_same(r): r for r in there.values() if r.readings} if away else {}
        now = {r.id: holds[_same(r)] for r in away if _same(r) in holds}
        renamed |= {r.id: now[r.id] for r in away if r.id in now and now[r.id].path != r.path}
        over = _recorded_over(files, newest) if away else ()
        deleted.update(number for number in over if number not in now)
        if listed is None or listed.untaken or not all(r.readings for r in there.values()):
            continue
        if any(map(_tells, there.values())):
            lost = (r for r in away if r.id not in now and newest[r.path] is r)
            deleted |= {r.id for r in lost if _tells(r)}
    return Departed(renamed, frozenset(deleted))


def _recorded_over(files: Iterable[Recording], newest: Mapping[bytes, Recording]) -> Iterator[int]:
    """The recordings whose name another one has now; what was only edited or went on is none."""
    last = {(r.path, _moment(r)): r for r in files}
    for (path, mine), recording in last.items():
        its = _moment(newest[path])
        if mine is None or its is None or not _tells(recording):
            continue
        if all(one != other for one, other in zip(mine, its, strict=True)):
            yield recording.id


def dated_anew(recordings: Iterable[Recording], ledger: Ledger) -> dict[int, Recording]:
    """Those whose date was corrected on their card, by number, and what they are there now."""
    found: dict[int, Recording] = {}
    for recording in recordings:
        days = ledger.renewed.get((recording.load, recording.path), {}).values()
        moment = _to_the_second(recording) if {*days} - {recording.day} else None
        if moment is not None:  # only now are the files of other days asked for: they may sleep
            known = ledger.versions(recording.load, recording.path)
            alike = (version for version in known if _to_the_second(version) == moment)
            newest = max(alike, key=lambda version: version.version)
            found |= {recording.id: newest} if newest.day != recording.day else {}
    return found


def _to_the_second(recording: Recording) -> Hashable | None:
    """Its moment; where the timecode stands still, as at 0, by the recorder's clock.

    A line-up tone may have the same samples, and the same name, each day.
    """
    moment = _moment(recording)
    return moment and (moment, moment[1] or recording.description.metadata.time)


def _same(recording: Recording) -> Hashable | None:
    """What an edit and a new name leave; of silence, or without timecode, no byte may differ."""
    return _moment(recording) or recording.digests


def _moment(recording: Recording) -> tuple[Hashable, int] | None:
    """Its audio and the time from which on; None of silence, or without timecode."""
    said, sound = recording.description, recording.sound
    if sound is None or said.metadata.time_reference is None or silent(recording):
        return None
    return (sound.digest, said.format), said.metadata.time_reference


def _tells(recording: Recording) -> bool:
    """Whether it is a recording of that day by its own word.

    Without a date its new name may have been met on another day.
    """
    return _is_audio(recording) and bool(recording.description.metadata.date)


def _is_audio(recording: Recording) -> bool:
    return recording.description.kind is not Kind.OTHER
