"""What stands in for the machine: clock, mount table, catalogue, archive, decoder and lanes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from memory_catalogue import MemoryCatalogue
from randomdays import properties
from randomdays.baton import Event
from takehold.engine.lanes import Running, total_of
from takehold.engine.outcome import Outcome
from takehold.engine.perform import Performer, Work
from takehold.model.errors import FileMissing, NameTaken
from takehold.model.facts import Asked, Fact
from takehold.model.ledger import Ledger
from takehold.model.step import lane, recordings_of
from takehold.model.volume import Root, Volume
from takehold.ports.volumes import Absent, Silent

if TYPE_CHECKING:
    from randomdays.world import World

MORNING = datetime(2031, 5, 6, 8, 0, tzinfo=UTC)


class Clock:
    """Wall time that can be set wrong, steady time that cannot and that stands still in sleep."""

    def __init__(self) -> None:
        self.true = MORNING
        self.off = timedelta()
        self.steady = 10**12
        self.asleep = 0

    def now(self) -> int:
        return int((self.true + self.off).timestamp())

    def local(self) -> datetime:
        return self.true + self.off

    def steady_ns(self) -> int:
        return self.steady

    def asleep_ns(self) -> int:
        return self.asleep

    def sleep(self, seconds: int) -> None:
        """The laptop sleeps so long."""
        self.true += timedelta(seconds=seconds)
        self.asleep += seconds * 10**9

    def go(self, seconds: float) -> None:
        """Time goes by."""
        self.true += timedelta(seconds=seconds)
        self.steady += int(seconds * 10**9)


class Volumes:
    """`ports.Volumes` over what is put in."""

    def __init__(self, world: World) -> None:
        self._world = world

    def silent(self) -> tuple[Silent, ...]:
        return ()

    def forget(self) -> None:
        """Nothing is kept."""

    def mounted(self) -> tuple[Volume, ...]:
        return tuple(v.root.volume for v in self._world.disk.volumes.values() if not v.gone)

    def root(self, volume: Volume, folder: bytes = b"") -> Root:
        assert not folder
        return Root(volume.mount, volume, volume.identity)

    def folder(self, path: bytes, known_identity: str | None) -> Root | Absent:
        raise AssertionError((path, known_identity))


class Book(MemoryCatalogue):
    """The catalogue, whose facts are judged when they are recorded."""

    def __init__(self, world: World) -> None:
        super().__init__()
        self._world = world
        self.known = Ledger()

    def _ledger(self) -> Ledger:
        return self.known

    def record(self, facts: Sequence[Fact]) -> None:
        self._check()
        self._world.noticed()
        self.known.apply(facts)
        self._facts.extend(facts)
        properties.facts_true(self._world, facts)

    def ask(self, kind: str, about: str, at: int) -> int:
        number = 1 + sum(isinstance(fact, Asked) for fact in self._facts)
        fact = Asked(number, kind, about, at)
        self._facts.append(fact)
        self.known.apply([fact])
        return number

    def asked(self) -> tuple[Asked, ...]:
        return tuple(self.known.asked[n] for n in sorted(self.known.asked))

    def back_to(self, count: int) -> None:
        """What was recorded later never was."""
        del self._facts[count:]
        self.known = Ledger()
        self.known.apply(self._facts)

    def __len__(self) -> int:
        return len(self._facts)


class Archive:
    """`ports.Archive` in memory; each manifest is judged when it is kept."""

    def __init__(self, world: World) -> None:
        self._world = world
        self.held: dict[tuple[str, str], bytes] = {}

    def keep(self, day: str, files: dict[str, bytes]) -> None:
        self._world.noticed()
        for name, content in files.items():
            if self.held.get((day, name), content) != content:
                raise NameTaken(f"{name} is kept with other bytes.")
        for name, content in files.items():
            if (day, name) not in self.held and name.endswith("manifest.json"):
                properties.manifest_true(self._world, content)
            self.held[day, name] = content

    def read(self, day: str, name: str) -> bytes:
        if (day, name) not in self.held:
            raise FileMissing(f"{name} is not kept.")
        return self.held[day, name]

    def names(self, day: str) -> tuple[str, ...]:
        return tuple(sorted(name for d, name in self.held if d == day))

    def days(self) -> tuple[str, ...]:
        return tuple(sorted({day for day, _ in self.held}))


class Quiet:
    """`ports.Decoder` that has no complaint."""

    def complaint(self, reader: object, size: int, frames: int) -> str | None:
        return None


class InlineLanes:
    """`engine.lanes.Lanes` that carries a step out when it is started; it ends when gathered."""

    def __init__(self, world: World, performer: Performer) -> None:
        self._world = world
        self._performer = performer
        self._told: list[Outcome] = []
        self.running: dict[str, Running] = {}
        self.stop: Any = Event(world.baton)

    @property
    def busy(self) -> frozenset[int]:
        return frozenset().union(*(recordings_of(r.step) for r in self.running.values()))

    def free(self, step: Any) -> bool:
        return lane(step) not in self.running

    def still(self, _seconds: int) -> dict[str, Running]:
        return {}

    def start(self, work: Work) -> None:
        self.running[lane(work.step)] = Running(work.step, total_of(work.step), 0)
        self._performer.perform(work, self._told.append, lambda _: None, self.stop)

    def gather(self) -> tuple[list[Outcome], bool]:
        told, self._told = self._told, []
        freed = bool(self.running)
        self.running = {}
        return told, freed
