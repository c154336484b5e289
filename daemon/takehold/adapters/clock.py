"""The system's clocks."""

from __future__ import annotations

import time
from datetime import datetime


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
        return time.monotonic_ns()


def read_zone() -> None:
    """Ask the system for its time zone again: the C library reads it once and keeps it."""
    if hasattr(time, "tzset"):
        time.tzset()
