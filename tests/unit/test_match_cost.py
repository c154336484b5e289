"""The cost of matching grows with the number of files, not with its square.

Lines of Python are counted, not seconds: the count is the same on every machine.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchmarks.matching import WAYS, cards, lines_of
from planworld import DAY, ledger, load, settings
from takehold.decide.match import match
from takehold.decide.standing import day_standing
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role

FEW, MANY = 60, 240
BEFORE = "2031-05-05"


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


def of_card(files: list[Recording], card: int, day: str) -> list[f.Fact]:
    """These on a card of the production, of that day."""
    home = b"Lantern Bay/%s/%d/" % (day.encode(), card)
    return [
        f.Inventoried(replace(r, load=card, day=day, place=home + r.path, id=card * 100_000 + r.id))
        for r in files
    ]


def day_off(count: int, way: str) -> Ledger:
    """So many takes whose backup card has the date of the day before."""
    ours, theirs = cards(way, count)
    loads = [f.LoadSeen(load(1)), f.LoadSeen(load(2, Role.BACKUP))]
    return ledger(loads, of_card(ours, 1, DAY), of_card(theirs, 2, BEFORE))


@pytest.mark.parametrize("way", ["metadata", "layout", "depth", "alike"])
def test_backups_of_another_day_cost_in_proportion_too(way: str) -> None:
    """With and without audio in common."""
    known = [day_off(count, way) for count in (FEW, MANY)]
    few, many = (lines_of(lambda one=one: day_standing(one, DAY, settings())) for one in known)
    assert few > 20 * FEW
    assert many < 4.5 * few
    beside = len(day_standing(known[1], DAY, settings()).beside)
    assert beside == {"metadata": MANY, "layout": 3 * MANY}.get(way, 0)


def second_backup(count: int, way: str) -> tuple[list[Recording], list[Recording]]:
    """A card, its backup in the same bytes, and a second one that must be compared."""
    ours, theirs = cards(way, count)
    same = [replace(r, load=2, id=100_000 + r.id) for r in ours]
    return ours, [*same, *(replace(r, load=3) for r in theirs)]


@pytest.mark.parametrize("way", ["depth", "alike"])
def test_what_is_left_over_costs_in_proportion_too(way: str) -> None:
    few, many = (lines_of(lambda n=n: match(*second_backup(n, way))) for n in (FEW, MANY))
    assert many < 4.5 * few
    assert len(match(*second_backup(FEW, way)).uncompared) == FEW


def test_another_round_costs_in_proportion_too() -> None:
    """All of them are other takes, and as long as each other."""

    def steps(count: int) -> int:
        ours, theirs = cards("depth", count)
        asked = match(ours, theirs).uncompared
        known = {sides: Comparison(*sides, Relation.DIFFERENT, 1, 0) for sides in asked}
        return lines_of(lambda: match(ours, theirs, known))

    assert steps(MANY) < 4.5 * steps(FEW)
