"""Recording what became true: in the catalogue, then in memory, then on the days it touches.

A fact counts once (P8): two reads of a card are told apart from one by their number.
"""

from __future__ import annotations

from collections.abc import Iterable

from takehold.engine.closing import Closer
from takehold.engine.endings import ended
from takehold.model.facts import Fact, TroubleOver
from takehold.model.ledger import Ledger
from takehold.ports.catalogue import Catalogue


class Book:
    """The catalogue with the ledger that says the same."""

    def __init__(self, catalogue: Catalogue, ledger: Ledger, closer: Closer) -> None:
        self._catalogue, self._ledger, self._closer = catalogue, ledger, closer
        self._unnoted: list[Fact] = []

    def keep(self, facts: Iterable[Fact]) -> bool:
        """Whether there was anything; once this returns it is recorded. If it raises, nothing is.

        Raises what the catalogue raises.
        """
        known = self._ledger.troubles
        kept = [f for f in facts if not isinstance(f, TroubleOver) or f.key in known]
        kept += [TroubleOver(key) for key in sorted(ended(self._ledger, kept))]
        if kept:
            self._ledger.rouse(kept)
            self._catalogue.record(kept)
            self._ledger.apply(kept)
            self._unnoted += kept
        return bool(kept)

    def note(self) -> None:
        """Which days that touches. It may wake others: what failed is asked again the next time."""
        if self._unnoted:
            self._closer.touched(self._ledger, self._unnoted)
            self._unnoted.clear()
