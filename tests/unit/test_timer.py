"""adapters/timer: nudges, through clock steps and changes of daylight saving time."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import apscheduler.schedulers.base
import pytest
from apscheduler.triggers.base import BaseTrigger

from takehold.adapters import timer
from takehold.adapters.clock import SystemClock
from takehold.adapters.timer import DailyTrigger, EveryTrigger, Timer

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A laptop in a zone whose clocks change, at 01:00 UTC (IANA time zone database)."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def times(minutes: int, start: datetime, count: int) -> list[datetime]:
    """The first times of a daily trigger, in Berlin's clock."""
    trigger, found = DailyTrigger(minutes), []
    previous, now = None, start
    for _ in range(count):
        previous = trigger.get_next_fire_time(previous, now)
        now = previous
        found.append(previous.astimezone(BERLIN))
    return found


@pytest.mark.usefixtures("berlin")
@pytest.mark.parametrize(
    "change", [datetime(2031, 3, 30, tzinfo=UTC), datetime(2031, 10, 26, tzinfo=UTC)]
)
@pytest.mark.parametrize("minutes", [0, 2 * 60 + 30, 6 * 60, 21 * 60 + 30, 23 * 60 + 59])
def test_once_a_day_through_both_changes(change: datetime, minutes: int) -> None:
    """One time each local date, at the wall's hour; zoneinfo is the second opinion."""
    found = times(minutes, change - timedelta(days=3), 7)
    assert [t.date() for t in found] == [found[0].date() + timedelta(days=n) for n in range(7)]
    hour, minute = divmod(minutes, 60)
    missing = (change.month, minutes) == (3, 150)  # 02:30 is left out on that one date
    for t in found:
        on_wall = (3, 30) if missing and t.date() == change.date() else (hour, minute)
        assert (t.hour, t.minute) == on_wall
        assert t.fold == 0


@pytest.mark.usefixtures("berlin")
def test_the_first_time_is_the_next_one() -> None:
    """Before the hour: today; at the hour or after it: tomorrow."""
    for wall, day in (((21, 29), 14), ((21, 30), 15), ((21, 31), 15), ((0, 0), 14)):
        start = datetime(2031, 3, 14, *wall, tzinfo=BERLIN)
        assert times(21 * 60 + 30, start, 1) == [datetime(2031, 3, day, 21, 30, tzinfo=BERLIN)]


@pytest.mark.usefixtures("berlin")
def test_a_laptop_that_travels(monkeypatch: pytest.MonkeyPatch) -> None:
    """The zone that is set now counts, for the clock and for the next time of day."""
    assert SystemClock().local().tzname() in ("CET", "CEST")
    monkeypatch.setenv("TZ", "America/New_York")
    assert SystemClock().local().tzname() in ("EST", "EDT")
    start = datetime(2031, 3, 14, 12, tzinfo=UTC)
    found = DailyTrigger(21 * 60 + 30).get_next_fire_time(None, start)
    assert found == datetime(2031, 3, 14, 21, 30, tzinfo=ZoneInfo("America/New_York"))


class Nudges:
    """Counts; waits for the next one."""

    def __init__(self) -> None:
        self.count = 0
        self.changed = threading.Condition()

    def __call__(self) -> None:
        with self.changed:
            self.count += 1
            self.changed.notify_all()

    def more(self, than: int) -> bool:
        with self.changed:
            return self.changed.wait_for(lambda: self.count > than, timeout=60)


@pytest.fixture
def ticking() -> Iterator[Timer]:
    made = Timer(look_seconds=0.05)
    yield made
    made.stop()
    assert not [t for t in threading.enumerate() if "APScheduler" in t.name or "clock" in t.name]


def test_every_goes_on(ticking: Timer) -> None:
    """Again and again, also after a job that failed."""
    nudges = Nudges()

    def failing() -> None:
        nudges()
        raise RuntimeError("once")

    ticking.every(0.05, failing)
    ticking.start()
    assert nudges.more(2)


def test_years_that_were_missed_are_one_run() -> None:
    """The clock was set right by six years: the library asks until the answer is not overdue."""
    start = datetime(2025, 3, 14, 12, tzinfo=UTC)
    trigger, later = EveryTrigger(5), start + timedelta(days=6 * 365)
    due = trigger.get_next_fire_time(None, start)
    assert due == start + timedelta(seconds=5)
    assert trigger.get_next_fire_time(due, later) > later


class Clock(datetime):
    """The library's wall clock, set off by `ahead` (its monotonic waits stay true)."""

    ahead = timedelta()

    @classmethod
    def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
        return datetime.now(tz) + cls.ahead  # type: ignore[arg-type]


class Held(datetime):
    """The same, stopped at `at` until it is let go of."""

    at = datetime(2031, 3, 14, tzinfo=UTC)
    since: float | None = None

    @classmethod
    def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
        passed = 0.0 if cls.since is None else time.monotonic() - cls.since
        return (cls.at + timedelta(seconds=passed)).astimezone(tz)  # type: ignore[arg-type]


def test_a_clock_set_back_does_not_stop_it(ticking: Timer, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wall clock goes back an hour: the next nudge comes all the same."""
    monkeypatch.setattr(apscheduler.schedulers.base, "datetime", Clock)
    monkeypatch.setattr(Clock, "ahead", timedelta())
    true_time = time.time
    monkeypatch.setattr(timer.time, "time", lambda: true_time() + Clock.ahead.total_seconds())
    nudges = Nudges()
    ticking.every(0.1, nudges)
    ticking.start()
    assert nudges.more(0)
    for hours in (-1, 2, 6 * 365 * 24, -3):
        monkeypatch.setattr(Clock, "ahead", timedelta(hours=hours))
        assert nudges.more(nudges.count + 1), hours


def test_jobs_never_pile_up(ticking: Timer) -> None:
    """A job longer than its interval runs once at a time."""
    running, most, nudges = [0], [0], Nudges()

    def slow() -> None:
        running[0] += 1
        most[0] = max(most[0], running[0])
        time.sleep(0.15)
        running[0] -= 1
        nudges()

    ticking.every(0.05, slow)
    ticking.start()
    assert nudges.more(1)
    assert most[0] == 1


def test_a_daily_job_fires(ticking: Timer, monkeypatch: pytest.MonkeyPatch) -> None:
    """The time of day comes while it runs: the library's clock stands just before it until then."""
    monkeypatch.setattr(apscheduler.schedulers.base, "datetime", Held)
    noon = datetime.now().astimezone().replace(hour=12, minute=0, second=0, microsecond=0)
    monkeypatch.setattr(Held, "at", noon - timedelta(seconds=0.2))
    monkeypatch.setattr(Held, "since", None)
    nudges = Nudges()
    ticking.daily(12 * 60, nudges)
    ticking.start()
    assert nudges.count == 0
    monkeypatch.setattr(Held, "since", time.monotonic())
    assert nudges.more(0)


@pytest.mark.usefixtures("berlin")
@pytest.mark.parametrize("zone", [None, "America/New_York"])
def test_what_a_sleep_made_overdue_runs_at_once(
    ticking: Timer, monkeypatch: pytest.MonkeyPatch, zone: str | None
) -> None:
    """The lid was closed over the wrap time; meanwhile the zone, or its summer time, changed.

    To the library a sleep is a wall clock that went ahead of its steady waits.
    """
    monkeypatch.setattr(apscheduler.schedulers.base, "datetime", Clock)
    now = datetime.now().astimezone()
    wrap = (now + timedelta(hours=3)).replace(minute=0, second=0, microsecond=0)
    monkeypatch.setattr(Clock, "ahead", timedelta())
    true_time = time.time
    monkeypatch.setattr(timer.time, "time", lambda: true_time() + Clock.ahead.total_seconds())
    nudges = Nudges()
    ticking.daily(wrap.hour * 60, nudges)
    ticking.start()
    assert nudges.count == 0
    if zone is not None:
        monkeypatch.setenv("TZ", zone)
    monkeypatch.setattr(Clock, "ahead", timedelta(hours=9))
    assert nudges.more(0)


class Done(BaseTrigger):
    """Due at once and never again; says when it is asked for the next time, and takes its time."""

    def __init__(self) -> None:
        self.asked = threading.Event()

    def get_next_fire_time(self, previous: datetime | None, now: datetime) -> datetime | None:
        if previous is None:
            return now
        self.asked.set()
        time.sleep(0.3)
        return None


def test_stopped_while_a_job_is_struck_off() -> None:
    """The scheduler's thread ends without a traceback: pytest fails on one."""
    made, once = Timer(), Done()
    made.start()
    made._scheduler.add_job(lambda: None, once)
    assert once.asked.wait(60)
    made.stop()
