"""Nudges at times of day and at intervals.

The loop that does the work waits by a steady clock of its own and needs none of this to go on; a
nudge that comes late, or once too often, costs nothing.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger

from takehold.adapters.clock import read_zone

Job = Callable[[], None]
LOOK_SECONDS = 10.0
STEP_SECONDS = 2.0


class DailyTrigger(BaseTrigger):  # type: ignore[misc]  # the library is not typed
    """Once a local date, at minutes since midnight by the wall clock.

    It ends in UTC, so a change of daylight saving time neither doubles nor drops a day: an hour
    that is left out fires when the clocks have moved, one that comes twice fires the first time.
    """

    def __init__(self, minutes: int) -> None:
        self.minutes = minutes

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime:
        """The library's question: the first time after the previous one, or after now."""
        read_zone()
        if previous_fire_time is not None:
            return self._on(previous_fire_time.astimezone().date() + timedelta(days=1))
        day = now.astimezone().date()
        today = self._on(day)
        return today if today > now else self._on(day + timedelta(days=1))

    def _on(self, day: date) -> datetime:
        hour, minute = divmod(self.minutes, 60)
        on_wall = datetime(day.year, day.month, day.day, hour, minute)  # noqa: DTZ001  # as a wall shows it
        return datetime.fromtimestamp(on_wall.timestamp(), UTC)  # astimezone() errs in a gap


class EveryTrigger(BaseTrigger):  # type: ignore[misc]  # the library is not typed
    """Again so many seconds after now.

    The library lists every time that is overdue before it runs one; its own interval lists all of
    them, which a clock that was set ahead by years makes hundreds of millions.
    """

    def __init__(self, seconds: float) -> None:
        self.span = timedelta(seconds=seconds)

    def get_next_fire_time(
        self,
        previous_fire_time: datetime | None,  # noqa: ARG002  # as the library calls it
        now: datetime,
    ) -> datetime:
        """The library's question; the answer is never overdue, whatever time was missed."""
        return now + self.span


class Timer:
    """Jobs run on threads of the timer and should only nudge; their errors go to the log."""

    def __init__(self, look_seconds: float = LOOK_SECONDS) -> None:
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            job_defaults={"coalesce": True, "misfire_grace_time": None, "max_instances": 1},
        )
        self._look_seconds = look_seconds
        self._jobs: list[tuple[Callable[[], BaseTrigger], Job]] = []
        self._stopped = threading.Event()
        self._watcher = threading.Thread(target=self._watch, name="clock watcher", daemon=True)

    def daily(self, minutes_since_midnight_local: int, job: Job) -> None:
        """Every day at that time of the laptop's wall clock. Call it before `start`."""
        self._jobs.append((lambda: DailyTrigger(minutes_since_midnight_local), job))

    def every(self, seconds: float, job: Job) -> None:
        """Again and again, the first time after that many seconds. Call it before `start`."""
        self._jobs.append((lambda: EveryTrigger(seconds), job))

    def start(self) -> None:
        """Begin. A timer starts once."""
        self._plan()
        self._scheduler.start()
        self._watcher.start()

    def stop(self) -> None:
        """End; returns when running jobs are over.

        The scheduler lets go of its jobs first: one that it is about to strike off as done, while
        it is shut down, is not found any more, and its thread would end in a traceback.
        """
        self._stopped.set()
        self._watcher.join()
        self._scheduler.pause()
        self._scheduler.remove_all_jobs()
        self._scheduler.shutdown(wait=True)

    def _plan(self) -> None:
        """Each trigger anew: it counts from the time of its making."""
        self._scheduler.remove_all_jobs()
        for trigger, job in self._jobs:
            self._scheduler.add_job(job, trigger())

    def _run_all(self) -> None:
        for _, job in self._jobs:
            self._scheduler.add_job(job)

    def _watch(self) -> None:
        """The scheduler waits for wall times: set back, it would wait until they come again.

        Planned anew, what was overdue is forgotten (a night of sleep in which summer time ended):
        each job runs once then, due or not.
        A clock that went ahead, or a machine that slept, leaves jobs overdue: those run now.
        """
        ahead, zone = _clocks()
        while not self._stopped.wait(self._look_seconds):
            now_ahead, now_zone = _clocks()
            if now_ahead < ahead - STEP_SECONDS or now_zone != zone:
                self._plan()
                self._run_all()
            elif now_ahead > ahead + STEP_SECONDS:
                self._scheduler.wakeup()
            ahead, zone = now_ahead, now_zone


def _clocks() -> tuple[float, timedelta | None]:
    """How far the wall clock is ahead of the steady one, in seconds; the offset of the zone."""
    read_zone()
    return time.time() - time.monotonic(), datetime.now().astimezone().utcoffset()
