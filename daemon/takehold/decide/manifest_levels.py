"""What was measured of a file's channels, as the manifest tells it and as it is read again."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from takehold.formats.levels import channels_of, packed
from takehold.model.errors import Malformed
from takehold.model.measured import Channel
from takehold.model.sound import Coding, Sound

# What is counted of a channel, and what it is where nothing is told.
_COUNTS = {
    "zeros": 0,
    "longest_gap": 0,
    "clipped": 0,
    "first_sound": None,
    "last_sound": None,
    "not_finite": 0,
}
# What a JSON number can hold exactly (RFC 8785): floats of no sense beyond it are told as this.
_MOST = 2**53 - 1
_DIGEST = re.compile("[0-9a-f]{32}")


def told(sound: Sound) -> dict[str, object]:
    """`coding` and `levels` of a file's audio; nothing where no channel was measured."""
    if sound.coding is None or not sound.levels:
        return {}
    levels = [_entry(channel) for channel in channels_of(sound)]
    return {"coding": sound.coding.value, "levels": levels}


def known_again(sound: Sound, audio: Mapping[str, object]) -> Sound:
    """The measure with what `audio`, an entry of a manifest, tells of its channels.

    Raises Malformed where that cannot be.
    """
    levels = audio.get("levels")
    if levels is None:
        return sound
    coding = next((c for c in Coding if c.value == audio.get("coding")), None)
    channels = list(map(_channel, levels)) if isinstance(levels, list) else [None]
    whole = tuple(channel for channel in channels if channel is not None)
    if coding is None or len(whole) != len(channels):
        raise Malformed("Its 'levels' is not as a manifest has it.")
    return replace(sound, coding=coding, levels=packed(whole))


def _entry(channel: Channel) -> dict[str, object]:
    entry: dict[str, object] = {
        "digest": channel.digest,
        "peak": min(channel.peak, _MOST),
        "rms": min(channel.rms, _MOST),
        "zeros": channel.zeros,
        "longest_gap": channel.longest_gap,
        "clipped": channel.clipped,
    }
    if channel.first_sound is not None and channel.last_sound is not None:
        entry |= {"first_sound": channel.first_sound, "last_sound": channel.last_sound}
    if channel.not_finite:
        entry["not_finite"] = channel.not_finite
    return entry


def _channel(entry: object) -> Channel | None:
    if not isinstance(entry, dict):
        return None
    digest, peak, rms = entry.get("digest"), entry.get("peak"), entry.get("rms")
    counts: dict[str, Any] = {name: entry.get(name, least) for name, least in _COUNTS.items()}
    if not isinstance(digest, str) or _DIGEST.fullmatch(digest) is None:
        return None
    if not isinstance(peak, int | float) or not isinstance(rms, int | float):
        return None
    known = {name: n for name, n in counts.items() if n is not _COUNTS[name]}
    if not all(isinstance(n, int) and 0 <= n <= _MOST for n in known.values()):
        return None
    return Channel(digest, b"", peak, rms, **counts)
