"""Transmitters that were switched on before the day began: their first files are of the day before.

An early call, with nothing recorded the evening before: that day has such files and nothing else.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from takehold.decide.check_beside import packs_alone
from takehold.decide.coverage import FRAME, coverage
from takehold.decide.day import recorder_time
from takehold.decide.standing import DayStanding, day_standing
from takehold.formats.timecode import day_samples
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Settings
from takehold.model.sound import Kind

# How long before the day begins they may be switched on. Chosen, no source.
EARLY = timedelta(hours=1)


def switched_on_early(view: DayStanding, ledger: Ledger, settings: Settings) -> str:
    """The next day, where all of this one are packs that began just before it; "" if not so.

    Each of these files has a take of it by timecode, or went on in the card's next one without a
    gap, and the card has one.
    """
    ends = datetime.fromisoformat(view.day) + timedelta(days=1, minutes=settings.day_starts_at)
    audio = [s for s in view.files if s.current and s.recording.description.kind is not Kind.OTHER]
    files = [standing.recording for standing in audio]
    if not packs_alone(view) or not all(_began_before(ends, file) for file in files):
        return ""
    after = (ends - timedelta(minutes=settings.day_starts_at)).date().isoformat()
    known = coverage(day_standing(ledger, after, settings), ledger, settings)
    later = [stretch.recording for pack in known.packs for stretch in pack.stretches]
    used = {r.id: r.load for its in known.covers.values() for cover in its for r in cover.files}
    went_on = (
        file.load in used.values() and any(_goes_on(file, one) for one in (*files, *later))
        for file in files
        if file.id not in used
    )
    return after if all(went_on) else ""


def _goes_on(file: Recording, other: Recording) -> bool:
    """Whether another file of the same card begins where one ends."""
    said, its, made = file.description, other.description.metadata, file.description.format
    start, begins = said.metadata.time_reference, its.time_reference
    same_card = file.load == other.load and file.id != other.id
    if not same_card or made is None or start is None or begins is None:
        return False
    day = day_samples(made.sample_rate, said.metadata.timecode_rate)
    between = (begins - start - (said.frames or 0)) % (day or 1)
    return min(between, day - between) <= FRAME * made.sample_rate


def _began_before(ends: datetime, file: Recording) -> bool:
    said = file.description.metadata
    began = recorder_time(said.date, said.time) if said.time else None
    return began is not None and timedelta(0) <= ends - began <= EARLY
