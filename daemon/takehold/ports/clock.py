"""Time, as the engine is told it."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol


class Clock(Protocol):
    """Wall time for records, steady time for spans."""

    def now(self) -> int:
        """Seconds since 1970, UTC."""

    def local(self) -> datetime:
        """The laptop's wall clock, with its offset."""

    def steady_ns(self) -> int:
        """A count of ns that never jumps."""

    def asleep_ns(self) -> int:
        """A count of ns that grows while the machine sleeps, and never else.

        Always 0 where the system does not tell. Two looks may differ by a few ms without a sleep.
        """
