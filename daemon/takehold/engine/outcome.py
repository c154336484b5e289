"""What working threads tell the loop: facts that became true, or what failed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import islice
from typing import Protocol

from takehold.decide.inventory import Described
from takehold.model.errors import Slept, TakeholdError
from takehold.model.facts import ChannelBlocks, Compared, Fact, Proven, WasRead
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


# Facts that end no trouble but that of their own work.
_PLAIN = (WasRead, ChannelBlocks, Proven, Compared)
MOST_TOGETHER = 100


def together(outcomes: Iterable[Outcome]) -> list[Outcome]:
    """The first ones that can be recorded at once: plain ones, no two of them about one work.

    At least one, if there is any. A flush of the catalogue costs more than all its rows.
    """
    found: dict[str, Outcome] = {}
    for outcome in islice(outcomes, MOST_TOGETHER):
        plain = outcome.error is None and not (outcome.load or outcome.recognised)
        plain = plain and all(isinstance(fact, _PLAIN) for fact in outcome.facts)
        if found and (not plain or outcome.key in found):
            break
        found[outcome.key] = outcome
        if not plain:
            break
    return list(found.values())


Tell = Callable[[Outcome], None]


class Stop(Protocol):
    """Whether a step shall end after the buffer in hand."""

    def is_set(self) -> bool:
        """It shall."""
