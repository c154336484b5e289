"""What is due by the clock; a missed alarm is made up for."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from planworld import DAY, good_day, ledger, revised, settings
from takehold.decide.schedule import LOOK_BACK, overdue, unclosed, wraps_due
from takehold.model import facts as f

HALF_PAST_NINE = settings(wrap_at=21 * 60 + 30)


def at(hour: int, minute: int = 0, days: int = 0) -> datetime:
    return datetime(2031, 5, 6, hour, minute, tzinfo=UTC) + timedelta(days=days)


def due(here: datetime, *facts: f.Fact, made=HALF_PAST_NINE) -> tuple[str, ...]:
    return wraps_due(ledger(good_day(), facts), made, here)


@pytest.mark.parametrize(
    ("here", "expected"),
    [
        (at(21, 29), ()),
        (at(21, 30), (DAY,)),
        (at(23, 59), (DAY,)),
        (at(5, 59, days=1), (DAY,)),
        (at(6, 0, days=1), (DAY,)),
        (at(12, 0), ()),
    ],
)
def test_a_day_is_wrapped_at_its_time_or_as_soon_as_the_lid_opens(
    here: datetime, expected: tuple[str, ...]
) -> None:
    assert due(here) == expected


@pytest.mark.parametrize(("hour", "expected"), [(3, ()), (4, (DAY,)), (5, (DAY,))])
def test_a_wrap_after_midnight_belongs_to_the_night(hour: int, expected: tuple[str, ...]) -> None:
    assert due(at(hour, days=1), made=settings(wrap_at=4 * 60)) == expected
    assert due(at(23), made=settings(wrap_at=4 * 60)) == ()


def test_a_day_with_a_manifest_and_a_config_without_a_time_ask_for_nothing() -> None:
    assert due(at(22), revised()) == ()
    assert due(at(22), made=settings()) == ()


def test_a_day_is_made_up_for_within_a_week_only() -> None:
    assert due(at(12, days=LOOK_BACK)) == (DAY,)
    assert due(at(12, days=LOOK_BACK + 1)) == ()


def test_a_day_in_the_future_waits_for_its_evening() -> None:
    """A recorder in a zone ahead, or the laptop's clock set back."""
    assert due(at(22, days=-1)) == ()


def test_a_card_without_files_makes_its_day_due_too() -> None:
    """A card was there and nothing came of it: that is said at wrap (P12)."""
    known = ledger(good_day()[:1])
    assert wraps_due(known, HALF_PAST_NINE, at(22)) == (DAY,)


def test_a_day_gone_by_without_a_manifest_is_not_closed() -> None:
    known = ledger(good_day())
    assert unclosed(known, settings(), at(23)) == ()
    assert unclosed(known, settings(), at(7, days=1)) == (DAY,)
    assert unclosed(ledger(good_day(), [revised()]), settings(), at(7, days=1)) == ()


def test_a_proof_is_old_after_its_days() -> None:
    made = settings(recheck_after_days=30)
    assert not overdue(0, 30 * 86_400 - 1, made)
    assert overdue(0, 30 * 86_400, made)
    assert not overdue(1000, 0, made)
