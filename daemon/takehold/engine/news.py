"""What changed for a person from one turn to the next, each thing told once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from takehold.decide.noticed import many_files
from takehold.engine.cycle import Engine
from takehold.formats.names import display, shown
from takehold.model.facts import Broken

Line = tuple[str, bool]
"""A sentence, and whether it needs a person."""


class News:
    """Remembers what was told. What was known when the program started is no news."""

    def __init__(self, engine: Engine) -> None:
        ledger = engine.ledger
        self._engine = engine
        self._revisions = {day: len(known) for day, known in ledger.revisions.items()}
        self._broken = {rid: len(known) for rid, known in ledger.broken.items()}
        self._here: set[int] = set()
        self._copied: dict[int, int] = {}

    def lines(self, cards: Any) -> list[Line]:
        """The sentences of this turn; `cards` are those of the snapshot, in the order of sights."""
        return [*self._arrivals(cards), *self._altered(), *self._written()]

    def _arrivals(self, cards: Any) -> Iterator[Line]:
        loads = [sight.load for sight in self._engine.now.situation.sights]
        for load, card in zip(loads, cards, strict=True):
            files = card["files"]
            if load not in self._here:
                yield f"{card['label']} ({card['role']}) is in: {many_files(files)}.", False
            if 0 < files <= card["copied"] and self._copied.get(load) != files:
                self._copied[load] = files
                yield (
                    f"{card['label']} ({card['role']}): {many_files(files)} copied and proven.",
                    False,
                )
        self._here = set(loads)

    def _altered(self) -> Iterator[Line]:
        found: dict[tuple[str, str], list[Broken]] = defaultdict(list)
        for rid, known in self._engine.ledger.broken.items():
            for broken in known[self._broken.get(rid, 0) :]:
                found[(broken.destination, broken.why)].append(broken)
            self._broken[rid] = len(known)
        for (destination, why), these in found.items():
            yield f"{shown(destination)}: {_broken(these, why)}", True

    def _written(self) -> Iterator[Line]:
        for day, known in self._engine.ledger.revisions.items():
            for revised in known[self._revisions.get(day, 0) :]:
                yield f"{revised.name} was written and signed: {revised.verdict}.", False
            self._revisions[day] = len(known)


def _broken(these: list[Broken], why: str) -> str:
    """Copies of one drive that are no more what they were; of many the first is named."""
    first = display(these[0].path)
    which = first if len(these) == 1 else f"{len(these)} copies, the first {first}"
    what = "other bytes than were proven" if why == "altered" else "not there any more"
    return f"{which}: {what}; copied again."
