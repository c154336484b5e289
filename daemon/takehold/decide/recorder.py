"""What one recorder rolled on a day: its takes from all its cards, in the order of timecode."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from takehold.decide.noticed import finding, these
from takehold.decide.standing import DayStanding, Standing
from takehold.decide.takes import position, takes_of_day
from takehold.formats.names import display, shown
from takehold.formats.timecode import day_samples
from takehold.model.finding import Finding, Severity
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings
from takehold.model.take import Take


@dataclass(frozen=True, slots=True)
class Recorder:
    """A source of the config, and what its cards hold; `takes` leave out what was rerecorded."""

    source: str
    takes: tuple[Take, ...]
    index: Mapping[int, Standing]
    starts_at: int

    def recording(self, number: int) -> Recording:
        """One of its recordings."""
        return self.index[number].recording

    def recordings(self, take: Take) -> list[Recording]:
        """Those of a take, part after part."""
        return [self.recording(number) for number in take.files]

    def name(self, take: Take) -> str:
        """A take as a person knows it: the card and the path of its first file."""
        return self.name_of(take.first)

    def name_of(self, number: int) -> str:
        """A recording as a person knows it."""
        standing = self.index[number]
        return f"{shown(standing.load.label)}/{display(standing.recording.path)}"

    def noticed(
        self,
        take: Take,
        code: str,
        severity: Severity,
        says: str,
        do: str = "",
        beside: Take | None = None,
    ) -> Finding:
        """A finding about a take, told of its first file; `beside` is what it was weighed against.

        A decision on it covers just the files that these takes have now.
        """
        place = display(self.recording(take.first).place)
        files = [r for one in (take, beside) if one is not None for r in self.recordings(one)]
        about = f"{self.name(take)}: {says}."
        return finding(code, severity, place, about, do, take.first, covers=these(files))

    def begins(self, take: Take) -> float | None:
        """Seconds of timecode from the day's beginning."""
        at = position(take, self.starts_at)
        return None if at is None or not take.sample_rate else at / take.sample_rate

    def same(self, one: Take, other: Take) -> bool:
        """Whether both hold one recording, as a poly file and the monos split from it."""
        if one.start is not None and one.frames is not None:
            return (one.start, one.frames) == (other.start, other.frames)
        sounds = [self.recording(take.first).sound for take in (one, other)]
        return None not in sounds and sounds[0] == sounds[1]


def length(take: Take) -> float:
    """Seconds from its first sample to its last one, gaps between its parts included."""
    last = take.parts[-1]
    if take.start is None or last.start is None or last.frames is None or not take.sample_rate:
        return 0.0
    between = (last.start - take.start) % day_samples(take.sample_rate, take.rate)
    return (between + last.frames) / take.sample_rate


def recorders(view: DayStanding, settings: Settings) -> tuple[list[Recorder], list[Take]]:
    """Those whose takes are checked, and the takes of the backup cards beside them.

    The primary cards' takes; the backup cards' only where no primary take is known, as with a
    container that cannot be looked into: else each finding would come twice.
    """
    of_role: dict[Role, dict[str, list[Take]]] = {role: defaultdict(list) for role in Role}
    roles = {load.id: load for load in view.loads}
    for number, takes in takes_of_day(view, settings).items():
        load = roles[number]
        if takes:
            of_role[load.role][load.source] += takes
    primary, backup = of_role[Role.PRIMARY], of_role[Role.BACKUP]
    told, beside = (primary, backup) if primary else (backup, {})
    starts_at = settings.day_starts_at
    made = [
        Recorder(source, _in_order(found, starts_at), view.index, starts_at)
        for source, found in sorted(told.items())
    ]
    return made, [take for found in beside.values() for take in found]


def _in_order(takes: Iterable[Take], starts_at: int) -> tuple[Take, ...]:
    def order(take: Take) -> tuple[bool, float, int]:
        at = position(take, starts_at)
        return at is None, (at or 0) / (take.sample_rate or 1), take.first

    return tuple(sorted((take for take in takes if not take.rerecorded), key=order))
