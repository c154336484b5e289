"""A take that runs over a day's beginning stays whole: later parts go to the first one's day."""

from __future__ import annotations

from collections.abc import Hashable
from datetime import date, timedelta

from takehold.formats.timecode import day_samples
from takehold.model.ledger import Ledger
from takehold.model.slate import same_words
from takehold.model.sound import Description


class Ends:
    """Where the recordings of a load end, and the day of each."""

    def __init__(self, ledger: Ledger, load: int) -> None:
        self._ledger, self._load = ledger, load
        self._days: dict[Hashable, str] = {}
        self._known: set[str] = set()

    def add(self, said: Description, day: str) -> None:
        """One more, of that day."""
        end = _end(said)
        if end is not None:
            self._days[end] = day

    def day_of(self, said: Description, day: str) -> str:
        """Its own day, or the one before if it begins there with the sample after another's last.

        TimeReference[k+1] = TimeReference[k] + frames[k], modulo the timecode day (iXML's and
        bext's samples since midnight), of one recorder, roll, scene and take.
        """
        begin = _key(said, 0)
        if begin is None or day <= date.min.isoformat():
            return day
        before = (date.fromisoformat(day) - timedelta(days=1)).isoformat()
        self._look_at(before)
        return before if self._days.get(begin) == before else day

    def _look_at(self, day: str) -> None:
        if day in self._known:
            return
        self._known.add(day)
        for number in self._ledger.of_day.get(day, ()):
            recording = self._ledger.recordings[number]
            if recording.load == self._load:
                self.add(recording.description, day)


def _end(said: Description) -> Hashable | None:
    return _key(said, said.frames) if said.frames else None


def _key(said: Description, frames: int) -> Hashable | None:
    about, made = said.metadata, said.format
    if about.time_reference is None or made is None:
        return None
    day = day_samples(made.sample_rate, about.timecode_rate)
    if not day:
        return None
    words = (about.originator, about.tape, *map(same_words, (about.scene, about.take)))
    at = (about.time_reference + frames) % day
    return (*words, made.sample_rate, made.channels, at)
