"""A catalogue in memory, for tests of the engine: the same contract, without the disk."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from takehold.model.errors import TakeholdError
from takehold.model.facts import Answered, Asked, ChannelBlocks, Fact
from takehold.model.ledger import Ledger


class MemoryCatalogue:
    """Keeps facts as they came. `refuses`, if set, is raised by every write."""

    def __init__(self) -> None:
        self.refuses: TakeholdError | None = None
        self._facts: list[Fact] = []
        self._folders: dict[str, str] = {}

    def facts(self) -> Iterator[Fact]:
        return iter(tuple(self._facts))

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
