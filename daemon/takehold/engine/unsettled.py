"""Files whose reads differ, and whether a further read of them can come: told as a trouble (P6)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from takehold.decide.check import Around
from takehold.decide.keys import rec_key
from takehold.decide.lost_card import long_gone
from takehold.decide.reads import DISPUTES, UNSETTLED, Reads
from takehold.decide.unsettled import differing
from takehold.engine.absences import Failed
from takehold.formats.names import display, shown
from takehold.model.errors import TakeholdError
from takehold.model.facts import Fact, TroubleOver
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.situation import Sight


def out_of_reach(ledger: Ledger, sights: Iterable[Sight], now: int, failed: Failed) -> list[Fact]:
    """Of those that left their card, or whose card is away for long; and of those that came back.

    Absence from a listing that broke off, or of a card that was not recognised yet, is no evidence.
    """
    waiting = list(differing(ledger))
    if not waiting:
        return []
    here = {sight.load: sight for sight in sights}
    gone = long_gone(ledger, Around(loads=frozenset(here), now=now))
    facts: list[Fact] = []
    for recording, reads in waiting:
        key, lost = rec_key(recording.id), _is_lost(recording, here, gone)
        trouble = ledger.troubles.get(key)
        unsettled = trouble is not None and trouble.code == UNSETTLED
        if lost and reads is Reads.AGREED:  # one odd read more does not unsettle it
            facts += [TroubleOver(key)] if trouble and trouble.code in DISPUTES else []
        elif reads is not Reads.DISPUTED:
            continue
        elif lost and not unsettled:
            facts.append(failed(key, _lost(ledger, recording)))
        elif lost is False and (unsettled or trouble is None):
            facts.append(failed(key, _back(ledger, recording)))
    return facts


def _is_lost(recording: Recording, here: Mapping[int, Sight], gone: set[int]) -> bool | None:
    """Whether no read can come; None where that is not known now."""
    sight = here.get(recording.load)
    if sight is None:
        return True if recording.load in gone else None
    if any(file.path == recording.path for file in sight.files):
        return False
    return True if sight.complete and not sight.anew else None


def _lost(ledger: Ledger, recording: Recording) -> TakeholdError:
    says = f"{_name(ledger, recording)} gave different bytes at its reads, and left its card."
    do = "Put its card in if it may come back. Else see takehold day and decide."
    return TakeholdError(says, do, code="reads-unsettled")


def _back(ledger: Ledger, recording: Recording) -> TakeholdError:
    says = f"{_name(ledger, recording)} gave different bytes at its reads."
    return TakeholdError(says, "It is read once more. Keep the card.", code="reads-differ")


def _name(ledger: Ledger, recording: Recording) -> str:
    return f"{shown(ledger.loads[recording.load].label)}/{display(recording.path)}"
