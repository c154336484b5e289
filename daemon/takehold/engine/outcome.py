"""What working threads tell the loop: facts that became true, or what failed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from takehold.decide.inventory import Described
from takehold.model.errors import Slept, TakeholdError
from takehold.model.facts import Fact
from takehold.model.recording import Load
from takehold.model.volume import Root

# Ends of work that are no failure: nothing was wrong, or others go on with it.
QUIET = frozenset({"same-bytes", "nobody", "stopped", "late", Slept.code})


@dataclass(frozen=True, slots=True)
class Recognised:
    """Whether what lies at a card's root is the `load` that it was taken for."""

    root: Root
    load: int
    same: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one piece of work came to; `key` names the work (decide.plan).

    Without an error, its trouble is over; with a quiet one, that stays as it was.
    `described` are files of `load` that wait for their day and place.
    """

    facts: tuple[Fact, ...] = ()
    key: str = ""
    error: TakeholdError | None = None
    load: Load | None = None
    described: tuple[Described, ...] = ()
    recognised: Recognised | None = None


Tell = Callable[[Outcome], None]


class Stop(Protocol):
    """Whether a step shall end after the buffer in hand."""

    def is_set(self) -> bool:
        """It shall."""
