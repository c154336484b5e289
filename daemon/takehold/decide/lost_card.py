"""A card that does not come back: what only it could mend becomes a person's decision.

A hold has no other end than its cause. A card that was lost, or formatted too early, would hold its
day, and every later one, for ever. The decision goes into the manifest, with what is lacking.
"""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from dataclasses import replace
from typing import Protocol

from takehold.decide.keys import rec_key
from takehold.decide.noticed import finding, these
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import shown
from takehold.model.errors import Unreadable
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger

AWAY_S = 12 * 3600  # not on the same evening; chosen, no source
# About a card and all that is on it: decided once, not for each day that it holds.
OF_ANY_DAY = frozenset({"inventory-incomplete"})
# Of a file that has no copy at all.
OF_A_FILE = frozenset({"copies-short", Unreadable.code})
# Of a card, and mended without it.
ELSEWHERE = frozenset({"backup-on-same-disk"})
SAYS = " Its card has been away for long."
DO = "Put it in again. Decide, if it will not come back: then these files are lost."
VANISHED = "file-vanished"


class Here(Protocol):
    """What a look at the cards showed."""

    @property
    def loads(self) -> frozenset[int] | None:
        """Those that lie there, None where nobody looked."""

    @property
    def now(self) -> int:
        """When, in seconds since 1970."""


def long_gone(ledger: Ledger, here: Here) -> set[int]:
    """Loads that are not there, and of which nothing new was seen for half a day."""
    if here.loads is None:
        return set()
    away = (listed for load, listed in ledger.listings.items() if load not in here.loads)
    return {listed.load for listed in away if here.now - listed.at >= AWAY_S}


def lost_files(view: DayStanding, ledger: Ledger, gone: AbstractSet[int]) -> Iterator[Finding]:
    """One decision for all files of a card that no copy holds; each is named beside it."""
    for load in view.loads:
        mine = [s for s in view.files if s.load.id == load.id] if load.id in gone else []
        lost = [s.recording for s in mine if _is_lost(s, ledger)]
        if lost:
            name = shown(load.label)
            says = f"{name}: {len(lost)} of its files have no copy at all.{SAYS}"
            about = these(lost)
            yield finding("card-lost", Severity.LOOK, name, says, DO, load=load.id, covers=about)


def _is_lost(standing: Standing, ledger: Ledger) -> bool:
    """One that left its card before that is decided on by itself."""
    trouble = ledger.troubles.get(rec_key(standing.recording.id))
    vanished = trouble is not None and trouble.code == VANISHED
    return standing.owes_copies and not standing.copies and not vanished


def of_lost_card(found: Finding, ledger: Ledger, gone: AbstractSet[int]) -> Finding:
    """The finding as it is once its card is gone for long; that of a file is `card-lost` then."""
    if found.severity is not Severity.HOLD:
        return found
    if found.recording is None:
        if found.load in gone and found.code not in ELSEWHERE:
            return replace(found, severity=Severity.LOOK, says=found.says + SAYS, do=DO)
        return found
    lost = ledger.recordings[found.recording].load in gone
    if lost and found.code in OF_A_FILE and not ledger.copies_of(found.recording):
        return replace(found, severity=Severity.NOTE, says=found.says + SAYS, do="")
    return found
