"""A catalogue in memory, for tests of the engine: the same contract, without the disk."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from takehold.model.errors import TakeholdError
from takehold.model.facts import (
    Answered,
    Asked,
    Broken,
    ChannelBlocks,
    Fact,
    Gone,
    Inventoried,
    Proven,
    Salvaged,
    SameBytes,
    WasMeasured,
    WasRead,
)
from takehold.model.ledger import Ledger
from takehold.model.outline import Asleep, Sketch
from takehold.model.recording import Trace

# What is about recordings, and is told day by day.
OF_FILES = (Inventoried, WasRead, WasMeasured, SameBytes, Gone, Proven, Broken, Salvaged)


class MemoryCatalogue:
    """Keeps facts as they came. `refuses`, if set, is raised by every write."""

    def __init__(self) -> None:
        self.refuses: TakeholdError | None = None
        self._facts: list[Fact] = []
        self._folders: dict[str, str] = {}

    def facts(self) -> Iterator[Fact]:
        return iter(tuple(self._facts))

    def but_files(self) -> Iterator[Fact]:
        known = self._ledger()
        told: list[Fact] = [f for f in self._facts if not isinstance(f, OF_FILES)]
        yield from told
        for fact in self._facts:  # whose id is not to be given again
            if isinstance(fact, Inventoried) and fact.recording.id not in known.recordings:
                yield from (fact, Gone(fact.recording.id))
        yield from (b for broken in known.broken.values() for b in broken)
        yield from (s for salvaged in known.salvaged.values() for s in salvaged)

    def sleepers(self) -> Iterator[Asleep]:
        known = self._ledger()
        for day in sorted(day for day, numbers in known.of_day.items() if numbers):
            sketch = Sketch()
            for recording in known.day(day):
                sketch.take(recording, known.copies_of(recording.id))
            mine = known.of_day[day]
            later = tuple((r.load, r.path, r.version) for r in known.day(day) if r.version > 1)
            yield Asleep(day, sketch.outline(), known.differing & mine, later)

    def of_day(self, day: str) -> list[Fact]:
        known = self._ledger()
        mine = known.day(day)
        copies = (copy for one in mine for copy in known.copies_of(one.id))
        return [*map(Inventoried, mine), *map(Proven, copies)]

    def traces(self, load: int) -> list[Trace]:
        return self._ledger().traces(load)

    def record(self, facts: Sequence[Fact]) -> None:
        self._check()
        Ledger().apply([*self._facts, *facts])  # a fact about nothing known is refused
        self._facts.extend(facts)

    def asked(self) -> tuple[Asked, ...]:
        known = self._ledger().asked
        return tuple(known[number] for number in sorted(known))

    def ask(self, kind: str, about: str, at: int) -> int:
        self._check()
        number = 1 + max((f.id for f in self._facts if isinstance(f, Asked)), default=0)
        self._facts.append(Asked(number, kind, about, at))
        return number

    def answer_of(self, number: int) -> Answered | None:
        return self._ledger().answers.get(number)

    def folder_identity(self, destination: str) -> str | None:
        return self._folders.get(destination)

    def know_folder(self, destination: str, identity: str) -> None:
        self._check()
        self._folders[destination] = identity

    def channel_blocks(self, recording: int) -> ChannelBlocks | None:
        mine = (f for f in self._facts if isinstance(f, ChannelBlocks) and f.recording == recording)
        return max(mine, key=self._facts.index, default=None)

    def close(self) -> None:
        pass

    def _ledger(self) -> Ledger:
        ledger = Ledger()
        ledger.apply(self._facts)
        return ledger

    def _check(self) -> None:
        if self.refuses is not None:
            raise self.refuses
