"""Interleaved PCM bytes to one row of samples a channel.

Layout: Microsoft WAVEFORMATEX and WAVEFORMATEXTENSIBLE. Samples are little-endian and lie left in
their container; a container of one byte is unsigned, the others are signed.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from takehold.formats.layout import Layout
from takehold.model.sound import Coding

Array = NDArray[Any]
DTYPES = {Coding.INTEGER: "<i4", Coding.FLOAT32: "<f4", Coding.FLOAT64: "<f8"}
# How many bytes behind the last frame `unpack` touches.
SLACK = 3


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
