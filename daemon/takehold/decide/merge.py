"""What found manifests tell, beside what is known already: under numbers that are free here.

Rules of this file:
1. A file that is known keeps what is known of it. Only copies are learned of it, where its bytes
   are the very same.
2. Another file of that path is one of its own, never a newer version: what lies on the card now was
   seen after the manifest was signed.
3. A revision whose number is used here tells of files and copies, and takes no place in its day.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field, replace

from takehold.decide.place import beside
from takehold.formats.names import same_key
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording


@dataclass(slots=True)
class _Merge:
    """The ids of loads and recordings here by those in the facts; `same` have the very bytes."""

    ledger: Ledger
    next_id: int
    loads: dict[int, int] = field(default_factory=dict)
    recordings: dict[int, int] = field(default_factory=dict)
    same: dict[int, int] = field(default_factory=dict)
    taken: dict[str, set[str]] = field(default_factory=dict)

    def free_id(self) -> int:
        self.next_id += 1
        return self.next_id - 1


def merged(facts: Iterable[f.Fact], ledger: Ledger) -> tuple[f.Fact, ...]:
    """Those of `decide.rebuild`'s facts that are new here, as they fold into this ledger."""
    told = list(facts)
    read = {fact.recording: fact.reading for fact in reversed(told) if isinstance(fact, f.WasRead)}
    files: dict[int, list[Recording]] = defaultdict(list)
    for fact in told:
        if isinstance(fact, f.Inventoried):
            reading = read.get(fact.recording.id)
            readings = (reading,) if reading else ()
            files[fact.recording.load].append(replace(fact.recording, readings=readings))
    merge = _Merge(ledger, ledger.next_id)
    kept: list[f.Fact] = []
    for fact in told:
        if isinstance(fact, f.LoadSeen):
            kept += _load(merge, fact.load, files[fact.load.id])
        else:
            kept += _other(merge, fact)
    return tuple(kept)


def _load(merge: _Merge, load: Load, files: Collection[Recording]) -> Iterator[f.LoadSeen]:
    """Put a load's new files under the load here that is that card, or under one of their own."""
    hosts = [host for host in merge.ledger.loads.values() if host.identity == load.identity]
    known = _known(merge, hosts, files)
    new: list[Recording] = []
    for recording in files:
        here = [v for of in known.values() for v in of.get(recording.path, ())]
        twin = next((k for k in here if k.digests and k.digests == recording.digests), None)
        if twin is not None:
            merge.same[recording.id] = twin.id
        elif not any(_unread_twin(k, recording) for k in here):
            new.append(recording)
    fitting = [h for h in hosts if not any(known[h.id].get(r.path) for r in new)]
    if fitting and (new or merge.same.keys() & {r.id for r in files}):
        merge.loads[load.id] = fitting[-1].id
    elif new or not hosts:
        merge.loads[load.id] = merge.free_id()
        yield f.LoadSeen(replace(load, id=merge.loads[load.id]))
    merge.recordings |= {recording.id: merge.free_id() for recording in new}


def _known(
    merge: _Merge, hosts: Iterable[Load], files: Collection[Recording]
) -> dict[int, dict[bytes, list[Recording]]]:
    """What stands here under the paths of files, load by load: each of them is woken once."""
    paths = {recording.path for recording in files}
    return {h.id: {path: merge.ledger.versions(h.id, path) for path in paths} for h in hosts}


def _unread_twin(known: Recording, told: Recording) -> bool:
    """Whether it is owed here anyway: its card is read, and what the copies hold compared."""
    return not known.readings and known.stamp.size == told.stamp.size


def _other(merge: _Merge, fact: f.Fact) -> Iterator[f.Fact]:
    ledger = merge.ledger
    match fact:
        case f.Listed(load=load):
            if merge.loads.get(load, 0) >= ledger.next_id:
                yield fact._replace(load=merge.loads[load])
        case f.Revised(day=day, number=number):
            if all(known.number != number for known in ledger.revisions.get(day, ())):
                yield fact
        case f.Acked(finding=finding):
            if finding not in ledger.acks:
                yield fact
        case _:
            yield from _of_file(merge, fact)


def _of_file(merge: _Merge, fact: f.Fact) -> Iterator[f.Fact]:
    match fact:
        case f.Inventoried(recording):
            if recording.id in merge.recordings:
                yield f.Inventoried(_placed(merge, recording))
        case f.WasRead(recording=rid) | f.Broken(recording=rid):
            if rid in merge.recordings:
                yield fact._replace(recording=merge.recordings[rid])
        case f.Compared(comparison):
            yield from _compared(merge, comparison)
        case f.Proven(copy):
            here = merge.recordings.get(copy.recording, merge.same.get(copy.recording))
            known = () if here is None else merge.ledger.copies.get(here, {})
            if here is not None and (copy.root, copy.path) not in known:
                yield f.Proven(copy._replace(recording=here))
        case _:
            pass


def _compared(merge: _Merge, comparison: Comparison) -> Iterator[f.Compared]:
    """Between files that are known here under whatever numbers."""
    here = {**merge.same, **merge.recordings}
    sides = [tuple(here[n] for n in s if n in here) for s in (comparison.ours, comparison.theirs)]
    ours, theirs = sides
    whole = (len(ours), len(theirs)) == (len(comparison.ours), len(comparison.theirs))
    if whole and (ours, theirs) not in merge.ledger.comparisons:
        yield f.Compared(replace(comparison, ours=ours, theirs=theirs))


def _placed(merge: _Merge, recording: Recording) -> Recording:
    """With a place that no other recording of its day has."""
    day = recording.day
    if day not in merge.taken:
        merge.taken[day] = {same_key(r.place) for r in merge.ledger.day(day)}
    place, number = recording.place, 1
    while same_key(place) in merge.taken[day]:
        number += 1
        place = beside(recording.place, b"other", number)
    merge.taken[day].add(same_key(place))
    here = merge.recordings[recording.id], merge.loads[recording.load]
    return replace(recording, id=here[0], load=here[1], place=place)
