"""Which file of a take a comparison of the whole of it speaks of."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from takehold.decide.spread import spread, theirs_alone
from takehold.decide.unit import Unit
from takehold.model.comparison import Comparison
from takehold.model.finding import Counterpart, Relation
from twocards import HZ, Cards

TEN = 10 * 3_600 * HZ
LINES = [tuple(range(1, 51)), tuple(range(101, 151)), tuple(range(201, 251))]
DIFFERENT, MISSING, SHORT = Relation.DIFFERENT, Relation.MISSING, Relation.SHORT
REDUCED, SAME = Relation.REDUCED, Relation.OTHER_LAYOUT


def polys(*begins: int) -> Unit:
    """Parts of 50 frames and three tracks."""
    made = Cards()
    files = [made.add(1, f"T_{n}.WAV", LINES, TEN + b) for n, b in enumerate(begins)]
    return Unit(tuple((made.files[n],) for n in files))


def monos(*begins: int) -> Unit:
    """The same as a mono file for each track."""
    made, parts = Cards(), []
    for n, begin in enumerate(begins):
        numbers = [made.add(1, f"T_{n}_{k}.WAV", [x], TEN + begin) for k, x in enumerate(LINES)]
        parts.append(tuple(made.files[number] for number in numbers))
    return Unit(tuple(parts))


def told(unit: Unit, relation: Relation, *figures: Any, **more: Any) -> list[Counterpart]:
    return list(spread(unit, Comparison(unit.side, (99,), relation, 1, *figures, **more)))


def relations(answers: list[Counterpart]) -> list[Relation]:
    return [answer.relation for answer in answers]


@pytest.mark.parametrize("frame", [60, 109])
def test_a_difference_behind_a_gap_is_told_of_the_part_that_lies_there(frame: int) -> None:
    """Ten frames were lost between two parts of 50: the second one ends at frame 110."""
    answers = told(polys(0, 60), DIFFERENT, frame, channels=(2,))
    assert relations(answers) == [SAME, DIFFERENT]
    assert (answers[1].frames, answers[1].channels) == (frame - 60, (2,))


@pytest.mark.parametrize(("further", "of"), [(50, [2]), (60, [3, 4]), (20, [2])])
def test_what_is_longer_is_the_track_that_ends_early_by_so_much(
    further: int, of: list[int]
) -> None:
    """The last part lacks the file of track 3; further on than all of it, all are cut."""
    whole = monos(0, 50)
    first, last = whole.parts
    answers = told(Unit((first, last[:2])), Relation.LONGER, None, further)
    assert [n for n, a in enumerate(answers) if a.relation is Relation.LONGER] == of
    assert {a.relation for n, a in enumerate(answers) if n not in of} == {SAME}


@pytest.mark.parametrize("lost", [0, 1, 2])
def test_what_is_longer_is_the_track_that_lacks_a_file(lost: int) -> None:
    """Of any of three parts; the other tracks lack nothing, what there is of it is named."""
    parts = list(monos(0, 50, 100).parts)
    parts[lost] = parts[lost][:2]
    unit = Unit(tuple(parts))
    answers = told(unit, Relation.LONGER, None, 50)
    last = parts[1 if lost == 2 else 2][2]
    assert [a.recording for a in answers if a.relation is Relation.LONGER] == [last.id]


def test_a_cut_end_behind_a_gap_is_told_of_the_last_part() -> None:
    answers = told(polys(0, 60), SHORT, 105, 5)
    assert relations(answers) == [SAME, SHORT]
    assert (answers[1].frames, answers[1].since) == (5, 45)


def test_two_stretches_that_are_missing_are_told_of_both_parts() -> None:
    """One in the first part, one on one track of the last; the middle one is whole."""
    missing = (*((n, 10, 20) for n in (1, 2, 3)), (2, 140, 150))
    answers = told(polys(0, 50, 100), SHORT, 10, 20, missing=missing)
    assert relations(answers) == [SHORT, SAME, SHORT]
    assert [(a.since, a.frames, a.channels) for a in answers[::2]] == [(10, 10, ()), (40, 10, (2,))]


def test_of_a_mono_set_what_the_backup_lacks_is_missing_though_an_earlier_part_differs() -> None:
    """Track 1 differs in the first part; the backup has nothing of the second."""
    missing = tuple((n, 50, 100) for n in (1, 2, 3))
    answers = told(monos(0, 50), DIFFERENT, 7, channels=(1,), missing=missing)
    assert relations(answers) == [DIFFERENT, SAME, SAME, MISSING, MISSING, MISSING]


def test_what_differs_and_is_short_is_told_as_both() -> None:
    missing = tuple((n, 45, 50) for n in (1, 2, 3))
    (answer,) = told(polys(0), DIFFERENT, 7, channels=(1,), missing=missing)
    assert (answer.relation, answer.frames, answer.since) == (DIFFERENT, 7, 45)
    mono = told(monos(0), DIFFERENT, 7, channels=(1,), missing=missing)
    assert relations(mono) == [DIFFERENT, SHORT, SHORT]
    assert [answer.since for answer in mono] == [45] * 3


def test_a_track_without_a_backup_is_told_though_another_differs() -> None:
    assert relations(told(monos(0), DIFFERENT, 7, channels=(1,), alone=(3,))) == [
        DIFFERENT,
        SAME,
        MISSING,
    ]
    whole, other = told(polys(0, 50), DIFFERENT, 60, channels=(1,), alone=(3,))
    assert (whole.relation, whole.channels) == (REDUCED, (3,))
    assert (other.relation, other.channels, other.alone) == (DIFFERENT, (1,), (3,))


def test_a_part_before_the_difference_is_of_lower_quality_as_all_of_it_is() -> None:
    answers = told(polys(0, 50), DIFFERENT, 60, channels=(1,), residual_db=-90.0)
    assert relations(answers) == [REDUCED, DIFFERENT]


def test_a_track_that_differs_nobody_knows_where_differs_in_all_parts() -> None:
    assert relations(told(polys(0, 50), DIFFERENT, channels=(1,))) == [DIFFERENT] * 2


def test_what_falls_on_no_file_is_told_of_the_last() -> None:
    """The catalogue and the copy do not agree on how long a file is."""
    assert relations(told(polys(0, 50), DIFFERENT, 5_000, channels=(1,))) == [SAME, DIFFERENT]


def test_tracks_that_only_the_backup_has_are_those_of_its_files() -> None:
    its = monos(0, 50)
    said = Comparison((1,), its.side, SAME, 1, theirs_alone=(2,))
    both = (its.parts[0][1].id, 1), (its.parts[1][1].id, 1)
    assert theirs_alone(polys(0, 50), its, said) == both
    differs = replace(said, relation=DIFFERENT, channels=(1,))
    assert theirs_alone(polys(0, 50), its, differs) == both
    assert theirs_alone(polys(0, 50), its, replace(differs, channels=(1, 2, 3))) == ()


@pytest.mark.parametrize(
    ("frame", "figure", "there"),
    [(9_000, None, True), (8_192, None, False), (None, None, False), (9_000, -40.0, False)],
)
def test_tracks_of_the_backup_only_are_told_where_ours_differs_after_a_beginning(
    frame: int | None, figure: float | None, *, there: bool
) -> None:
    """Then it is no other take; what is only alike, as 16 bits of silence are, shows nothing."""
    mine = monos(0)
    one = Unit(((mine.parts[0][0],),))
    found = Comparison(one.side, mine.side, DIFFERENT, 1, frame, channels=(1,), theirs_alone=(2,))
    said = theirs_alone(one, mine, replace(found, residual_db=figure))
    assert said == (((mine.parts[0][1].id, 1),) if there else ())


def test_a_file_of_which_no_track_is_there_has_no_counterpart() -> None:
    """What was taken for it is another track, as where each card lost another one of a set."""
    (one,) = told(polys(0), REDUCED, channels=(1, 2, 3))
    assert (one.relation, one.others) == (MISSING, ())


def test_what_a_part_lacks_is_no_figure_of_a_later_one_that_is_whole() -> None:
    """The beginning is cut, and all of it has fewer bits."""
    lost = tuple((n, 0, 20) for n in (1, 2, 3))
    figures = {"residual_db": -60.0, "correlation": 0.99, "duration_difference": -20}
    answers = told(polys(0, 50), SHORT, 0, 20, missing=lost, **figures)
    assert relations(answers) == [SHORT, REDUCED]
    assert answers[1].duration_difference is None


@pytest.mark.parametrize("lost", [(2, 3), (2,)])
def test_a_part_of_which_nothing_that_sounds_is_there_is_missing(lost: tuple[int, ...]) -> None:
    """Its first track is silent, so that nothing shows whether the backup has it."""
    made = Cards()
    lines = [(0,) * 50, *LINES[1:]]
    files = [made.add(1, f"T_{n}.WAV", lines, TEN + n * 50) for n in range(2)]
    unit = Unit(tuple((made.files[n],) for n in files))
    missing = tuple((n, 0, 60) for n in lost)
    answers = told(unit, SHORT, 0, 60, channels=lost, missing=missing)
    assert relations(answers) == [MISSING if lost == (2, 3) else REDUCED, SHORT]
