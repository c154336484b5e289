"""Tracks of one file that lie in another of its card too, to the sample, as its mix does.

A recorder may write a mix beside the tracks, and the other one the same in other files.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence

from takehold.decide.layouts import Heard, heard
from takehold.decide.twins import Twins
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording


def tracks_beside(
    left: Iterable[Recording],
    answered: Iterable[Recording],
    known: Mapping[int, Counterpart],
    backups: Mapping[int, Recording],
) -> dict[int, Counterpart]:
    """How files that hold some tracks of a file beside them, as its mix, are held by its backup.

    To the sample, on their own card; the backup may be of lower quality. Of two that hold as much
    each needs a backup. `known` are the answers of those that are `answered`, by `backups`.
    """
    shelf: dict[Hashable, list[Recording]] = defaultdict(list)
    for recording in answered:
        for channel in dict.fromkeys(filter(None, heard(recording))):
            shelf[recording.load, channel].append(recording)
    found: dict[int, Counterpart] = {}
    for recording in left:
        first = next(filter(None, heard(recording)), None)
        for whole in shelf.get((recording.load, first), ()):
            some = len(heard(recording)) < len(heard(whole)) and _may_begin(recording, whole)
            answer = known[whole.id]
            its = [backups[n] for n in answer.others if n in backups]
            told = Twins(its).of(recording) or _as_reduced(recording, whole, answer)
            if some and told:
                found[recording.id] = told
                break
    return found


def _as_reduced(recording: Recording, whole: Recording, answer: Counterpart) -> Counterpart | None:
    """The answer of a file that is held at lower quality, for one of which it has all tracks."""
    if answer.relation is not Relation.REDUCED:
        return None
    held = {c for n, c in enumerate(heard(whole), 1) if c and n not in answer.channels}
    if not held.issuperset(filter(None, heard(recording))):
        return None
    return answer._replace(recording=recording.id, channels=(), theirs_alone=())


def held_beside(
    answers: Sequence[Counterpart], ours: Iterable[Recording], theirs: Iterable[Recording]
) -> Iterator[Counterpart]:
    """The answers of a primary card's files, of which another file holds the tracks that lack.

    That may be one that answers another file with the same track in it, of the same beginning.
    """
    lack = {a.recording for a in answers if _lacks_tracks(a)}
    known = {r.id: r for r in ours if r.id in lack}
    shelf = _holders(theirs if lack else ())
    for answer in answers:
        if answer.recording not in lack:
            yield answer
            continue
        found = {n: _holder(shelf, known[answer.recording], n) for n in answer.channels}
        lacking = tuple(n for n, its in found.items() if its is None)
        others = dict.fromkeys([*answer.others, *(its.id for its in found.values() if its)])
        relation = Relation.REDUCED if lacking else Relation.OTHER_LAYOUT
        yield answer._replace(relation=relation, channels=lacking, others=tuple(others))


def known_beside(
    answers: Sequence[Counterpart],
    seen: Iterable[Counterpart],
    ours: Iterable[Recording],
    theirs: Iterable[Recording],
) -> Iterator[Counterpart]:
    """The answers of a backup's files, once the primary card's are told so, as `seen`.

    What seems alone may be in another primary file; what held some tracks of a recording only
    holds it together with another file.
    """
    alone = {a.recording for a in answers if a.alone}
    known = {r.id: r for r in theirs if r.id in alone}
    shelf = _holders(ours if alone else ())
    whole = {a.recording: a.others for a in seen if a.relation is Relation.OTHER_LAYOUT}
    for answer in answers:
        told = answer
        if answer.alone:
            its = known[answer.recording]
            told = told._replace(alone=tuple(n for n in answer.alone if not _holder(shelf, its, n)))
        held = (answer.recording in whole.get(n, ()) for n in answer.others)
        if answer.relation is Relation.REDUCED and all(held):
            told = told._replace(relation=Relation.OTHER_LAYOUT)
        yield told


def _lacks_tracks(answer: Counterpart) -> bool:
    """Whether that is all that it lacks."""
    figures = answer.residual_db, answer.correlation
    only = answer.relation is Relation.REDUCED and figures == (None, None)
    return only and bool(answer.channels)


def _holders(files: Iterable[Recording]) -> Mapping[Heard, list[Recording]]:
    shelf: dict[Heard, list[Recording]] = defaultdict(list)
    for recording in files:
        for channel in filter(None, heard(recording)):
            shelf[channel].append(recording)
    return shelf


def _holder(
    shelf: Mapping[Heard, list[Recording]], recording: Recording, number: int
) -> Recording | None:
    """A file that holds one of its channels, from 1, and may begin with it."""
    channels = heard(recording)
    channel = channels[number - 1] if number <= len(channels) else None
    its = shelf.get(channel, ()) if channel else ()
    return next((other for other in its if _may_begin(recording, other)), None)


def _may_begin(one: Recording, other: Recording) -> bool:
    """Whether both may begin together. Many recorders have no timecode, and write 0."""
    begins = {r.description.metadata.time_reference or None for r in (one, other)}
    return None in begins or len(begins) == 1
