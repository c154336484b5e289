"""What a day's own files leave to hear, weighed once for all that becomes known of them.

Each plan asks it of many days, and a day that was weighed may sleep.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from takehold.decide.looked_into import unmeasured
from takehold.decide.reads import Reads, reads_of
from takehold.model.ledger import Ledger
from takehold.model.recording import Digests, Recording
from takehold.model.settings import Role


@dataclass(frozen=True, slots=True)
class Alone:
    """Whether the cards of a day do not hold the same bytes; recordings that may be measured."""

    differs: bool
    unmeasured: tuple[Recording, ...]


def alone(ledger: Ledger, day: str) -> Alone:
    """Weigh a day by itself."""
    return _weighed(ledger, (ledger.news[day], ledger.news[""]), day)


@lru_cache(maxsize=64)
def _weighed(ledger: Ledger, _news: tuple[int, int], day: str) -> Alone:
    files = ledger.day(day)
    held: dict[Role, set[Digests]] = {role: set() for role in Role}
    for recording in files:
        if recording.digests is not None:
            held[ledger.loads[recording.load].role].add(recording.digests)
    differs = held[Role.PRIMARY] != held[Role.BACKUP]
    waits = (r for r in files if unmeasured(r))
    return Alone(differs, tuple(r for r in waits if reads_of(r) is not Reads.FIRST_WRONG))
