"""One stretch of waking time. What a step does across a sleep counts for nothing.

While the machine slept, a card may have been changed for another under the same mount, a drive's
electronics may have lost what it had taken, and nothing of that shows in an open file. So a step
ends at its first look after a sleep, no part of it gets a name any more, and what it tells is void.
"""

from __future__ import annotations

from takehold.decide.sleep import slept
from takehold.engine.outcome import Outcome, Stop, Tell
from takehold.model.errors import Slept
from takehold.ports.clock import Clock


class Awake:
    """Since a count of `Clock.asleep_ns`."""

    def __init__(self, clock: Clock, since_ns: int) -> None:
        self._clock = clock
        self._since_ns = since_ns

    def over(self) -> bool:
        """Whether the machine slept since."""
        return slept(self._since_ns, self._clock.asleep_ns()) > 0

    def check(self) -> None:
        """Raise if it slept: to be asked last before a name is given."""
        if self.over():
            raise fell_asleep()


class Stretch(Awake):
    """A step's time to work: over once the step shall stop, or the machine slept."""

    def __init__(self, clock: Clock, since_ns: int, stop: Stop) -> None:
        super().__init__(clock, since_ns)
        self._stop = stop

    def is_set(self) -> bool:
        """Whether the step shall end."""
        return self._stop.is_set() or self.over()

    def telling(self, tell: Tell) -> Tell:
        """What is told after a sleep becomes: it is to be done again."""

        def told(outcome: Outcome) -> None:
            tell(Outcome(key=outcome.key, error=fell_asleep()) if self.over() else outcome)

        return told


def fell_asleep() -> Slept:
    """The end of work that a sleep came into."""
    says = "The laptop slept meanwhile; nothing of it is kept."
    return Slept(says, "It is begun again by itself.")
