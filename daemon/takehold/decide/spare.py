"""What is left over on a backup card, held against the primary recordings that are answered.

A second backup card may hold a cut copy, and a file may have been put in another's place: the
backup is not alone with it. It is known by more than scene and take, and answers nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet

from takehold.decide.candidates import COPY_KEYS, MIRROR_KEYS, SPARE_KEYS, Key, keyed
from takehold.decide.hints import STRANGE, other_throughout
from takehold.decide.unit import Unit
from takehold.decide.weighing import STRENGTH, Compared, file_by_file, mirror, weigh
from takehold.model.comparison import Side
from takehold.model.finding import Counterpart, Relation

# Copies of one take that are looked for among what is left. Chosen, no source.
MOST_ROUNDS = 16


def spares(
    mine: Iterable[Unit], its: Sequence[Unit], compared: Compared, further: AbstractSet[int]
) -> tuple[dict[int, Counterpart], list[tuple[Side, Side]]]:
    """What each left one is to an answered one, by its number; and what should be compared.

    `further` lie with files that answer, and are no copies of what these do, if they have nothing
    in common: the primary card lacks that track.
    A beginning of which the last, started block was not looked at yet is not told as one.
    """
    found: dict[int, Counterpart] = {}
    uncompared: list[tuple[Side, Side]] = []
    for one, other, known, wanted in _held(mine, its, compared):
        if other.first.id in further and other_throughout(one, other, compared):
            continue
        if all(answer.relation is Relation.MISSING for answer in known):
            continue
        answers = [_unsure(answer) for answer in known] if wanted else known
        held = [answer for answer in answers if answer.others]  # others of a set are not in it
        for backup in other.files:
            found[backup.id] = mirror(backup, held or answers)
        if len(answers) == len(other.files) == 1:
            alone = found[other.first.id].alone
            told = answers[0]._replace(recording=other.first.id, other=one.first.id)
            found[other.first.id] = told._replace(others=one.side, alone=alone)
        uncompared += [(one.side, other.side)] if wanted else []
    return found, uncompared


def better(
    mine: Iterable[Unit],
    its: Sequence[Unit],
    compared: Compared,
    answered: Mapping[int, Counterpart],
) -> list[Counterpart]:
    """The answers that left ones are, where they are stronger than what is `answered` by others.

    Of several the strongest, then the first path; of what must be compared first, none. What is
    left is held against one take, so no two takes get one file.
    """
    best: dict[int, Counterpart] = {}
    for _, _, answers, wanted in _held(mine, its, compared):
        for new in () if wanted else answers:
            old = best.get(new.recording, answered.get(new.recording))
            if old is not None and _rank(new) < _rank(old):
                best[new.recording] = new
    return list(best.values())


_Rank = tuple[int, int, float]


def _rank(answer: Counterpart) -> _Rank:
    """The less the better: by the relation, then by how much is there of it, and how well."""
    frames = answer.frames or 0
    match answer.relation:
        case Relation.SHORT:
            figure = frames
        case Relation.LONGER | Relation.DIFFERENT:
            figure = -frames
        case _:
            figure = len(answer.channels)
    return STRENGTH[answer.relation], figure, answer.residual_db or 0.0


def _held(
    mine: Iterable[Unit], its: Sequence[Unit], compared: Compared
) -> Iterator[tuple[Unit, Unit, Sequence[Counterpart], bool]]:
    """What is left, against what it may be a copy of: the answers, and whether to compare them.

    A card may hold several copies of a take: one round for each, as long as one finds something.
    """
    ours, left = list(mine), list(its)
    for _ in range(MOST_ROUNDS):
        pairs = keyed(ours, left, _KEYS)
        met = {other.first.id for _, other in pairs}
        pairs += keyed(
            ours, [u for u in left if u.first.id not in met and _is_plain(u)], SPARE_KEYS
        )
        if not pairs:
            break
        for one, other in (f for pair in pairs for f in file_by_file(*pair)):
            yield one, other, *weigh(one, other, compared)
        gone = {other.first.id for _, other in pairs}
        left = [unit for unit in left if unit.first.id not in gone]


def mirrored_cards(
    mine: Iterable[Unit], its: Sequence[Unit], card_of: Mapping[int, int], compared: Compared
) -> tuple[dict[int, Counterpart], list[tuple[Side, Side]]]:
    """How `its`, which answer the primary cards that `card_of` says, answer those left of others.

    One to one for each two cards.
    """
    found: dict[int, Counterpart] = {}
    uncompared: list[tuple[Side, Side]] = []
    left: dict[int, list[Unit]] = defaultdict(list)
    for unit in mine:
        left[unit.first.load].append(unit)
    held: dict[int, list[Unit]] = defaultdict(list)
    for unit in its:
        held[card_of[unit.first.id]].append(unit)
    for card, ours in sorted(left.items()):
        theirs = [unit for other, there in sorted(held.items()) if other != card for unit in there]
        for one, other in (
            f for pair in keyed(ours, theirs, _ONE_TAKE) for f in file_by_file(*pair)
        ):
            answers, wanted = weigh(one, other, compared)
            found |= {answer.recording: answer for answer in answers}
            uncompared += [(one.side, other.side)] if wanted else []
    return found, uncompared


def lower_copies(
    mine: Sequence[Unit],
    answered: Iterable[Sequence[Unit]],
    backup_of: Mapping[int, Unit],
    compared: Compared,
) -> tuple[dict[int, Counterpart], list[tuple[Side, Side]]]:
    """How the files `mine` are held in what answers those of their names beside them.

    One of the two is lossy. `answered` are those of their card, then of others; `backup_of` has
    what answers each of their files. What does not hold all of a lossy file is no answer for it,
    and what was seen to be of other sound none for any.
    """
    found: dict[int, Counterpart] = {}
    uncompared: list[tuple[Side, Side]] = []
    left = list(mine)
    for beside in answered:
        pairs = [pair for pair in keyed(beside, left, COPY_KEYS) if any(u.compressed for u in pair)]
        gone = {one.first.id for _, one in pairs}
        left = [unit for unit in left if unit.first.id not in gone]
        for better_one, one in pairs:
            its = backup_of[better_one.first.id]
            answers, wanted = weigh(one, its, compared)
            uncompared += [(one.side, its.side)] if wanted else []
            for answer in answers:
                whole = answer.relation is Relation.REDUCED and not answer.channels
                if whole if one.compressed else answer.relation not in STRANGE:
                    found[answer.recording] = answer._replace(theirs_alone=())
    return found, uncompared


def _unsure(answer: Counterpart) -> Counterpart:
    if answer.relation is not Relation.SHORT:
        return answer
    return answer._replace(relation=Relation.UNCOMPARED, frames=None, since=None)


def _is_plain(unit: Unit) -> bool:
    """Whether it names no recorder, as no MP3 does."""
    return not unit.first.description.metadata.originator


def _of_one_recorder(key: Key) -> Key:
    def both(unit: Unit) -> Hashable | None:
        name = key(unit)
        return None if name is None else (name, unit.first.description.metadata.originator)

    return both


_KEYS = tuple(map(_of_one_recorder, SPARE_KEYS))
_ONE_TAKE = tuple(map(_of_one_recorder, MIRROR_KEYS))
