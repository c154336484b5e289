"""A day, weighed, checked and judged: what every face shows."""

from __future__ import annotations

from takehold.decide.check import Around, check, verdict
from takehold.decide.coverage import coverage
from takehold.decide.judged import Judged
from takehold.decide.standing import day_standing
from takehold.decide.takes import takes_of_day
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings

NOTHING_AROUND = Around()


def judge(ledger: Ledger, day: str, settings: Settings, around: Around = NOTHING_AROUND) -> Judged:
    """The day's standing, findings and verdict."""
    view = day_standing(ledger, day, settings)
    found = check(view, ledger, settings, around)
    word, reasons = verdict(found, ledger.acks)
    takes = takes_of_day(view, settings)
    told = tuple(take for load in view.loads for take in takes[load.id])
    return Judged(view, found, word, reasons, told, coverage(view, ledger, settings))
