"""adapters/clock, against the system's own `date` (coreutils)."""

from __future__ import annotations

import subprocess

from takehold.adapters.clock import SystemClock
from takehold.ports.clock import Clock


def date(how: str) -> str:
    return subprocess.check_output(["date", how], text=True, timeout=60).strip()


def test_it_tells_what_date_tells() -> None:
    """Seconds since 1970 and the offset are those of `date`."""
    clock: Clock = SystemClock()
    before, now, after = int(date("+%s")), clock.now(), int(date("+%s"))
    assert before <= now <= after
    assert clock.local().strftime("%z") == date("+%z")
    assert before <= clock.local().timestamp() <= after + 60


def test_the_steady_count_never_goes_back() -> None:
    """Ten thousand looks, each at least the one before."""
    clock = SystemClock()
    looks = [clock.steady_ns() for _ in range(10_000)]
    assert looks == sorted(looks)
