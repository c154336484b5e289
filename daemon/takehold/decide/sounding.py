"""Which frames of a file hold sound on one of its tracks?

Exact zeros at both its ends are measured track by track. Of those between two sounds only the
length is, but the file's blocks tell where all its tracks pause: the digest of a block of zeros is
always the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import groupby

import xxhash

from takehold.decide.zeros import said_name
from takehold.formats.levels import channels_of
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.slate import same_words

_DIGEST_BYTES = 8
_PAUSE = 1
"""Seconds. A microphone is never exactly zero for so long (decide/check_sound)."""

Frames = tuple[int, int]
"""From the first frame to the last one, that not included."""


def sounding(recording: Recording, name: str) -> Iterator[Frames]:
    """Where the track of that name holds sound, in order; all of a file that was not measured.

    Where no track has that name all of them count. A pause is told to the block, of a second.
    """
    frames, sound = recording.description.frames or 0, recording.sound
    channels = channels_of(sound) if sound is not None and sound.frames == frames else ()
    wanted = same_words(name)
    its = [c for n, c in enumerate(channels) if same_words(said_name(recording, n)) == wanted]
    its = its or [*channels]
    firsts = [c.first_sound for c in its if c.first_sound is not None]
    at = min(firsts, default=frames) if its else 0
    end = max((c.last_sound for c in its if c.last_sound is not None), default=-1) + 1
    end = end if its else frames
    for low, high in _pauses(recording, channels):
        if at < min(low, end):
            yield at, low
        at = max(at, high)
    if at < end:
        yield at, end


def _pauses(recording: Recording, channels: Sequence[Channel]) -> Iterator[Frames]:
    """Blocks in which all tracks are exactly zero, a second and more in a row."""
    made, sound = recording.description.format, recording.sound
    gaps = [c.longest_gap for c in channels if c.first_sound is not None]
    if made is None or sound is None or min(gaps, default=0) < _PAUSE * made.sample_rate:
        return
    silent = _silent(sound.block_frames * made.block_align)
    starts = range(0, len(sound.blocks), _DIGEST_BYTES)
    at = 0
    for is_silent, run in groupby(sound.blocks[n : n + _DIGEST_BYTES] == silent for n in starts):
        begun, at = at, at + len([*run]) * sound.block_frames
        if is_silent and at - begun >= _PAUSE * made.sample_rate:
            yield begun, at


@lru_cache(maxsize=64)
def _silent(length: int) -> bytes:
    """The digest of so many bytes that are zero, as `Sound.blocks` has it."""
    return xxhash.xxh3_64_digest(bytes(length))
