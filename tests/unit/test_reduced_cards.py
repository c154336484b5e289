"""A backup card of lower quality: one decision for all that it holds so, which covers just that."""

from __future__ import annotations

from typing import Any

import pytest
from test_check_backup import LINES, TEN, TRACKS, about_backup, facts_of, found

from planworld import NOON
from takehold.decide.check import verdict
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Finding, Relation, Severity, Verdict
from twocards import HZ, Cards


def takes(count: int, whole: int = 0) -> Cards:
    """So many takes with a backup in 16 bits, and some that are identical."""
    made = Cards()
    for n in range(1, count + whole + 1):
        bits = 16 if n <= count else 24
        start = TEN + n * 60 * HZ
        lines = [tuple(sample + 7 * n for sample in line) for line in LINES]
        made.add(1, f"T{n:02}.WAV", lines, start, tracks=TRACKS, number=n, take=str(n))
        made.add(2, f"T{n:02}.WAV", lines, start, bits, number=100 + n, take=str(n))
    return made


def said(made: Cards, *told: Comparison) -> list[Finding]:
    return about_backup(facts_of(made, *map(f.Compared, told)))


def less(number: int, figure: float = -96.0, **figures: Any) -> Comparison:
    figures = {"residual_db": figure, "correlation": 0.9999} | figures
    return Comparison((number,), (100 + number,), Relation.REDUCED, NOON, **figures)


def test_a_card_of_lower_quality_is_one_decision_with_the_worst_figure_and_the_files() -> None:
    (one,) = said(takes(3), less(1), less(2, -60.0, correlation=0.9), less(3))
    assert (one.code, one.severity, one.load) == ("backup-reduced", Severity.LOOK, 1)
    assert one.says == (
        "SND_B1 holds 3 files of SND_A1 at a lower quality; the worst is T02.WAV: what differs "
        "lies 60.0 dB below it, correlation 0.9000. They are T01.WAV, T02.WAV, T03.WAV."
    )


def test_what_lacks_tracks_too_says_both_and_is_told_as_that() -> None:
    """The config may lower what is said of the quality: never that a track has no backup."""
    (one,) = said(takes(3), *(less(n, channels=(2, 3)) for n in (1, 2, 3)))
    assert one.code == "backup-partial"
    assert "at a lower quality and in other tracks only: tracks 2 (Boom), 3 (Anna) have no" in (
        one.says
    )


def test_takes_that_lack_other_tracks_are_another_decision() -> None:
    told = said(takes(4), less(1), less(2), less(3), less(4, channels=(1,)))
    assert [(one.code, one.load, one.recording) for one in told] == [
        ("backup-partial", None, 4),
        ("backup-reduced", 1, None),
    ]


@pytest.mark.parametrize(("count", "whole"), [(2, 0), (3, 3)])
def test_a_few_takes_of_a_card_are_told_one_by_one(count: int, whole: int) -> None:
    """Two alone, or no more than half of what the card holds."""
    told = said(takes(count, whole), *(less(n) for n in range(1, count + 1)))
    assert [one.recording for one in told] == list(range(1, count + 1))


def test_one_that_nothing_shows_to_be_the_same_is_told_by_itself() -> None:
    told = said(takes(4), less(1), less(2), less(3), less(4, 3.0, correlation=0.01))
    alone = [one for one in told if one.recording == 4]
    assert [one.do for one in alone] == ["Listen to both. Keep the card as it is."]
    assert len(told) == 2


def test_a_decision_holds_for_these_files_and_answers_only() -> None:
    """One more take, or another figure of what is missing, and it is asked for anew."""
    (three,) = said(takes(3), *(less(n) for n in (1, 2, 3)))
    (again,) = said(takes(3), *(less(n) for n in (1, 2, 3)))
    (four,) = said(takes(4), *(less(n) for n in (1, 2, 3, 4)))
    assert three.id == again.id != four.id
    cut = Comparison((3,), (103,), Relation.SHORT, NOON, 40, 4, residual_db=-96.0)
    worse = [one for one in said(takes(3), less(1), less(2), cut) if one.code == "backup-reduced"]
    assert [one.id != three.id for one in worse] == [True]


def test_one_decision_makes_the_day_ready() -> None:
    facts = facts_of(takes(3), *(f.Compared(less(n)) for n in (1, 2, 3)))
    looks = [one for one in found(facts) if one.severity is Severity.LOOK]
    assert len(looks) == 1
    acks = {looks[0].id: f.Acked(looks[0].id, "16 bits are meant", NOON)}
    assert verdict(tuple(looks), acks)[0] is Verdict.READY


def test_silence_in_a_lossy_file_shows_nothing() -> None:
    made = Cards()
    made.add(1, "T.WAV", [(0,) * 44], TEN, number=1)
    made.add(2, "T.WAV", [(0,) * 44], TEN, 16, number=2)
    done = f.Compared(Comparison((1,), (2,), Relation.REDUCED, NOON))
    (one,) = [x for x in about_backup(facts_of(made, done)) if x.code == "backup-reduced"]
    assert one.says.endswith("it is silent, and nothing shows that both are one sound.")
