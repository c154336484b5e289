"""Two backup cards of one take, each in its own way: the better one answers, whatever is moved.

Files are shuffled, renamed, their metadata edited, and interleaved (tests/properties/
test_match_metamorphic.py has the moves); a comparer that knows the samples answers what is asked.
"""

from __future__ import annotations

import random
from collections import Counter

from hypothesis import given, settings
from hypothesis import strategies as st
from test_match_metamorphic import MOVES, SEEDS, Hand, Shot, shot

from takehold.decide.match import Matched, match
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Relation
from twocards import Cards

# From the strongest to the weakest; what a take comes to, by the weakest relation of its files.
RANKS = {"same": 0, "reduced": 1, "short": 2, "different": 3, "missing": 4}
PAIRS = st.lists(
    st.tuples(st.sampled_from([*RANKS]), st.sampled_from([*RANKS])), min_size=1, max_size=4
)


def like(one: Shot, kind: str) -> Shot:
    """The same take, as another card has it."""
    theirs = {
        "short": tuple(line[: len(line) // 2] for line in one.ours),
        "different": ((*one.ours[0][:11], one.ours[0][11] ^ 512, *one.ours[0][12:]), *one.ours[1:]),
        "missing": (),
    }.get(kind, one.ours)
    return Shot(one.number, kind, one.ours, theirs)


def laid(
    pairs: list[tuple[str, str]], seed: int, moves: set[str]
) -> tuple[Cards, dict[int, list[int]]]:
    """A primary card and two backup cards (loads 2 and 3), and the primary files of each take."""
    chance = random.Random(seed)
    numbers = list(range(1, 4000))
    if "shuffle" in moves:
        chance.shuffle(numbers)
    cards = Cards()
    asked = {name: name in moves for name in ("rename", "edit", "divide", "interleave")}
    files: dict[int, list[int]] = {}
    for take, (first, second) in enumerate(pairs, 1):
        one = shot(take, first, 2, False, chance)
        files[take] = Hand(chance, cards, numbers, **asked).lay(1, one)
        Hand(chance, cards, numbers, **asked).lay(2, one)
        for number in Hand(chance, cards, numbers, **asked).lay(2, like(one, second)):
            moved = cards.files[number]
            object.__setattr__(moved, "load", 3)
    return cards, files


def told(cards: Cards) -> Matched:
    """The answers once everything that was asked for is compared."""
    known: dict[tuple[Side, Side], Comparison] = {}
    for _ in range(10):  # those of one length are tried one after the other
        found = match(cards.card(1), [*cards.card(2), *cards.card(3)], known)
        if not found.uncompared:
            return found
        known |= {pair: cards.compare(*pair) for pair in found.uncompared}
    raise AssertionError("asked for again and again")


def rank(relations: set[Relation]) -> int:
    """What a take comes to."""
    if Relation.DIFFERENT in relations:
        return RANKS["different"]
    if relations == {Relation.MISSING}:
        return RANKS["missing"]
    if Relation.SHORT in relations:
        return RANKS["short"]
    less = relations & {Relation.REDUCED, Relation.MISSING}  # a track without a backup
    return RANKS["reduced"] if less else RANKS["same"]


@settings(max_examples=200, deadline=None)
@given(PAIRS, MOVES.map(lambda moves: moves - {"divide"}), SEEDS)
def test_the_better_of_two_cards_answers(
    pairs: list[tuple[str, str]], moves: set[str], seed: int
) -> None:
    cards, files = laid(pairs, seed, moves)
    found = {answer.recording: answer for answer in told(cards).primaries}
    for take, (first, second) in enumerate(pairs, 1):
        best = min(RANKS[first], RANKS[second])
        answers = [found[number] for number in files[take]]
        assert rank({answer.relation for answer in answers}) <= best, (take, answers)
    uses = Counter(o for a in found.values() for o in set(a.others))
    assert all(count == 1 or "divide" in moves or "interleave" in moves for count in uses.values())
