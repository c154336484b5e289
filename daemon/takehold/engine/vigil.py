"""Keeps the machine awake while there is work, and lets it sleep soon after.

It is asked for once for a whole stretch of work, not once a file. Refused, that is said, and asked
again later: the work goes on all the same, and a sleep does it no harm but the time.
"""

from __future__ import annotations

import math

from takehold.ports.clock import Clock
from takehold.ports.keep_awake import KeepAwake

SECOND_NS = 10**9
IDLE_S = 10
AGAIN_S = 300
DO = "Turn sleep off in the system's settings; copies that a sleep breaks off are begun anew."


class Vigil:
    """Belongs to the loop. `note` is the standing sentence while the system refuses."""

    def __init__(self, keeping: KeepAwake, clock: Clock) -> None:
        self.note = ""
        self._keeping = keeping
        self._clock = clock
        self._holding = False
        self._worked_ns = 0
        self._again_ns = 0

    def mind(self, working: bool) -> None:
        """Called each time the loop comes round."""
        now = self._clock.steady_ns()
        if working:
            self._worked_ns = now
            if not self._holding and now >= self._again_ns:
                self._holding = True
                self._keeping.hold()
        if not self._holding:
            return
        answer = self._keeping.answer()
        if answer.held:
            self.note = ""
        elif answer.refused:
            self.note = f"The laptop may fall asleep while it copies: {answer.refused} {DO}"
            self._again_ns = now + AGAIN_S * SECOND_NS
            self._let_go()
            return
        if now - self._worked_ns >= IDLE_S * SECOND_NS:
            self._let_go()

    def wait_s(self) -> float:
        """How long the loop may wait before it has to come round for this."""
        return float(IDLE_S) if self._holding else math.inf

    def end(self) -> None:
        """The loop ends."""
        self._let_go()

    def _let_go(self) -> None:
        if self._holding:
            self._holding = False
            self._keeping.release()
