"""The cost of matching grows with the number of files, not with its square.

Lines of Python are counted, not seconds: the count is the same on every machine.
"""

from __future__ import annotations

import pytest

from benchmarks.matching import WAYS, cards, lines_of
from takehold.decide.match import match
from takehold.model.finding import Relation

FEW, MANY = 60, 240


@pytest.mark.parametrize("way", WAYS)
def test_four_times_the_files_cost_four_times_the_steps(way: str) -> None:
    """A square would be sixteen times; sorting adds little."""
    few, many = (lines_of(lambda pair=cards(way, n): match(*pair)) for n in (FEW, MANY))
    assert few > 20 * FEW, "the lines are counted at all"
    assert many < 4.5 * few


def test_a_square_would_be_noticed() -> None:
    """The count above can fail."""
    ours, theirs = cards("depth", 30)

    def square() -> None:
        for one in ours:
            match([one], theirs)

    assert lines_of(square) > 10 * lines_of(lambda: match(ours, theirs))


@pytest.mark.parametrize(
    ("way", "relation", "asked"),
    [
        ("identical", Relation.IDENTICAL, 0),
        ("metadata", Relation.SAME_AUDIO, 0),
        ("layout", Relation.OTHER_LAYOUT, 0),
        ("depth", Relation.UNCOMPARED, 2000),
        ("alike", Relation.UNCOMPARED, 2000),
    ],
)
def test_two_full_cards(way: str, relation: Relation, asked: int) -> None:
    """2,000 takes on each card; what the digests tell asks for no comparison."""
    found = match(*cards(way, 2000))
    assert {answer.relation for answer in found.primaries} == {relation}
    assert len(found.uncompared) == asked
    assert all(len(mine) == len(its) == 1 for mine, its in found.uncompared)
