"""Which takes do the recordings of transmitters' own cards cover, by timecode?

A recording transmitter (role `bodypack`) records on and on, in files of hours; its timecode says
where in them a take lies. Sample counts at two sample rates are compared as exact fractions, those
at two timecode rates by what their labels show. All of it is modulo the timecode day.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor
from typing import NamedTuple

from takehold.decide.pack_names import pack_names
from takehold.decide.sides import production_folder
from takehold.decide.sounding import sounding
from takehold.decide.standing import DayStanding, day_standing
from takehold.decide.takes import in_order, takes_of_day
from takehold.formats.names import brief, shown
from takehold.formats.timecode import day_samples, label, samples_when, seconds_shown
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.settings import Role, Settings
from takehold.model.slate import same_words
from takehold.model.sound import Kind, Rate
from takehold.model.take import Take

# A frame at the slowest rate: what is shorter is no hole, for recorders round.
FRAME = Fraction(1, 23)

Samples = tuple[int, int]
"""From the first sample to the last one, that not included."""

_Held = tuple[Samples, Recording]


class Extent(StrEnum):
    """How much of a take a pack has."""

    WHOLE = "whole"
    PARTLY = "partly"
    NOT = "not"


class Stretch(NamedTuple):
    """A file of a pack: `frames` samples from `start`, both at its own sample rate."""

    recording: Recording
    start: int
    frames: int
    sample_rate: int
    rate: Rate | None


class Pack(NamedTuple):
    """One track of a transmitter's own card: all its files of a day, across formattings."""

    name: str
    card: str
    load: int
    stretches: tuple[Stretch, ...]


class Cover(NamedTuple):
    """What a pack has of a take. `spans` count from the take's first sample, at its rate.

    `due`: its track is armed in the take, or nobody knows whose the pack is.
    """

    pack: Pack
    extent: Extent
    due: bool
    spans: tuple[Samples, ...] = ()
    files: tuple[Recording, ...] = ()


@dataclass(frozen=True, slots=True)
class Coverage:
    """The recorder's takes of a day, and what each pack has of them, by their first recording."""

    takes: tuple[Take, ...] = ()
    packs: tuple[Pack, ...] = ()
    covers: Mapping[int, tuple[Cover, ...]] = field(default_factory=dict)

    def of(self, take: Take) -> tuple[Cover, ...]:
        """What is said of a take: of each pack that has some of it, or should have."""
        return self.covers.get(take.first, ())

    def covering(self, take: Take, track: str) -> tuple[Cover, ...]:
        """The packs that have that track of a take, or some of it; the most first."""
        name = same_words(track)
        found = [
            cover
            for cover in self.of(take)
            if cover.extent is not Extent.NOT and same_words(cover.pack.name) == name
        ]
        return tuple(sorted(found, key=lambda c: -sum(end - first for first, end in c.spans)))


def coverage(view: DayStanding, ledger: Ledger, settings: Settings) -> Coverage:
    """What the transmitters' own cards have of the recorder's takes of a day."""
    return _covered(view, ledger, ledger.serial, settings)


@lru_cache(maxsize=2)  # the check asks, and who tells of it
def _covered(view: DayStanding, ledger: Ledger, _serial: int, settings: Settings) -> Coverage:
    takes = _takes(view, settings)
    tracks = {same_words(t.name) for take in takes for t in take.tracks} - {""}
    packs = _packs(view, ledger, settings, tracks) if takes else ()
    if not packs:
        return Coverage(takes)
    clock = _Clock(packs, tracks)
    covers = {
        take.first: tuple(c for c in clock.covers(take) if c.due or c.extent is not Extent.NOT)
        for take in takes
    }
    return Coverage(takes, packs, covers)


class Misdated(NamedTuple):
    """Files of a pack that name another day, and have so many takes of this one by timecode."""

    load: Load
    day: str
    files: tuple[Recording, ...]
    takes: int


def misdated(view: DayStanding, ledger: Ledger, settings: Settings) -> Iterator[Misdated]:
    """Packs that came in that day with nothing of its date: takes of it, and none of their own's.

    What began before the day did, and goes on in it, names the day before and is right.
    """
    came = [load for load in view.loads if load.day == view.day and load.role is Role.BODYPACK]
    for load in came:
        paths = ledger.of_load.get(load.id, {}).values()
        of_day: dict[str, list[Recording]] = defaultdict(list)
        for file in (ledger.recordings[numbers[-1]] for numbers in paths):
            of_day[file.day].append(file)
        for day, files in of_day.items() if view.day not in of_day else ():
            stretches = [s for s in map(_stretch, files) if s is not None]
            pack = Pack("", load.label, load.id, tuple(stretches))
            spilt = any(_spilt(stretch, settings.day_starts_at) for stretch in stretches)
            takes = 0 if spilt else _has(pack, view, settings)
            if takes and not _has(pack, day_standing(ledger, day, settings), settings):
                yield Misdated(load, day, tuple(s.recording for s in stretches), takes)


def _has(pack: Pack, view: DayStanding, settings: Settings) -> int:
    """How many takes of a day a pack has, or some of them."""
    clock = _Clock((pack,), frozenset())
    covers = (cover for take in _takes(view, settings) for cover in clock.covers(take))
    return sum(cover.extent is not Extent.NOT for cover in covers)


def told(cover: Cover, take: Take) -> str:
    """A cover in words, without a dot at its end."""
    name = f"{shown(cover.pack.card)} ({brief(cover.pack.name)})"
    if cover.extent is Extent.NOT:
        return f"{name} has none of it"
    if cover.extent is Extent.WHOLE:
        return f"{name} has all of it, by timecode"
    spans = " and ".join(f"from {a} to {b}" for a, b in times(cover, take))
    return f"{name} has it {spans}, by timecode"


def times(cover: Cover, take: Take) -> tuple[tuple[str, str], ...]:
    """From which timecode to which; in seconds of the take where no rate is known."""
    return tuple((_time(take, first), _time(take, end)) for first, end in cover.spans)


def _time(take: Take, sample: int) -> str:
    if take.rate is None or take.start is None:
        return f"{sample / take.sample_rate:.1f} s"
    return label(take.start + sample, take.sample_rate, take.rate)


def _takes(view: DayStanding, settings: Settings) -> tuple[Take, ...]:
    """Those of the primary cards; those of the backup cards only where no primary one is known."""
    of_load = takes_of_day(view, settings)
    for role in (Role.PRIMARY, Role.BACKUP):
        loads = [load.id for load in view.loads if load.role is role]
        found = [take for n in loads for take in of_load[n] if not take.rerecorded]
        if found:
            return in_order(found, settings.day_starts_at)
    return ()


def _packs(
    view: DayStanding, ledger: Ledger, settings: Settings, tracks: AbstractSet[str]
) -> tuple[Pack, ...]:
    """One for each name on each card; a card that was formatted in between stays one."""
    found: dict[tuple[str, str, str], list[tuple[str, Load, Stretch]]] = defaultdict(list)
    for load, stretch in _stretches(view, ledger, settings):
        for name in dict.fromkeys(pack_names(stretch.recording, load, tracks)):
            found[(load.source, load.label, same_words(name))].append((name, load, stretch))
    return tuple(
        Pack(
            met[0][0],
            met[0][1].label,
            met[0][1].id,
            tuple(its for name, _, stretch in met for its in _sounding(stretch, name)),
        )
        for _, met in sorted(found.items())
    )


def _sounding(stretch: Stretch, name: str) -> Iterator[Stretch]:
    """What of a stretch is no exact silence of that track."""
    # One that spilt over from the day before is only the file's end.
    begins = (stretch.recording.description.frames or 0) - stretch.frames
    for low, high in sounding(stretch.recording, name):
        first = max(low, begins)
        if first < high:
            yield stretch._replace(start=stretch.start + first - begins, frames=high - first)


def _stretches(
    view: DayStanding, ledger: Ledger, settings: Settings
) -> Iterator[tuple[Load, Stretch]]:
    """The newest versions of the packs' files, and what those of the day before have of this."""
    for standing in view.files:
        if standing.current and standing.load.role is Role.BODYPACK:
            stretch = _stretch(standing.recording)
            if stretch is not None:
                yield standing.load, stretch
    before = date.fromordinal(max(date.fromisoformat(view.day).toordinal() - 1, 1)).isoformat()
    ours = production_folder(settings)
    for recording in ledger.day(before):
        load = ledger.loads[recording.load]
        newest = ledger.versions(load.id, recording.path)[-1].id == recording.id
        if load.role is Role.BODYPACK and newest and recording.place.startswith(ours):
            stretch = _stretch(recording)
            spilt = stretch and _spilt(stretch, settings.day_starts_at)
            if spilt:
                yield load, spilt


def _stretch(recording: Recording) -> Stretch | None:
    """None where a file tells no timecode or holds no sound that can be counted."""
    said, made = recording.description.metadata, recording.description.format
    frames = recording.description.frames
    if recording.description.kind is not Kind.WAVE or not frames or said.time_reference is None:
        return None
    if made is None or not made.sample_rate:
        return None
    return Stretch(recording, said.time_reference, frames, made.sample_rate, said.timecode_rate)


def _spilt(stretch: Stretch, starts_at: int) -> Stretch | None:
    """What lies behind the end of its day, which begins `starts_at` minutes after midnight."""
    day = day_samples(stretch.sample_rate, stretch.rate)
    begins = starts_at * 60 * stretch.sample_rate
    frames = (stretch.start - begins) % day + stretch.frames - day
    if frames <= 0:
        return None
    return Stretch(stretch.recording, begins, frames, stretch.sample_rate, stretch.rate)


class _Window(NamedTuple):
    """Where a take lies: its first sample and its parts from there on, in a day of `day` samples.

    `slack` are the samples that count as nothing.
    """

    start: int
    day: int
    slack: int
    parts: tuple[Samples, ...]


class _Clock:
    """The packs' files on the clock of each kind of take: worked out once for each kind."""

    def __init__(self, packs: Iterable[Pack], tracks: AbstractSet[str]) -> None:
        self._packs = tuple(packs)
        self._tracks = tracks
        self._known: dict[tuple[int, Rate | None], list[tuple[Pack, list[_Held]]]] = {}

    def covers(self, take: Take) -> Iterator[Cover]:
        """What each pack has of a take; nothing where the take tells no timecode."""
        window = _window(take)
        if window is None:
            return
        key = (take.sample_rate, take.rate)
        if key not in self._known:
            self._known[key] = [
                (pack, [(_on_clock(s, take), s.recording) for s in pack.stretches])
                for pack in self._packs
            ]
        armed = {same_words(track.name) for track in take.tracks} - {""}
        for pack, held in self._known[key]:
            name = same_words(pack.name)
            due = not armed or name in armed or name not in self._tracks
            spans, files = _there(window, held)
            yield Cover(pack, _extent(spans, window), due, spans, files)


def _window(take: Take) -> _Window | None:
    """None where a take does not tell when it was, or how long."""
    day = day_samples(take.sample_rate, take.rate)
    if take.start is None or not take.frames or not day:
        return None
    parts = []
    for part in take.parts:
        if part.start is None or part.frames is None:
            return None
        first = (part.start - take.start) % day
        parts.append((first, first + part.frames))
    return _Window(take.start, day, floor(FRAME * take.sample_rate), tuple(parts))


def _there(
    window: _Window, held: Iterable[_Held]
) -> tuple[tuple[Samples, ...], tuple[Recording, ...]]:
    """What the files have of a take, and which of them."""
    there: list[Samples] = []
    files: dict[int, Recording] = {}
    for span, recording in held:
        shared = [*_shared(span, window)]
        if shared:
            there += shared
            files[recording.id] = recording
    return _joined(there, window.slack), tuple(files.values())


def _on_clock(stretch: Stretch, take: Take) -> Samples:
    """A file's whole samples, counted as the take's are; the first one may lie a day off."""
    ends = (stretch.start, stretch.start + stretch.frames)
    ours, theirs = take.rate, stretch.rate
    if ours is None or theirs is None or (ours.fps, ours.drop) == (theirs.fps, theirs.drop):
        first, end = (Fraction(at * take.sample_rate, stretch.sample_rate) for at in ends)
    else:
        first, end = (
            samples_when(seconds_shown(at, stretch.sample_rate, theirs), take.sample_rate, ours)
            for at in ends
        )
        end += day_samples(take.sample_rate, ours) if end < first else 0
    return ceil(first), floor(end)


def _shared(held: Samples, window: _Window) -> Iterator[Samples]:
    """What a file has of a take, whichever day its count began in."""
    length = held[1] - held[0]
    begin = (held[0] - window.start) % window.day
    for first, end in window.parts:
        for at in (begin, begin - window.day):
            low, high = max(first, at), min(end, at + length)
            if low < high:
                yield low, high


def _joined(spans: Iterable[Samples], gap: int) -> tuple[Samples, ...]:
    """Spans in order; those that touch, overlap or are `gap` apart at most are one."""
    joined: list[Samples] = []
    for first, end in sorted(spans):
        if joined and first - joined[-1][1] <= gap:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((first, end))
    return tuple(joined)


def _extent(spans: tuple[Samples, ...], window: _Window) -> Extent:
    if not spans:
        return Extent.NOT
    slack = window.slack
    whole = all(
        any(low <= first + slack and end - slack <= high for low, high in spans)
        for first, end in window.parts
    )
    return Extent.WHOLE if whole else Extent.PARTLY
