"""The catalogue: facts that were recorded, durable before `record` returns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Protocol

from takehold.model.facts import Asked, ChannelBlocks, Fact
from takehold.model.outline import Asleep
from takehold.model.recording import Trace


class Catalogue(Protocol):
    """One writer keeps it; others may read it and leave requests."""

    def facts(self) -> Iterator[Fact]:
        """Everything known, in an order that folds into a Ledger."""

    def but_files(self) -> Iterator[Fact]:
        """What `facts` tells, but for recordings that are there, and copies."""

    def sleepers(self) -> Iterator[Asleep]:
        """The rest of it, in outline: each day of which there are recordings."""

    def of_day(self, day: str) -> Iterable[Fact]:
        """The recordings of a day, each with its readings, and their copies, as they stand now."""

    def traces(self, load: int) -> list[Trace]:
        """What tells the recordings of a load on its card again, in the order they were met."""

    def record(self, facts: Sequence[Fact]) -> None:
        """Keep all of them or none; on return they survive a power cut."""

    def asked(self) -> tuple[Asked, ...]:
        """Stored commands that are not answered yet, oldest first."""

    def channel_blocks(self, recording: int) -> ChannelBlocks | None:
        """The blocks of a recording's channels, None where they were not kept."""

    def folder_identity(self, destination: str) -> str | None:
        """The identity recorded for a destination or source that is a folder."""

    def know_folder(self, destination: str, identity: str) -> None:
        """Record it, durable on return."""
