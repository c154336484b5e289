"""Which file of a backup card, that answers nothing, lies over a recording by timecode?

As that of a recorder which rolls on while the other one stops. It is named, and not matched.
"""

from __future__ import annotations

from functools import lru_cache

from takehold.decide.standing import DayStanding, Standing
from takehold.formats.timecode import day_samples
from takehold.model.finding import Relation
from takehold.model.recording import Recording
from takehold.model.settings import Role


def lying_over(standing: Standing, view: DayStanding) -> Standing | None:
    """The first of those that begin no later and end no earlier, at one sample rate.

    Another track of the set, which begins and ends as it does, is none.
    """
    mine = standing.recording
    begin, frames, rate, day = _span(mine)
    if not frames:
        return None
    for other in _unanswered(view):
        its_begin, its_frames, its_rate, _ = _span(other.recording)
        over = its_rate == rate and (begin - its_begin) % day + frames <= its_frames
        if over and not (its_frames == frames and _tell_apart(mine, other.recording)):
            return other
    return None


def _tell_apart(one: Recording, other: Recording) -> bool:
    mine, its = ({t.name for t in r.description.metadata.tracks if t.name} for r in (one, other))
    return bool(mine and its) and mine.isdisjoint(its)


@lru_cache(maxsize=1)  # asked for each recording that has no backup
def _unanswered(view: DayStanding) -> tuple[Standing, ...]:
    """The backup's recordings that answer nothing, and have a timecode and a length."""
    return tuple(
        one
        for one in view.files
        if one.current
        and one.load.role is Role.BACKUP
        and one.answer is not None
        and one.answer.relation is Relation.MISSING
        and _span(one.recording)[1]
    )


def _span(recording: Recording) -> tuple[int, int, int, int]:
    """TimeReference, frames, sample rate, and the samples of its timecode day.

    No frames where any of it is not known; a TimeReference of 0 tells no time.
    """
    about = recording.description
    rate = about.format.sample_rate if about.format else 0
    day = day_samples(rate, about.metadata.timecode_rate)
    begin = about.metadata.time_reference or 0
    return begin, (about.frames or 0) if begin and day else 0, rate, day or 1
