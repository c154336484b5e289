"""What changes from take to take of one recorder: tracks, format, timecode against its clock."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Set
from dataclasses import replace
from itertools import pairwise

from takehold.decide.beside_better import is_lossy, without_copies
from takehold.decide.day import recorder_time
from takehold.decide.noticed import finding
from takehold.decide.one_recording import MOMENT
from takehold.decide.recorder import UNCOUNTED, Recorder
from takehold.decide.take_names import same_number, says_mix
from takehold.decide.zeros import name_of, said_name
from takehold.formats.names import brief
from takehold.formats.timecode import day_samples, rate_name
from takehold.model.finding import Finding, Severity
from takehold.model.settings import Settings
from takehold.model.slate import same_words
from takehold.model.sound import Kind
from takehold.model.take import Take

LOOK, NOTE = Severity.LOOK, Severity.NOTE
SET_UP = "Check the recorder's set-up and tell post."
# Seconds: takes whose timecode is so far from the recorder's clock as most others' belong
# together, whatever pre-record and drift do; others are off when they are this far from those.
TOGETHER, OFF = 60, 300
FEWEST = 3
NAMED = 8
_CLOCK_DAY = 86_400


def change_findings(recorder: Recorder, settings: Settings) -> Iterator[Finding]:
    """Everything to say of a recorder's takes against each other."""
    recorder = replace(recorder, takes=_without_mixes(recorder))
    counted = [take for take in recorder.takes if UNCOUNTED.isdisjoint(take.types)]
    renamed = [
        found for before, take in pairwise(counted) for found in _renamed(recorder, before, take)
    ]
    yield from renamed
    yield from _unnamed(recorder, {found.recording for found in renamed})
    yield from _expected(recorder, settings)
    known: dict[bool, Take] = {}
    for take in recorder.takes:
        if take.channels and take.sample_rate:  # else its format is not known
            lossy = is_lossy(recorder.recording(take.first))
            if lossy in known:
                yield from _format(recorder, known[lossy], take, settings)
            known[lossy] = take
    yield from _off_clock(recorder)


def _names(take: Take) -> dict[int, str]:
    """The names of a take's tracks by their channel."""
    return {track.channel: track.name for track in take.tracks if track.name.strip()}


def _without_mixes(recorder: Recorder) -> tuple[Take, ...]:
    """Its takes but for mixes: rolled beside one with more channels, with track names, or no mix.

    They have its scene, take and timecode, as far as they tell the last; that may be a moment off.
    So is an MP3 of a take left out, by its name.
    """
    named: dict[tuple[str, str, int], list[Take]] = defaultdict(list)
    told: set[tuple[str, str]] = set()

    def says(take: Take) -> bool:
        return all(says_mix(file.path) for file in recorder.recordings(take))

    takes = without_copies(recorder.takes, recorder.recordings)
    for take in takes:
        if _names(take):
            told |= {_number(take)} - {("", "")}
            for moment in (-1, 0, 1):
                named[(*_number(take), _begins(take) + moment)].append(take)

    def is_mix(take: Take) -> bool:
        if take.start is None:
            return not _names(take) and _number(take) in told
        key = (*_number(take), _begins(take))
        if not _names(take):
            return key in named
        if _number(take) not in told:  # without one all of a day may begin at 0
            return False
        beside = [one for one in named[key] if one is not take]
        if any(_width(take) < _width(one) for one in beside):
            return True
        return bool(beside) and says(take) and not all(map(says, beside))

    return tuple(take for take in takes if not is_mix(take))


def _begins(take: Take) -> int:
    """Which moment of the day it begins in."""
    return (take.start or 0) // (MOMENT * (take.sample_rate or 1))


def _width(take: Take) -> int:
    """How many tracks it has, or should have."""
    return max(take.channels, take.expected or 0)


def _number(take: Take) -> tuple[str, str]:
    return same_words(take.scene), same_number(take.take)


def _unnamed(recorder: Recorder, renamed: Set[int | None]) -> Iterator[Finding]:
    """Takes of several channels without any track name, or once if no take has names.

    No compressed file names its tracks. Of a file that names some, those it does not are a note,
    unless it is of a take that is told as `renamed`.
    """
    bare = [
        take
        for take in recorder.takes
        if take.channels > 1 and not _names(take) and _kind(recorder, take) is Kind.WAVE
    ]
    if any(map(_names, recorder.takes)):
        says = "none of its tracks has a name, and those of other takes have"
        for alike, told in recorder.alike((take, says) for take in bare):
            do = "Tell post what is on them."
            yield recorder.noticed_of(alike, "tracks-unnamed", LOOK, told, do)
    elif bare:
        name = recorder.title
        says = f"{name}: no take names its tracks."
        yield finding("tracks-unnamed", NOTE, name, says)
    takes = (take for take in recorder.takes if take.first not in renamed)
    partly = ((take, _nameless(recorder, take)) for take in takes)
    for alike, told in recorder.alike((take, f"no name on {n}") for take, n in partly if n):
        yield recorder.noticed_of(alike, "tracks-unnamed", NOTE, told, "Tell post what is on it.")


def _nameless(recorder: Recorder, take: Take) -> str:
    """The channels without a name in files that name others."""
    names = []
    for file in map(recorder.recording, take.parts[0].files):
        channels = file.description.format.channels if file.description.format else 0
        named = sum(bool(track.name.strip()) for track in file.description.metadata.tracks)
        # A file may number its tracks otherwise.
        if 0 < named < channels:
            names += [name_of(file, n) for n in range(channels) if not said_name(file, n)]
    return ", ".join(names[:NAMED]) + (f" and {len(names) - NAMED} more" if names[NAMED:] else "")


def _renamed(recorder: Recorder, before: Take, take: Take) -> Iterator[Finding]:
    """Track names that change from one take to the next of the same scene, where it is named."""
    if take.tracks == before.tracks:
        return
    scene = same_words(take.scene)
    if not scene or same_words(before.scene) != scene:
        return
    old, new = _names(before), _names(take)
    here = {track.channel for track in take.tracks}
    changed = {
        channel: f"was {brief(name)} and is {brief(new.get(channel, '')) or 'unnamed'}"
        for channel, name in sorted(old.items())
        if channel in here and same_words(new.get(channel, "")) != same_words(name)
    }
    if changed and new:
        says = ", ".join(f"track {channel} {how}" for channel, how in changed.items())
        says += ", in the same scene"
        do = "See whether the tracks were changed, or only their names, and tell post."
        files = map(recorder.recording, take.parts[0].files)
        told = [(f.id, {t.channel for t in f.description.metadata.tracks}) for f in files]
        of = [number for number, its in told if not its.isdisjoint(changed)]
        yield recorder.noticed(take, "tracks-changed", LOOK, says, do, before, of)


def _expected(recorder: Recorder, settings: Settings) -> Iterator[Finding]:
    wanted = settings.expect.channels
    if wanted is None:
        return
    odd = [t for t in recorder.takes if t.channels and wanted not in _channels(recorder, t)]
    says = f", the day is set up for {wanted}"
    for alike, told in recorder.alike((take, _so_many(take) + says) for take in odd):
        yield recorder.noticed_of(alike, "channels", LOOK, told, SET_UP)


def _so_many(take: Take) -> str:
    return "1 channel" if take.channels == 1 else f"{take.channels} channels"


def _channels(recorder: Recorder, take: Take) -> set[int]:
    """How many a take has: in all its files, or in its poly file, with a mix beside it."""
    formats = (recorder.recording(n).description.format for n in take.parts[0].files)
    largest = max((made.channels for made in formats if made), default=0)
    return {take.channels, largest} if largest > 1 else {take.channels}


def _format(recorder: Recorder, before: Take, take: Take, settings: Settings) -> Iterator[Finding]:
    """What the day is set up for is checked file by file; here, what merely changes."""
    expect = settings.expect
    changed = []
    if expect.sample_rate is None and before.sample_rate != take.sample_rate:
        changed.append(f"{take.sample_rate} Hz after {before.sample_rate} Hz")
    old, new = (_bits(recorder, one) for one in (before, take))
    if expect.bit_depth is None and old and new and old != new:
        changed.append(f"{new} bits after {old} bits")
    if expect.timecode_rate is None and before.rate and take.rate and before.rate != take.rate:
        changed.append(f"timecode at {rate_name(take.rate)} after {rate_name(before.rate)}")
    if changed:
        says = f"{', '.join(changed)} in the take before it"
        yield recorder.noticed(take, "format-changed", LOOK, says, SET_UP, before)
    if expect.channels is None and before.channels != take.channels:
        says = f"{_so_many(take)} after {before.channels} in the take before it"
        yield recorder.noticed(take, "channels-changed", NOTE, says, beside=before)


def _kind(recorder: Recorder, take: Take) -> Kind:
    return recorder.recording(take.first).description.kind


def _bits(recorder: Recorder, take: Take) -> int | None:
    made = recorder.recording(take.first).description.format
    return made.bits if made else None


def _off_clock(recorder: Recorder) -> Iterator[Finding]:
    """Takes whose timecode stands otherwise to the recorder's clock than that of most others.

    Timecode that runs only while recording stands to it in no way, and nothing is said.
    """
    apart = {take.first: one for take in recorder.takes if (one := _apart(recorder, take))}
    known = sorted(seconds for seconds, _ in apart.values())
    if len(known) < FEWEST:
        return
    ends = [bisect_right(known, low + TOGETHER) for low in known]
    begin = max(range(len(known)), key=lambda n: ends[n] - n)
    most = known[begin : ends[begin]]
    if 2 * len(most) <= len(known):
        return
    usual = most[len(most) // 2]
    together = [clock for seconds, clock in apart.values() if most[0] <= seconds <= most[-1]]
    yield from _no_time_of_day(recorder, usual, together, len(known))
    off = (
        (t, abs(_centred(apart[t.first][0] - usual))) for t in recorder.takes if t.first in apart
    )
    says = "min off the recorder's clock, and most are not"
    odd = ((take, f"its timecode is {by / 60:.0f} {says}") for take, by in off if by > OFF)
    for alike, told in recorder.alike(odd):
        do = "See whether the timecode or the clock was set anew, and tell post."
        yield recorder.noticed_of(alike, "timecode-off-clock", LOOK, told, do)


def _no_time_of_day(
    recorder: Recorder, usual: float, clocks: list[int], takes: int
) -> Iterator[Finding]:
    """Timecode that runs all the time and is far from the clock; `clocks` are in seconds.

    Within minutes a timecode that runs only while recording may seem to run all the time.
    """
    if abs(usual) <= OFF or max(clocks) - min(clocks) <= OFF:
        return
    name, way = recorder.title, "ahead of" if usual > 0 else "behind"
    says = (
        f"{name}: its timecode runs {abs(usual) / 60:.0f} min {way} the recorder's own clock, in "
        f"{len(clocks)} of {takes} takes that tell both."
    )
    do = "If it is to be the time of day, see which of the two is wrong, and tell post."
    yield finding("timecode-apart", NOTE, name, says, do)


def _apart(recorder: Recorder, take: Take) -> tuple[float, int] | None:
    """Seconds from bext's time to the timecode, by the labels of both, the nearer way round.

    And bext's time in seconds.
    """
    said = recorder.recording(take.first).description.metadata
    clock = recorder_time(said.date, said.time)
    if clock is None or take.start is None or not take.sample_rate or not said.time:
        return None
    day = day_samples(take.sample_rate, take.rate)
    written = clock.hour * 3600 + clock.minute * 60 + clock.second
    return _centred((take.start % day) * _CLOCK_DAY / day - written), written


def _centred(seconds: float) -> float:
    """A difference of two times of day, within half a day."""
    return (seconds + _CLOCK_DAY / 2) % _CLOCK_DAY - _CLOCK_DAY / 2
