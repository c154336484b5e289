"""Files of a card that were rolled together, as a mix beside isos: one take, for matching.

A file of the other card may hold mix and isos, and is compared as a whole: so it must be with all
that it may answer. They are one where they begin and end together, under one scene and take, no
track is in two of them, and the other card has just one take there, with as many channels.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence

from takehold.decide.layouts import heard
from takehold.decide.take_names import same_number
from takehold.model.recording import Recording
from takehold.model.slate import same_words
from takehold.model.take import Part, Take


def together(
    ours: Iterable[Take], theirs: Iterable[Take], known: Mapping[int, Recording]
) -> Iterator[Take]:
    """The takes of one side, those in one that a take of the other may hold; `known` are ours."""
    there: dict[Hashable, list[int]] = defaultdict(list)
    for take in theirs:
        there[_where(take)].append(take.channels)
    shelf: dict[Hashable, list[Take]] = defaultdict(list)
    for take in ours:
        lengths = tuple((part.start, part.frames) for part in take.parts)
        who = take.load, take.originator, take.tape, take.rerecorded, take.derived
        shelf[who, _where(take), lengths].append(take)
    for some in shelf.values():
        wide, room = sum(take.channels for take in some), there[_where(some[0])]
        alone = len(some) > 1 and len(room) == 1  # else both cards have a mix beside their tracks
        fits = alone and wide <= room[0] and _tell_apart(some, known)
        yield from [_in_one(some)] if fits else some


def _where(take: Take) -> Hashable:
    """Where it begins, with scene and take. Many recorders have no timecode, and write 0."""
    if not (take.start or take.take):
        return take.first
    return take.start, take.sample_rate, same_words(take.scene), same_number(take.take)


def _tell_apart(some: Sequence[Take], known: Mapping[int, Recording]) -> bool:
    """Whether no track is in two of them, by its name or its samples."""
    held: list[Hashable] = []
    for take in some:
        held += {same_words(track.name) for track in take.tracks if track.name}
        held += {channel for n in take.files for channel in heard(known[n]) if channel}
    return len(held) == len(set(held))


def _in_one(some: list[Take]) -> Take:
    """By their channels, part by part."""
    some.sort(key=lambda take: (min((t.channel for t in take.tracks), default=0), take.first))
    parts = zip(*(take.parts for take in some), strict=True)
    files = (tuple(n for part in beside for n in part.files) for beside in parts)
    first = some[0]
    whole = (Part(f, p.start, p.frames) for f, p in zip(files, first.parts, strict=True))
    return first._replace(parts=tuple(whole))
