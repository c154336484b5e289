"""What is left over on a backup card, held against the primary recordings that are answered.

A second backup card may hold a cut copy, and a file may have been put in another's place: the
backup is not alone with it. It is known by more than scene and take, and answers nothing.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import replace

from takehold.decide.candidates import SPARE_KEYS, Key, Unit, keyed
from takehold.decide.weighing import Compared, file_by_file, mirror, weigh
from takehold.model.comparison import Side
from takehold.model.finding import Counterpart


def spares(
    mine: Iterable[Unit], its: Sequence[Unit], compared: Compared
) -> tuple[dict[int, Counterpart], list[tuple[Side, Side]]]:
    """What each left one is to an answered one, by its number; and what should be compared.

    Each card may hold one of each take: one round for each.
    """
    found: dict[int, Counterpart] = {}
    uncompared: list[tuple[Side, Side]] = []
    ours, left = list(mine), list(its)
    for _ in {unit.first.load for unit in its}:
        pairs = keyed(ours, left, _KEYS)
        for one, other in (f for pair in pairs for f in file_by_file(*pair)):
            answers, wanted = weigh(one, other, compared)
            for backup in other.files:
                found[backup.id] = mirror(backup, answers)
            if len(answers) == len(other.files) == 1:
                told = replace(answers[0], recording=other.first.id, other=one.first.id)
                found[other.first.id] = replace(told, others=one.side)
            uncompared += [(one.side, other.side)] if wanted else []
        left = [unit for unit in left if unit.first.id not in found]
    return found, uncompared


def _of_one_recorder(key: Key) -> Key:
    def both(unit: Unit) -> Hashable | None:
        name = key(unit)
        return None if name is None else (name, unit.first.description.metadata.originator)

    return both


_KEYS = tuple(map(_of_one_recorder, SPARE_KEYS))
