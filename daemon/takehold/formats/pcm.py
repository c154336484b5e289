"""Interleaved PCM bytes to one row of samples a channel.

Layout: Microsoft WAVEFORMATEX and WAVEFORMATEXTENSIBLE. Samples are little-endian and lie left in
their container; a container of one byte is unsigned, the others are signed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from takehold.model.sound import Coding, WaveFormat

Array = NDArray[Any]
DTYPES = {Coding.INTEGER: "<i4", Coding.FLOAT32: "<f4", Coding.FLOAT64: "<f8"}
MOST_CHANNELS = 64
# How many bytes behind the last frame `unpack` touches.
SLACK = 3
_PCM, _FLOAT = 1, 3


@dataclass(frozen=True, slots=True)
class Layout:
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


def interleaved(layout: Layout, samples: Array) -> bytes:
    """Decoded samples of shape (frames, channels) as a payload: what `unpack` reads.

    int32, left-justified, for the coding INTEGER; else the float of the coding.
    """
    cells = np.ascontiguousarray(samples, DTYPES[layout.coding]).view("u1")
    cells = cells.reshape(*samples.shape, -1)[..., -layout.width :]
    return (cells ^ 0x80 if layout.width == 1 else cells).tobytes()


def unpack(layout: Layout, raw: memoryview, first: int, rows: Array) -> None:
    """Write the frames of `raw` from number `first` on to `rows`, of shape (channels, frames).

    Integers come left-justified as int32. `raw` must reach SLACK bytes behind the last frame:
    four bytes are read for every integer, which is one plain copy whatever the width, and those
    too many are shifted out.
    """
    align = layout.channels * layout.width
    strides = (layout.width, align)
    dtype = DTYPES[layout.coding]
    np.copyto(rows, np.ndarray(rows.shape, dtype, raw, first * align, strides))
    if layout.coding is not Coding.INTEGER:
        return
    bits = rows.view("<u4")
    if layout.width < 4:
        np.left_shift(bits, 32 - 8 * layout.width, out=bits)
    if layout.width == 1:
        np.bitwise_xor(bits, 0x80000000, out=bits)
