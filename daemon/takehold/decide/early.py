"""Transmitters that were switched on before the day began: their first files are of the day before.

An early call, with nothing recorded the evening before: that day has such files and nothing else.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from takehold.decide.check_beside import packs_alone
from takehold.decide.coverage import coverage
from takehold.decide.day import recorder_time
from takehold.decide.standing import DayStanding, day_standing
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Settings
from takehold.model.sound import Kind

# How long before the day begins they may be switched on. Chosen, no source.
EARLY = timedelta(hours=1)


def switched_on_early(view: DayStanding, ledger: Ledger, settings: Settings) -> str:
    """The next day, where all of this one are packs that began just before it; "" if not so.

    Each of these files went on into that day, and each card has takes of it by timecode.
    """
    ends = datetime.fromisoformat(view.day) + timedelta(days=1, minutes=settings.day_starts_at)
    audio = [s for s in view.files if s.current and s.recording.description.kind is not Kind.OTHER]
    files = [standing.recording for standing in audio]
    if not packs_alone(view) or not all(_began_before(ends, file) for file in files):
        return ""
    after = (ends - timedelta(minutes=settings.day_starts_at)).date().isoformat()
    known = coverage(day_standing(ledger, after, settings), ledger, settings)
    went_on = {stretch.recording.id for pack in known.packs for stretch in pack.stretches}
    used = {r.load for its in known.covers.values() for cover in its for r in cover.files}
    all_so = all(file.id in went_on and file.load in used for file in files)
    return after if all_so else ""


def _began_before(ends: datetime, file: Recording) -> bool:
    said = file.description.metadata
    began = recorder_time(said.date, said.time) if said.time else None
    return began is not None and timedelta(0) <= ends - began <= EARLY
