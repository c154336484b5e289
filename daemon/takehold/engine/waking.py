"""After a sleep: nothing that was known of cards and drives is taken to be so still.

Here it is noticed, too, that somebody set the clock: that changes nothing but the dates.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from takehold.decide.sleep import SECOND_NS, clock_moved, sentence, slept
from takehold.engine.lanes import Running
from takehold.engine.observe import Look, Observer
from takehold.engine.outcome import Outcome
from takehold.model.errors import Slept
from takehold.ports.clock import Clock
from takehold.ports.volumes import Volumes

# A device that does not wake must not keep the sentence back.
PATIENCE_NS = 10 * SECOND_NS


class Waking:
    """Notices sleeps. `asleep_ns` is the clock's count at the newest look."""

    def __init__(self, clock: Clock, volumes: Volumes) -> None:
        self._clock = clock
        self._volumes = volumes
        self.asleep_ns = clock.asleep_ns()
        self._slept_ns = 0
        self._woke_ns = 0
        self._interrupted: list[Running] = []
        self._again: set[str] = set()
        self._ahead_s = self._ahead()
        self._moved: list[str] = []

    def look(
        self, observer: Observer, running: Mapping[str, Running], forget: Callable[[], None]
    ) -> Look:
        """One look within one stretch of waking time.

        After a sleep volumes, observer and the caller (`forget`) let go of what they knew first.
        """
        self._notice(observer, running, forget)
        look = observer.look()
        while self._notice(observer, running, forget):
            look = observer.look()
        return look

    def _notice(
        self, observer: Observer, running: Mapping[str, Running], forget: Callable[[], None]
    ) -> bool:
        ahead = self._ahead()
        if said := clock_moved(self._ahead_s, ahead):
            self._moved.append(said)
        self._ahead_s = ahead
        now = self._clock.asleep_ns()
        span = slept(self.asleep_ns, now)
        if not span:
            return False
        self.asleep_ns = now
        self._slept_ns += span
        self._woke_ns = self._clock.steady_ns()
        self._interrupted += running.values()
        self._volumes.forget()
        observer.forget()
        forget()
        return True

    def _ahead(self) -> int:
        gone = self._clock.steady_ns() + self._clock.asleep_ns()
        return self._clock.now() - gone // SECOND_NS

    def heard(self, outcomes: Iterable[Outcome]) -> None:
        """Note which recordings a sleep came into."""
        for outcome in outcomes:
            word, _, about = outcome.key.partition(" ")
            if isinstance(outcome.error, Slept) and word in _FILES:
                self._again.add(about.split(" ", 1)[0])

    def says(self, running: Mapping[str, Running]) -> list[str]:
        """What a person is told, once; of a sleep when the work that it came into has ended."""
        moved, self._moved = self._moved, []
        late = self._clock.steady_ns() - self._woke_ns > PATIENCE_NS
        ending = any(r is old for r in running.values() for old in self._interrupted)
        if not self._slept_ns or (ending and not late):
            return moved
        says = sentence(self._slept_ns, bool(self._interrupted), len(self._again))
        self._slept_ns, self._interrupted, self._again = 0, [], set()
        return [*moved, says]


_FILES = frozenset({"rec", "land"})
