"""Which takes of several cards of one role are one take?

A card is full, or is changed, while a recorder rolls: it goes on on the next one.
1. Files of one set, of which each of the cards lacks some by its own account, and which hold no
   place in it twice. A card that mirrors another has the same places: it is no part.
2. What begins with the sample behind another's last one.
The order of the takes does not matter. Cost: linear in their number.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence

from takehold.decide.file_set import lacks, place, tie
from takehold.decide.take_names import same_number
from takehold.formats.timecode import day_samples
from takehold.model.recording import Recording
from takehold.model.slate import same_words
from takehold.model.take import Take


def over_cards(
    found: Iterable[Take],
    known: Mapping[int, Recording],
    built: Callable[[Sequence[Recording]], Sequence[Take]],
) -> list[Take]:
    """The takes, those of several cards that are one as one; `built` makes takes of one card.

    It is asked whether they would be one take on one card.
    """

    def joined(takes: Sequence[Take], edges: Iterable[tuple[int, int]]) -> Iterator[Take]:
        for group in connected(len(takes), edges):
            apart = [takes[number] for number in group]
            files = [known[n] for take in apart for n in take.files]
            whole = built(files) if len(apart) > 1 else apart
            yield from whole if len(whole) == 1 else apart

    takes = sorted(found, key=lambda take: take.first)
    takes = list(joined(takes, _of_one_set(takes, known)))
    return list(joined(takes, _behind(takes)))


def connected(count: int, edges: Iterable[tuple[int, int]]) -> list[list[int]]:
    """The numbers below `count` in groups: what an edge ties, or several in a row do."""
    home = list(range(count))

    def top(number: int) -> int:
        while home[number] != number:
            home[number] = home[home[number]]
            number = home[number]
        return number

    for one, other in edges:
        home[max(top(one), top(other))] = min(top(one), top(other))
    groups: dict[int, list[int]] = defaultdict(list)
    for number in range(count):
        groups[top(number)].append(number)
    return list(groups.values())


def _of_one_set(takes: Sequence[Take], known: Mapping[int, Recording]) -> Iterator[tuple[int, int]]:
    """Each that lacks files, with the first one that lacks those which it has."""
    sets: dict[Hashable, list[tuple[int, set[Hashable]]]] = defaultdict(list)
    for number, take in enumerate(takes):
        files = [known[n] for n in take.files]
        tells = files[0].description.metadata.family_uid and all(place(f) != f.id for f in files)
        if take.derived or not tells or not lacks(take, known.__getitem__):
            continue
        there = {(file.description.metadata.time_reference, place(file)) for file in files}
        others = sets[tie(files[0]), same_words(take.scene), same_number(take.take)]
        fits = [one for one in others if one[1].isdisjoint(there)]
        first, held = fits[0] if fits else (number, set())
        held.update(there)
        others += [] if fits else [(first, held)]
        yield first, number


def _behind(takes: Sequence[Take]) -> Iterator[tuple[int, int]]:
    """Each with the one of that recorder, scene and take that begins where it ends."""
    begins: dict[Hashable, list[int]] = defaultdict(list)
    ends: dict[Hashable, list[int]] = defaultdict(list)
    for number, take in enumerate(takes):
        last, day = take.parts[-1], day_samples(take.sample_rate, take.rate)
        if take.derived or take.start is None or last.start is None or not (last.frames and day):
            continue
        slate = same_words(take.scene), same_number(take.take)
        what = (take.originator, take.tape, *slate, take.sample_rate, take.channels)
        begins[*what, take.start].append(number)
        ends[*what, (last.start + last.frames) % day].append(number)
    for where, before in ends.items():
        yield from zip(before, begins.get(where, ()), strict=False)
