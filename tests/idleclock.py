"""Steady time that passes only while every thread but the test's own waits.

A device of a test hangs or is slow by waiting; whoever works, or waits for a processor, is at work.
So nobody is late because the machine is busy, however short a time counts as too long.
"""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path

from fakeworld import Clock
from takehold.engine.ring import SIZE, Buffer, Ring

LONGEST_NS = 50_000_000  # of one look to the next; more is a machine that stood still
POLL_S = 0.002


def others_wait() -> bool:
    """Whether no other thread of this process runs or could: proc_pid_stat(5), the third field."""
    mine = str(threading.get_native_id())
    for thread in os.listdir("/proc/self/task"):
        if thread == mine:
            continue
        try:
            said = Path(f"/proc/self/task/{thread}/stat").read_text()
        except (FileNotFoundError, ProcessLookupError):  # it ended: somebody was at work
            return False
        if said.rpartition(")")[2].split()[0] != "S":
            return False
    return True


class IdleClock(Clock):
    """Runs `speed` times as fast as time that was waited. One thread lets it pass, all may look."""

    def __init__(self, speed: int = 1) -> None:
        super().__init__(speed)
        self._waited_ns = 10**12
        self._looked_ns = time.monotonic_ns()
        self._waited = False

    def steady_ns(self) -> int:
        return self._waited_ns + self.passed * 10**9

    def let_pass(self) -> None:
        """Count the time since the last call, if all waited then and wait now."""
        now, waited = time.monotonic_ns(), self._waited
        self._waited = others_wait()
        if waited and self._waited:
            self._waited_ns += min(now - self._looked_ns, LONGEST_NS) * self.speed
        self._looked_ns = now


class IdleRing(Ring):
    """A ring in which a wait for a buffer is over when that clock says so."""

    def __init__(self, clock: Clock, count: int, size: int) -> None:
        super().__init__(count, size)
        self._clock = clock

    def take(self, timeout: float, length: int = SIZE) -> Buffer | None:
        if threading.current_thread() is threading.main_thread():  # nobody lets the time pass
            return super().take(timeout, length)
        end_ns = self._clock.steady_ns() + int(timeout * 1e9)
        while (buffer := super().take(POLL_S, length)) is None and self._clock.steady_ns() < end_ns:
            pass
        return buffer
