"""Of two backup cards that both hold a recording, the one that holds it better answers it."""

from __future__ import annotations

from itertools import combinations, permutations

import pytest

from takehold.decide.match import Matched, match
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Relation
from twocards import Cards, Line

BEGIN = 36_000 * 48_000
BOOM = tuple(range(10, 90_000, 301))
ANNA = tuple(range(7, 60_000, 199))[: len(BOOM)]
OTHER = tuple(n * 7 % 50_000 + 3 for n in BOOM)
SLATE = {"scene": "12", "take": "3", "originator": "REC"}

# What a card may hold of the take: the tracks, and their bits; the strongest first.
KINDS: dict[Relation, tuple[list[Line], int]] = {
    Relation.SAME_AUDIO: ([BOOM, ANNA], 24),
    Relation.OTHER_LAYOUT: ([ANNA, BOOM], 24),
    Relation.REDUCED: ([BOOM, ANNA], 16),
    Relation.SHORT: ([BOOM[:200], ANNA[:200]], 24),
    Relation.DIFFERENT: ([OTHER, ANNA[::-1]], 24),
}


def settled(cards: Cards, loads: tuple[int, ...] = (2, 3)) -> Matched:
    """The answers once all that was asked for is compared."""
    known: dict[tuple[Side, Side], Comparison] = {}
    for _ in range(4):
        backups = [file for load in loads for file in cards.card(load)]
        found = match(cards.card(1), backups, known)
        if not found.uncompared:
            return found
        known |= {pair: cards.compare(*pair) for pair in found.uncompared}
    raise AssertionError("asked again and again")


def two_cards(*kinds: Relation, first: int = 1) -> tuple[Cards, list[int]]:
    """A take, and what the backup cards hold of it, in the order of their paths."""
    made = Cards()
    for take in range(first, first + 2):
        up = tuple(n + take for n in BOOM), tuple(n + take for n in ANNA)
        if take > 1:  # takes beside it, sound on both cards
            made.add(1, f"T{take:02}.WAV", up, BEGIN + take * 10**6, scene="12", take=str(take + 3))
            made.add(2, f"a/T{take:02}.WAV", up, BEGIN + take * 10**6, note="b")
    made.add(1, "T01.WAV", [BOOM, ANNA], BEGIN, number=1, **SLATE)
    its = []
    for load, kind in enumerate(kinds, 2):
        lines, bits = KINDS[kind]
        said = {**SLATE, "note": f"card {load}"}
        folder = chr(ord("a") + load)
        its.append(made.add(load, f"{folder}/T01.WAV", lines, BEGIN, bits, 100 + load, **said))
    return made, its


@pytest.mark.parametrize(("strong", "weak"), list(combinations(KINDS, 2)))
@pytest.mark.parametrize("turned", [False, True])
def test_the_better_one_answers_whatever_its_path(
    strong: Relation, weak: Relation, *, turned: bool
) -> None:
    """And the other one is told for what it is."""
    made, its = two_cards(*((weak, strong) if turned else (strong, weak)))
    best, rest = reversed(its) if turned else its
    found = settled(made)
    answers = {answer.recording: answer for answer in (*found.primaries, *found.backups)}
    assert (answers[1].relation, answers[1].others) == (strong, (best,))
    assert (answers[best].relation, answers[best].others) == (strong, (1,))
    if strong is not weak and rest in answers:
        assert (answers[rest].relation, answers[rest].other) == (weak, 1)


@pytest.mark.parametrize(
    "order", [*permutations([Relation.REDUCED, Relation.SHORT, Relation.DIFFERENT])]
)
def test_of_three_cards_the_best(order: tuple[Relation, ...]) -> None:
    made, its = two_cards(*order)
    found = settled(made, (2, 3, 4))
    answers = {answer.recording: answer for answer in (*found.primaries, *found.backups)}
    assert (answers[1].relation, answers[1].others) == (
        Relation.REDUCED,
        (its[order.index(Relation.REDUCED)],),
    )
    for number, kind in zip(its, order, strict=True):
        assert answers[number].relation is kind


@pytest.mark.parametrize("lengths", [(200, 250), (250, 200)])
def test_of_two_cut_ones_the_longer(lengths: tuple[int, int]) -> None:
    made = Cards()
    made.add(1, "T01.WAV", [BOOM, ANNA], BEGIN, number=1, **SLATE)
    for load, length in enumerate(lengths, 2):
        lines = [BOOM[:length], ANNA[:length]]
        made.add(load, f"{load}/T01.WAV", lines, BEGIN, number=length, **SLATE)
    (answer,) = settled(made).primaries
    assert (answer.relation, answer.others) == (Relation.SHORT, (250,))


def test_a_file_answers_one_recording_only() -> None:
    """Two recordings with the same beginning, scene and take; one better copy: it is for one."""
    made = Cards()
    for number in (1, 2):
        made.add(
            1, f"T{number:02}.WAV", [BOOM, ANNA], BEGIN, number=number, **SLATE, note=str(number)
        )
        made.add(
            2, f"c/T{number:02}.WAV", [BOOM[:200], ANNA[:200]], BEGIN, number=100 + number, **SLATE
        )
    made.add(3, "d/T01.WAV", [BOOM, ANNA], BEGIN, 16, 201, **SLATE)
    found = settled(made)
    assert [a.relation for a in found.primaries] == [Relation.REDUCED, Relation.SHORT]
    assert [a.others for a in found.primaries] == [(201,), (102,)]


def test_a_mix_on_a_second_card_is_no_backup_of_an_iso() -> None:
    """Both backup cards hold the mix only: the other track is missing, and not different."""
    made = Cards()
    for number, line in ((1, BOOM), (2, ANNA)):
        made.add(
            1, f"T01_{number}.WAV", [line], BEGIN, number=number, **SLATE, set_index=str(number)
        )
    made.add(2, "c/T01.WAV", [BOOM], BEGIN, number=101, **SLATE, note="b")
    made.add(3, "d/T01.WAV", [BOOM], BEGIN, number=102, **SLATE, note="c")
    found = settled(made)
    assert [a.relation for a in found.primaries] == [Relation.SAME_AUDIO, Relation.MISSING]
    assert {a.recording: a.others for a in found.backups} == {101: (1,), 102: (1,)}


def test_while_it_is_not_known_how_the_first_answers_nothing_is_exchanged() -> None:
    made, _ = two_cards(Relation.DIFFERENT, Relation.REDUCED)
    one, first, second = (made.files[n] for n in (1, 102, 103))
    sides = (1,), (103,)
    known = {sides: Comparison(*sides, Relation.REDUCED, 1, residual_db=-90.0)}
    found = match([one], [first, second], known)
    assert [a.others for a in found.primaries] == [(102,)]
    assert ((1,), (102,)) in found.uncompared
