"""What was measured of a recording's audio, channel by channel."""

from __future__ import annotations

from typing import NamedTuple

from takehold.model.sound import BLOCK_FRAMES, Coding

# Zeros between two sounds count as a gap from this many frames on (2.7 ms at 48 kHz): single
# zeros and short runs of them are ordinary in quiet 16-bit audio. Common practice, no source.
GAP_FRAMES = 128
# A sample at full scale says nothing alone; so many in a row, of one sign, are a cut-off wave.
# Common practice, no source.
CLIP_FRAMES = 3
# The value that counts as full scale in left-justified 32 bit: the upper 16 bits say so, which is
# within 0.0003 dB of it, so that 16-bit audio in a 24-bit file and 20 valid bits of 24 are seen.
FULL_SCALE = 0x7FFF0000


class Channel(NamedTuple):
    """One channel of a recording; of a day there are thousands, at each look.

    `digest` is the XXH3-128 of its samples in hex. `blocks` is the XXH3-64 of each started block,
    8 bytes each, big-endian; block k holds the frames whose absolute count, since midnight, is
    in [n, n + 1) x BLOCK_FRAMES with n = Measured.first_block + k, as far as they are there; empty
    where they were not kept with it.

    `peak` is the largest magnitude: for integers left-justified to 32 bit (0 to 2**31), for
    floats as it is. `rms` is the root of the mean square, 1.0 being full scale, at most
    0.0004 dB off: squares are added in binary32 over 1,500 frames, then in binary64.

    `zeros` counts samples that are exactly zero, `longest_gap` the frames of the longest run of
    them between two that are not (0 if shorter than GAP_FRAMES), `clipped` the samples at full
    scale in runs of CLIP_FRAMES or more of one sign. `first_sound` and `last_sound` are the
    frames of the first and last sample that is not zero, None if all are.

    `not_finite` counts the floats that are no number, infinite or beyond binary32; peak, rms and
    `clipped` take no notice of them.
    """

    digest: str
    blocks: bytes
    peak: int | float
    rms: float
    zeros: int
    longest_gap: int
    clipped: int
    first_sound: int | None
    last_sound: int | None
    not_finite: int = 0


class Measured(NamedTuple):
    """A recording's audio.

    `digest` is the XXH3-128 of the raw payload in hex.
    `first_sample` is the absolute count of the first frame, 0 if it is unknown. `channels` is
    empty, and `coding` None, where the payload is not PCM of 1 to 64 channels.
    """

    frames: int
    digest: str
    coding: Coding | None
    channels: tuple[Channel, ...]
    first_sample: int = 0

    @property
    def first_block(self) -> int:
        """The absolute number of the first block."""
        return self.first_sample // BLOCK_FRAMES

    @property
    def zero_tail(self) -> int:
        """Frames at the end in which every channel is exactly zero; all of them for silence."""
        if not self.channels:
            return 0
        last = [-1 if c.last_sound is None else c.last_sound for c in self.channels]
        return self.frames - 1 - max(last)

    def silence(self, channel: Channel) -> float:
        """The share of a channel's frames that are exactly zero; 0.0 where there are none."""
        return channel.zeros / self.frames if self.frames else 0.0
