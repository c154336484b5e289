"""What was paired by its names and holds other audio throughout, given back for one more round.

One file that lacks, or a recorder's numbers that are ahead on one card, shift the names of all that
follow. What is as long to the sample is compared then, and takes the other's place where its
samples are the same.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import chain

from takehold.decide.candidates import originator
from takehold.decide.hints import STRANGE, other_throughout
from takehold.decide.layouts import silent
from takehold.decide.unit import Unit
from takehold.decide.weighing import Compared
from takehold.model.comparison import Comparison, Side

Pair = tuple[Unit, Unit]

# Of sound that agrees less nothing shows that it is one. Chosen, no source.
AGREES = 0.5
# Of one length that are tried for each, so that many cost no more. Chosen, no source.
MOST_TRIED = 4


def paired_anew(
    mine: Sequence[Unit], its: Sequence[Unit], pairs: Sequence[Pair], compared: Compared
) -> tuple[list[Pair], list[tuple[Side, Side]]]:
    """The pairs that hold, and what should be compared to know better; of `mine` and `its`."""
    other = {_sides(pair): pair for pair in pairs if other_throughout(*pair, compared)}
    if not other:
        return list(pairs), []
    paired = _numbers(pairs)
    strange = _numbers(other.values())
    ours, theirs = (
        _in_order(
            [pair[side] for pair in other.values()],
            [unit for unit in all_ if unit.first.id not in paired],
        )
        for side, all_ in enumerate((mine, its))
    )
    found = [p for p in _as_long(ours, theirs, compared) if not strange.isdisjoint(_numbers([p]))]
    wanted = [_sides(pair) for pair in found if _is_read(pair) and _sides(pair) not in compared]
    better = [pair for pair in found if _agrees(compared.get(_sides(pair)))]
    gone = _numbers(better)
    kept = [p for p in pairs if _sides(p) not in other or gone.isdisjoint(_numbers([p]))]
    return [*kept, *better], wanted


def _as_long(ours: Iterable[Unit], theirs: Iterable[Unit], compared: Compared) -> Iterator[Pair]:
    """Those of one length, each in one pair: what agrees, else what was not compared yet.

    Of several of these that of one recorder, then the first path.
    """
    mine, its = ({unit.side: unit for unit in units} for units in (ours, theirs))
    for (one, other), told in sorted(compared.items()):
        if one in mine and other in its and _agrees(told):
            yield mine.pop(one), its.pop(other)
    shelf: dict[Fraction | None, list[Unit]] = defaultdict(list)
    for unit in its.values():
        shelf[unit.seconds].append(unit)
    for unit in mine.values():
        there = shelf[unit.seconds] if unit.seconds else []
        new = [other for other in there[:MOST_TRIED] if (unit.side, other.side) not in compared]
        if new:
            who = originator(unit)
            other_one = next((other for other in new if originator(other) == who), new[0])
            there.remove(other_one)
            yield unit, other_one


def _in_order(*units: Iterable[Unit]) -> list[Unit]:
    """Those with sound."""
    found = (unit for unit in chain(*units) if not all(map(silent, unit.files)))
    return sorted(found, key=lambda unit: (unit.first.path, unit.first.id))


def _agrees(told: Comparison | None) -> bool:
    """Whether the backup has all its tracks, and sound says so."""
    if told is None or told.relation in STRANGE or told.channels or told.alone:
        return False
    return told.correlation is None or told.correlation >= AGREES


def _is_read(pair: Pair) -> bool:
    return all(file.digests is not None for unit in pair for file in unit.files)


def _sides(pair: Pair) -> tuple[Side, Side]:
    return pair[0].side, pair[1].side


def _numbers(pairs: Iterable[Pair]) -> set[int]:
    return {file.id for unit in chain.from_iterable(pairs) for file in unit.files}
