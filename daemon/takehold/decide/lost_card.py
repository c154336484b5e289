"""A card that does not come back holds its own days for ever, others until it is decided on.

Files that nobody looked at may be of any day, so they hold each that came since (P7). A card that
was lost, or formatted too early, would so hold all days to come. Its own days stay on hold: that on
which it was first seen, those that it has files of, and those on which what is lacking was first
listed. What is lacking there is lost, and no decision makes it a proven copy (P8). For the others
a person decides, in the manifest.
"""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from typing import Protocol

from takehold.decide.listing import days_of
from takehold.decide.standing import DayStanding
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger

AWAY_S = 12 * 3600  # not on the same evening; chosen, no source
# About a card and all that is on it: decided once, not for each day that it holds.
OF_ANY_DAY = frozenset({"inventory-incomplete", "listing-incomplete"})
SAYS = " It has been away for long."
OWN = "Put it in again. If it will not come back, the day stays on hold: tell post what is lacking."
OTHER = "Put it in again. Decide, if it will not come back: it was first seen on another day."


class Here(Protocol):
    """What a look at the cards showed."""

    @property
    def loads(self) -> frozenset[int] | None:
        """Those that lie there, None where nobody looked."""

    @property
    def now(self) -> int:
        """When, in seconds since 1970."""


def long_gone(ledger: Ledger, here: Here) -> set[int]:
    """Loads that are not there, and were not seen with what is open on them for half a day."""
    if here.loads is None:
        return set()
    away = (listed for load, listed in ledger.listings.items() if load not in here.loads)
    return {listed.load for listed in away if here.now - listed.at >= AWAY_S}


def of_lost_card(
    found: Finding, view: DayStanding, ledger: Ledger, gone: AbstractSet[int]
) -> Finding:
    """The finding as it is once its card is gone for long."""
    if found.load is None or found.load not in gone or found.code not in OF_ANY_DAY:
        return found
    mine = found.load in {load.id for load in view.loads}
    if mine or view.day in days_of(ledger.listings.get(found.load)):
        return found._replace(says=found.says + SAYS, do=OWN)
    return found._replace(severity=Severity.LOOK, says=found.says + SAYS, do=OTHER)
