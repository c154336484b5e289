"""A turn that found nothing to do is not made again while everything is as it was then.

A file that somebody is writing is another one at each look, and nothing is done with it until it
stands still: which files those are is weighed, not how long they have become.

To weigh all that is known takes long once months of days are known, and the loop comes round for
ever. What comes due by the clock alone is weighed when a trouble's next try comes, at the turn of
the day, and every ten minutes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

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
    """All that a turn weighs: the newest look, the count of facts, and the shooting day.

    `found` is without the files that are being written; `moving` names those, for each of `found`.
    """

    found: tuple[Found, ...]
    moving: tuple[frozenset[bytes], ...]
    targets: tuple[tuple[str, Root, int], ...]
    absent: tuple[str, ...]
    alarms: tuple[tuple[str, str], ...]
    facts: int
    today: str


def scene(look: Look, moving: Callable[[Found], frozenset[bytes]], facts: int, today: str) -> Scene:
    """What is so now; of the free space as much as matters, of what is `moving` the names."""
    names = tuple(moving(found) for found in look.found)
    found = tuple(_still(found, its) for found, its in zip(look.found, names, strict=True))
    targets = tuple((t.name, t.root, rounded(t.free_bytes)) for t in look.targets)
    alarms = tuple((key, alarm.says) for key, alarm in look.alarms.items())
    return Scene(found, names, targets, tuple(look.absent), alarms, facts, today)


def _still(found: Found, moving: frozenset[bytes]) -> Found:
    """Without the files that are being written."""
    if not moving:
        return found
    files = tuple(file for file in found.arrival.files if file[0] not in moving)
    return replace(found, arrival=found.arrival._replace(files=files))


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
