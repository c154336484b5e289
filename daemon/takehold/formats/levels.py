"""What was measured of channels <-> a few bytes each: many thousand recordings are known at once.

A channel is the 16 bytes of its digest, then little-endian: peak and rms as binary64; zeros, gap,
clipped, first and last sound (-1 for none), values that are no number, as 64-bit integers.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from functools import lru_cache

from takehold.model.measured import Channel
from takehold.model.sound import Coding, Sound

_CHANNEL = struct.Struct("<16sddqqqqqq")


def packed(channels: Iterable[Channel]) -> bytes:
    """The channels in their order, without their blocks."""
    return b"".join(map(_pack, channels))


def _pack(one: Channel) -> bytes:
    return _CHANNEL.pack(
        bytes.fromhex(one.digest),
        one.peak,
        one.rms,
        one.zeros,
        one.longest_gap,
        one.clipped,
        -1 if one.first_sound is None else one.first_sound,
        -1 if one.last_sound is None else one.last_sound,
        one.not_finite,
    )


def channels_of(sound: Sound) -> tuple[Channel, ...]:
    """The channels of a recording in their order, without their blocks; empty if none is known."""
    return _unpacked(sound.levels, sound.coding is Coding.INTEGER)


@lru_cache(maxsize=512)  # a day's checks ask for each take again and again, and then for each file
def _unpacked(levels: bytes, integers: bool) -> tuple[Channel, ...]:
    return tuple(
        Channel(
            digest.hex(),
            b"",
            int(peak) if integers else peak,
            rms,
            zeros,
            gap,
            clipped,
            None if first < 0 else first,
            None if last < 0 else last,
            odd,
        )
        for digest, peak, rms, zeros, gap, clipped, first, last, odd in _CHANNEL.iter_unpack(levels)
    )


def digests_of(sound: Sound) -> tuple[bytes, ...]:
    """The digest of each channel, 16 bytes, in their order."""
    step = _CHANNEL.size
    return tuple(sound.levels[at : at + 16] for at in range(0, len(sound.levels), step))
