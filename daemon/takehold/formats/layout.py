"""How the samples of a `fmt ` chunk lie, and whether they can be measured.

Layout: Microsoft WAVEFORMATEX and WAVEFORMATEXTENSIBLE.
"""

from __future__ import annotations

from typing import NamedTuple

from takehold.model.sound import Coding, WaveFormat

MOST_CHANNELS = 64
_PCM, _FLOAT = 1, 3


class Layout(NamedTuple):
    """How the samples of a frame lie: `width` bytes each, of which `bits` are meant."""

    channels: int
    width: int
    coding: Coding
    bits: int


def layout(form: WaveFormat) -> Layout | None:
    """The layout of a format, None if its samples cannot be measured."""
    if not 1 <= form.channels <= MOST_CHANNELS or form.block_align % form.channels:
        return None
    width = form.block_align // form.channels
    if form.tag == _PCM and width <= 4 and 8 <= form.bits <= 8 * width:
        return Layout(form.channels, width, Coding.INTEGER, form.bits)
    if form.tag == _FLOAT and (width, form.bits) in {(4, 32), (8, 64)}:
        return Layout(form.channels, width, Coding(f"float{form.bits}"), form.bits)
    return None
