"""Do two takes of one recorder hold one recording, as a poly file, the monos split from it, a mix?

What begins and ends at the same samples does, unless the recorder's clock tells otherwise, or where
that is not told the slates; whose channels are the same does in any case.
So does a mix of a take, which may begin and end a moment off. No take that was recorded again is
taken for one: a recorder rolls once at a time, so that its clock, which nobody sets back with the
timecode, has gone on by then.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta

from takehold.decide.beside_better import compressed_beside
from takehold.decide.day import recorder_time
from takehold.decide.layouts import heard
from takehold.decide.take_names import same_number
from takehold.formats.timecode import day_samples
from takehold.model.recording import Recording
from takehold.model.slate import same_words
from takehold.model.take import Take

MOMENT = 1
"""Seconds by which a mix may begin or end beside its take. Chosen, no source."""
# Clocks tell whole seconds.
CLOCKS = timedelta(seconds=2)


def one_recording(one: Take, other: Take, recording: Callable[[int], Recording]) -> bool:
    """Whether both hold the same moments of one recorder; `recording` gives one by its number."""
    files = [[recording(number) for number in take.files] for take in (one, other)]
    if compressed_beside(*files):
        return _as_long(one, other, files)
    if one.start is None or one.frames is None:
        sounds = [its[0].sound for its in files]
        return None not in sounds and sounds[0] == sounds[1]
    together = _by_clock(*(its[0] for its in files))
    if (one.start, one.frames) == (other.start, other.frames):
        apart = _slates_differ(one, other) if together is None else not together
        return not apart or _is_mix(one, other) or _share(*files)
    return bool(together) and _is_mix(one, other) and _near(one, other)


def _as_long(one: Take, other: Take, files: Sequence[Sequence[Recording]]) -> bool:
    """Whether a compressed file is as long as the take whose name it has, or as a file of that.

    As far as that is known.
    """
    first, second = (_lengths(take, its) for take, its in zip((one, other), files, strict=True))
    return not (first and second) or any(abs(a - b) <= MOMENT for a in first for b in second)


def _lengths(take: Take, files: Sequence[Recording]) -> set[float]:
    """Seconds of all parts together, and of each file."""
    sounds = (f.description.frames or (f.sound.frames if f.sound else None) for f in files)
    return {n / take.sample_rate for n in (take.frames, *sounds) if n and take.sample_rate}


def _by_clock(one: Recording, other: Recording) -> bool | None:
    """Whether both began together by the recorder's own clock; None where it is not told."""
    said = [file.description.metadata for file in (one, other)]
    first, second = (recorder_time(its.date, its.time) if its.time else None for its in said)
    return None if first is None or second is None else abs(first - second) <= CLOCKS


def _slates_differ(one: Take, other: Take) -> bool:
    """Whether one names another scene or take than the other does."""
    pairs = zip(_slate(one), _slate(other), strict=True)
    return any(mine and its and mine != its for mine, its in pairs)


def _is_mix(one: Take, other: Take) -> bool:
    """Whether one recorder wrote both, for one scene and take, with other tracks."""
    if not one.take or one.originator != other.originator or _slate(one) != _slate(other):
        return False
    return (one.channels, one.tracks) != (other.channels, other.tracks)


def _slate(take: Take) -> tuple[str, str]:
    return same_words(take.scene), same_number(take.take)


def _near(one: Take, other: Take) -> bool:
    """Whether they begin and end within a moment of each other, by their timecode."""
    if other.start is None or other.frames is None or one.start is None or one.frames is None:
        return False
    day = day_samples(one.sample_rate, one.rate)
    if one.sample_rate != other.sample_rate or not day:
        return False
    later = (other.start - one.start + day // 2) % day - day // 2
    ends = later + other.frames - one.frames
    return max(abs(later), abs(ends)) <= MOMENT * one.sample_rate


def _share(one: Sequence[Recording], other: Sequence[Recording]) -> bool:
    """Whether a channel that sounds is in both."""
    mine, its = ({c for file in files for c in heard(file) if c} for files in (one, other))
    return not mine.isdisjoint(its)
