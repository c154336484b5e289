"""The system's clocks."""

from __future__ import annotations

import sys
import time
from datetime import datetime

# Looks at two clocks that lie no further apart are one look; more than a few tries is never needed.
CLOSE_NS, TRIES = 1_000_000, 10


class SystemClock:
    """ports/clock.Clock on this machine."""

    def now(self) -> int:
        """Seconds since 1970, UTC."""
        return int(time.time())

    def local(self) -> datetime:
        """The laptop's wall clock, with its offset, also after the laptop changed its time zone."""
        read_zone()
        return datetime.now().astimezone()

    def steady_ns(self) -> int:
        """A count of ns that never jumps; it stands still while the machine sleeps."""
        return _awake_ns()

    def asleep_ns(self) -> int:
        """How long the machine has slept since it was started, by two clocks of the system.

        A look is taken again if this program was held up in its middle.
        """
        for _ in range(TRIES):
            before, whole, after = _awake_ns(), _whole_ns(), _awake_ns()
            if after - before < CLOSE_NS:
                break
        return whole - after


# One count that goes on while the machine sleeps, and one that does not.
if sys.platform == "linux":  # clock_gettime(2)

    def _whole_ns() -> int:
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME)

    def _awake_ns() -> int:
        return time.clock_gettime_ns(time.CLOCK_MONOTONIC)

elif sys.platform == "darwin":  # clock_gettime(3): both are raw, so that neither is ever adjusted

    def _whole_ns() -> int:
        return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW)

    def _awake_ns() -> int:
        return time.clock_gettime_ns(time.CLOCK_UPTIME_RAW)

elif sys.platform == "win32":  # GetTickCount64, QueryUnbiasedInterruptTime (units of 100 ns)
    import ctypes

    def _whole_ns() -> int:
        ask = ctypes.windll.kernel32.GetTickCount64
        ask.restype = ctypes.c_ulonglong
        return int(ask()) * 1_000_000

    def _awake_ns() -> int:
        units = ctypes.c_ulonglong()
        ctypes.windll.kernel32.QueryUnbiasedInterruptTime(ctypes.byref(units))
        return units.value * 100

else:  # one count for both: no sleep is ever seen

    def _whole_ns() -> int:
        return time.monotonic_ns()

    def _awake_ns() -> int:
        return time.monotonic_ns()


def read_zone() -> None:
    """Ask the system for its time zone again: the C library reads it once and keeps it."""
    if hasattr(time, "tzset"):
        time.tzset()
