"""A turn that found nothing to do is not made again while everything is as it was then.

To weigh all that is known takes long once months of days are known, and the loop comes round for
ever. What comes due by the clock alone is weighed when a trouble's next try comes, at the turn of
the day, and every ten minutes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from takehold.engine.observe import Found, Look
from takehold.model.facts import Trouble
from takehold.model.volume import Root
from takehold.ports.clock import Clock

# Seconds. Chosen, no source: a proof that is a month old may well be ten minutes older.
AGAIN_S = 600
SECOND_NS = 10**9
# Free space shifts all the time on a system disk; that alone is no news.
ROUND, DIGITS = 10**8, 3


@dataclass(frozen=True, slots=True)
class Scene:
    """All that a turn weighs: the newest look, the count of facts, and the shooting day."""

    found: tuple[Found, ...]
    targets: tuple[tuple[str, Root, int], ...]
    absent: tuple[str, ...]
    alarms: tuple[tuple[str, str], ...]
    facts: int
    today: str


def scene(look: Look, facts: int, today: str) -> Scene:
    """What is so now; of the free space as much as matters."""
    targets = tuple((t.name, t.root, rounded(t.free_bytes)) for t in look.targets)
    alarms = tuple((key, alarm.says) for key, alarm in look.alarms.items())
    return Scene(tuple(look.found), targets, tuple(look.absent), alarms, facts, today)


def rounded(free: int) -> int:
    """Three digits, on a large drive 100 MB."""
    step: int = min(ROUND, 10 ** max(0, len(str(free)) - DIGITS))
    return free // step * step


class Calm:
    """Remembers the scene in which nothing was to be done, and until when that holds."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._scene: Scene | None = None
        self._since = (0, 0)
        self._until = 0

    def begin(self, scene: Scene, troubles: Iterable[Trouble]) -> None:
        """Nothing was to be done; `troubles` are those of which some will be tried again."""
        now = self._clock.now()
        self._scene, self._since = scene, (now, self._clock.steady_ns())
        tries = [t.retry_at for t in troubles if t.retry_at > now]
        self._until = min(tries, default=now + AGAIN_S)

    def end(self) -> None:
        """What was known of the world may be wrong."""
        self._scene = None

    def lasts(self, scene: Scene) -> bool:
        """Whether everything is as it was. A clock that was set back shows nothing."""
        wall, steady_ns = self._since
        long = self._clock.steady_ns() - steady_ns > AGAIN_S * SECOND_NS
        return wall <= self._clock.now() < self._until and not long and scene == self._scene
