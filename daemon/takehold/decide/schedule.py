"""What is due by the clock: derived from what is known, so that a missed alarm is made up for."""

from __future__ import annotations

from datetime import datetime, timedelta

from takehold.decide.day import shooting_day
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings

DAY_S = 86_400
LOOK_BACK = 7


def wraps_due(ledger: Ledger, settings: Settings, here: datetime) -> tuple[str, ...]:
    """Days whose wrap time has passed without a manifest: today's, and up to a week back."""
    if settings.wrap_at is None:
        return ()
    today = shooting_day(here, settings.day_starts_at)
    since = (here - timedelta(days=LOOK_BACK)).date().isoformat()
    with_files = {day for day, ids in ledger.of_day.items() if ids}
    with_files |= {load.day for load in ledger.loads.values()}
    return tuple(
        sorted(
            day
            for day in with_files
            if since <= day <= today
            and ledger.newest(day) is None
            and (day < today or _past(here, settings))
        )
    )


def unclosed(ledger: Ledger, settings: Settings, here: datetime) -> tuple[str, ...]:
    """Days gone by with files that came within a week, and no manifest: nobody wrapped them."""
    today = shooting_day(here, settings.day_starts_at)
    since = here.timestamp() - LOOK_BACK * DAY_S
    return tuple(
        sorted(
            day
            for day in ledger.of_day
            if day < today
            and ledger.newest(day) is None
            and (seen := ledger.seen_last(day)) is not None
            and seen >= since
        )
    )


def _past(here: datetime, settings: Settings) -> bool:
    assert settings.wrap_at is not None
    into = (here.hour * 60 + here.minute - settings.day_starts_at) % (24 * 60)
    return into >= (settings.wrap_at - settings.day_starts_at) % (24 * 60)


def overdue(proven_at: int, now: int, settings: Settings) -> bool:
    """Whether a copy's proof is old enough to be read again.

    One that is dated ahead was made while the clock was wrong: its age is not known.
    """
    return abs(now - proven_at) >= settings.recheck_after_days * DAY_S
