"""A backup of another date: what is moved on the cards never changes how it is related.

Files are shuffled and renamed and their metadata edited; timecode, scene and take are kept, as
recorders keep them. Takes of another day with the same names are no backup (tests/properties/
test_match_metamorphic.py has the moves).
"""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st
from test_match_metamorphic import KINDS, SEEDS, Hand, Shot, shot

from takehold.decide.match import by_audio_alone
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Counterpart, Relation
from twocards import Cards

SHOTS = st.lists(st.sampled_from([*KINDS, "another"]), min_size=1, max_size=6)
MOVES = st.sets(st.sampled_from(("shuffle", "rename", "edit")))
WHOLE = {Relation.IDENTICAL, Relation.SAME_AUDIO, Relation.OTHER_LAYOUT}
TOLD = {
    "same": WHOLE,
    "reduced": {Relation.REDUCED},
    "mix": {Relation.REDUCED},
    "short": {Relation.SHORT},
    "different": {Relation.DIFFERENT},
}


def laid(kinds: list[str], seed: int, moves: set[str]) -> tuple[Cards, dict[int, int]]:
    """Both cards, and the take of each primary file."""
    chance = random.Random(seed)
    numbers = list(range(1, 2000))
    if "shuffle" in moves:
        chance.shuffle(numbers)
    cards, takes = Cards(), {}
    asked = {name: name in moves for name in ("rename", "edit")} | {
        "divide": False,
        "interleave": False,
    }
    for number, kind in enumerate(kinds, 1):
        one = shot(number, kind, 2, False, chance)
        if kind == "another":  # of the same name, timecode and length
            one = Shot(number, "same", one.ours, shot(number, "same", 2, False, chance).ours)
        hand = Hand(chance, cards, numbers, **asked)
        (mine,) = hand.lay(1, one)
        takes[mine] = number
        hand.lay(2, one)
    return cards, takes


def told(cards: Cards) -> dict[int, Counterpart]:
    """The answers once everything that was asked for is compared."""
    known: dict[tuple[Side, Side], Comparison] = {}
    for _ in range(4):
        found = by_audio_alone(cards.card(1), cards.card(2), known, ())
        if not found.uncompared:
            return {answer.recording: answer for answer in found.primaries}
        known |= {pair: cards.compare(*pair) for pair in found.uncompared}
    raise AssertionError("asked for again and again")


@settings(max_examples=150, deadline=None)
@given(SHOTS, MOVES, SEEDS)
def test_moving_files_never_changes_how_another_dates_backup_answers(
    kinds: list[str], moves: set[str], seed: int
) -> None:
    cards, takes = laid(kinds, seed, moves)
    found = told(cards)
    for mine, number in takes.items():
        kind, answer = kinds[number - 1], found.get(mine)
        if kind in TOLD:
            assert answer is not None, kind
            assert answer.relation in TOLD[kind]
        else:
            assert answer is None
