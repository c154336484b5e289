"""A take that lies twice on a primary card, as one that somebody copied, and once on a backup.

The backup answers one of the two, and the other seems to lack.
"""

from __future__ import annotations

from collections.abc import Hashable
from functools import lru_cache

from takehold.decide.by_digest import WHOLE, same_audio
from takehold.decide.standing import DayStanding, Standing
from takehold.model.settings import Role


def its_twin(standing: Standing, view: DayStanding) -> Standing | None:
    """The file of its card with the same audio, that a backup holds whole; None of silence."""
    return _answered(view).get(_held(standing))


@lru_cache(maxsize=2)  # a day that is kept here cannot leave memory
def _answered(view: DayStanding) -> dict[Hashable, Standing]:
    """The primary's files that a backup holds whole, by their card and audio."""
    there = (s for s in view.files if s.current and s.load.role is Role.PRIMARY)
    whole = (s for s in there if s.answer is not None and s.answer.relation in WHOLE)
    return {_held(s): s for s in whole if same_audio(s.recording) is not None}


def _held(standing: Standing) -> Hashable:
    return standing.load.id, same_audio(standing.recording)
