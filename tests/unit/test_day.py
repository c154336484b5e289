"""Which shooting day a recording belongs to: the design's section 5, "Which day"."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takehold.decide.day import day_of, is_day, recorder_time, shooting_day
from takehold.model.sound import Metadata

SIX = 6 * 60
CARD_DAY = "2031-05-01"
SEEN = datetime(2031, 5, 6, 21, 0, tzinfo=UTC)


def day(date: str, time: str = "12:00:00", seen: datetime = SEEN, starts_at: int = SIX) -> tuple:
    found = day_of(Metadata(date=date, time=time), CARD_DAY, seen, starts_at)
    return found.day, found.complaint.code if found.complaint else None


@pytest.mark.parametrize(
    ("time", "is_day"),
    [
        ("06:00:00", "2031-05-06"),
        ("05:59:59", "2031-05-05"),
        ("23:59:59", "2031-05-06"),
        ("00:00:00", "2031-05-05"),
    ],
)
def test_the_day_starts_at_six_so_that_a_night_shoot_is_one_day(time: str, is_day: str) -> None:
    late = SEEN + timedelta(hours=3)
    assert day("2031-05-06", time, late) == (is_day, None)


def test_a_day_that_starts_at_midnight_is_the_calendars() -> None:
    assert day("2031-05-06", "00:00:00", starts_at=0) == ("2031-05-06", None)
    late = SEEN + timedelta(hours=3)
    assert day("2031-05-06", "23:59:59", late, starts_at=0) == ("2031-05-06", None)


def test_a_night_over_the_new_year_is_one_day() -> None:
    seen = datetime(2032, 1, 1, 7, 0, tzinfo=UTC)
    assert day("2032-01-01", "03:00:00", seen) == ("2031-12-31", None)


@pytest.mark.parametrize("text", ["2031:05:06", "2031/05/06", "2031 05 06", "2031_05_06"])
def test_the_date_may_have_any_separators(text: str) -> None:
    """EBU Tech 3285 v2, OriginationDate: '-', '_', ':', ' ' and '.' are in use."""
    assert day(text, "12.00.00") == ("2031-05-06", None)


@pytest.mark.parametrize("time", ["", "noon", "12"])
def test_a_date_without_a_time_is_noon(time: str) -> None:
    assert day("2031-05-06", time) == ("2031-05-06", None)


@pytest.mark.parametrize(
    "date",
    [
        "1980-01-01",
        "2031-02-30",
        "0000-00-00",
        "soon",
        "2031-05-08",
        "9999-12-31",
        "\u0662031-05-06x",
    ],
)
def test_a_date_that_cannot_be_right_gives_the_day_of_first_sight_and_a_word(date: str) -> None:
    """Not the card's first day: a card may be in use for a week."""
    assert day(date) == ("2031-05-06", "date-wrong")


def test_a_time_that_cannot_be_right_is_told_too() -> None:
    assert day("2031-05-06", "25:00:00") == ("2031-05-06", "date-wrong")


def test_a_wrong_clock_seen_after_midnight_belongs_to_the_night() -> None:
    assert day("1980-01-01", seen=datetime(2031, 5, 7, 2, 0, tzinfo=UTC))[0] == "2031-05-06"


def test_a_recorder_in_a_zone_ahead_is_believed() -> None:
    """UTC+14 against UTC-11 is 25 hours."""
    assert day("2031-05-07", "22:00:00") == ("2031-05-07", "date-ahead")


def test_a_day_that_has_not_begun_is_told() -> None:
    """Clocks that differ by minutes are ordinary, also where a day begins."""
    late = datetime(2031, 5, 7, 5, 50, tzinfo=UTC)
    assert day("2031-05-07", "06:04:00", late) == ("2031-05-07", None)
    assert day("2031-05-07", "06:06:00", late) == ("2031-05-07", "date-ahead")


def test_a_clock_that_is_ahead_within_the_day_is_told_and_moves_nothing() -> None:
    assert day("2031-05-06", "21:15:00") == ("2031-05-06", None)
    assert day("2031-05-06", "21:16:00") == ("2031-05-06", "clock-ahead")
    assert day("2031-05-07", "05:00:00") == ("2031-05-06", "clock-ahead")


def test_an_old_date_is_believed_and_told() -> None:
    assert day("2031-04-20") == ("2031-04-20", "date-old")
    assert day("2031-04-30") == ("2031-04-30", None)


def test_a_file_without_a_date_goes_with_its_card() -> None:
    assert day("") == (CARD_DAY, None)


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        (datetime(2031, 3, 30, 5, 59), "2031-03-29"),
        (datetime(2031, 3, 30, 6, 0), "2031-03-30"),
        (datetime(2031, 10, 26, 2, 30, fold=0), "2031-10-25"),
        (datetime(2031, 10, 26, 2, 30, fold=1), "2031-10-25"),
        (datetime(2031, 10, 26, 6, 0), "2031-10-26"),
    ],
)
def test_a_changed_clock_moves_no_take_to_another_day(moment: datetime, expected: str) -> None:
    """Summer time begins and ends in that night: the wall clock counts, with and without zone."""
    assert shooting_day(moment, SIX) == expected
    assert shooting_day(moment.replace(tzinfo=ZoneInfo("Europe/Vienna")), SIX) == expected


@given(st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1)), st.integers(0, 24 * 60 - 1))
def test_a_day_has_24_hours_from_its_start(moment: datetime, starts_at: int) -> None:
    found = datetime.fromisoformat(shooting_day(moment, starts_at)) + timedelta(minutes=starts_at)
    assert found <= moment < found + timedelta(hours=24)


@given(st.text(max_size=12), st.text(max_size=10))
def test_any_text_is_a_moment_or_none(date: str, time: str) -> None:
    """What stands in bext is untrusted (P10)."""
    found = recorder_time(date, time)
    assert found is None or found.year >= 1
    day_of(Metadata(date=date, time=time), CARD_DAY, SEEN, SIX)


def test_days_are_written_in_one_way() -> None:
    assert is_day("2031-05-06")
    assert not any(map(is_day, ("20310506", "2031-5-6", "2031-W19-2", "2031-02-30", "", "x")))
