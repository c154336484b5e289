"""Files of a card that were rolled together, as a mix beside isos: one take, for matching.

A file of the other card may hold mix and isos, or some of them, and is compared as a whole: so it
must be with all that it may answer. They are one where they begin and end together, under one
scene and take, no track is in two of them, and each card of the other role that has anything
there has just one take, with tracks of two of them, or as many channels as all of them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet

from takehold.decide.layouts import heard
from takehold.decide.take_names import same_number
from takehold.model.recording import Recording
from takehold.model.slate import same_words
from takehold.model.take import Part, Take


def together(
    ours: Iterable[Take], theirs: Iterable[Take], known: Mapping[int, Recording]
) -> Iterator[Take]:
    """The takes of one side, those in one that a take of the other may hold; `known` are both's."""
    there: dict[Hashable, dict[int, list[Take]]] = defaultdict(lambda: defaultdict(list))
    for take in theirs:
        for where in _wheres(take):
            there[where][take.load].append(take)
    shelf: dict[Hashable, list[Take]] = defaultdict(list)
    for take in ours:
        lengths = tuple((part.start, part.frames) for part in take.parts)
        who = take.load, take.originator, take.tape, take.rerecorded, take.derived
        shelf[who, _wheres(take) or take.first, lengths].append(take)
    for some in shelf.values():
        if len(some) == 1:
            yield from some
            continue
        cards = next((there[w].values() for w in _wheres(some[0]) if w in there), ())
        # With two there, that card has a mix beside its tracks as well.
        held = [_held(some, its[0], known) if len(its) == 1 else set() for its in cards]
        in_all = set.intersection(*held) if held else set()
        joined = [take for take in some if take.first in in_all]
        yield from [_in_one(joined)] if len(joined) > 1 else joined
        yield from (take for take in some if take.first not in in_all)


def lying_with(takes: Iterable[Take], some: AbstractSet[int]) -> set[int]:
    """The files that begin with any of `some` on their card, as a mix with its isos; these too."""
    shelf: dict[Hashable, set[int]] = defaultdict(set)
    for take in takes:
        for part in take.parts:
            where = _wheres(take._replace(parts=(part,)))[:1] or part.files[0]
            shelf[take.load, where].update(part.files)
    return {n for files in shelf.values() if not files.isdisjoint(some) for n in files}


def _wheres(take: Take) -> tuple[Hashable, ...]:
    """What tells which takes are of one moment: the beginning, else scene and take.

    Many recorders have no timecode, and write 0.
    """
    begin = (take.start, take.sample_rate) if take.start else None
    slate = (same_words(take.scene), same_number(take.take)) if take.take else None
    return tuple(where for where in (begin, slate) if where is not None)


def _held(some: Sequence[Take], there: Take, known: Mapping[int, Recording]) -> set[int]:
    """Which of ours, by their first files, one of theirs may hold together."""
    apart = _apart(map(_names, some))
    by_sound = apart and _apart(_sounds(take, known) for take in some)
    if by_sound and sum(take.channels for take in some) <= there.channels:
        return {take.first for take in some}
    named = {take.first for take in some if _names(take) & _names(there)}
    its = _sounds(there, known)
    found = named | {take.first for take in some if _sounds(take, known) & its}
    # The mix may be the one open microphone: two names are two tracks, if theirs has both.
    return found if by_sound or (apart and found == named) else set()


def _names(take: Take) -> set[Hashable]:
    return {same_words(track.name) for track in take.tracks if track.name}


def _sounds(take: Take, known: Mapping[int, Recording]) -> set[Hashable]:
    return {channel for n in take.files for channel in heard(known[n]) if channel}


def _apart(tracks: Iterable[set[Hashable]]) -> bool:
    """Whether no track is in two of them."""
    held = [track for some in tracks for track in some]
    return len(held) == len(set(held))


def _in_one(some: list[Take]) -> Take:
    """By their channels, part by part."""
    some.sort(key=lambda take: (min((t.channel for t in take.tracks), default=0), take.first))
    parts = zip(*(take.parts for take in some), strict=True)
    files = (tuple(n for part in beside for n in part.files) for beside in parts)
    first = some[0]
    whole = (Part(f, p.start, p.frames) for f, p in zip(files, first.parts, strict=True))
    return first._replace(parts=tuple(whole))
