"""Measures samples of several channels while they stream by, on a fixed grid of pieces."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from takehold.formats.channel import ChannelMeter
from takehold.formats.layout import Layout
from takehold.formats.pcm import DTYPES, Array
from takehold.model.measured import Measured
from takehold.model.sound import BLOCK_FRAMES, Coding

# How many samples lie in one piece at most: it shall stay in a processor's second cache.
_MOST_SAMPLES = 192_000
# Frames of a piece: divisors of BLOCK_FRAMES, so that each block is whole pieces.
_PIECES = (48_000, 24_000, 12_000, 6_000, 3_000, 1_500)
# Frames of one dot product. A BLAS spreads long ones over threads, which costs more than it
# gives; and the shorter it is, the smaller is the sum of its rounding errors.
_SLICE = 1_500

Fill = Callable[[int, Array], None]


class SampleMeter:
    """Takes a recording's samples in order and keeps one piece of them at most.

    Pieces lie on a grid of the absolute sample count, so nothing that is measured depends on how
    the samples arrive. `first_sample` is the absolute count of the first frame, None if it is
    unknown.
    """

    def __init__(self, layout: Layout, first_sample: int | None) -> None:
        self._layout = layout
        self._begin = self._absolute = first_sample or 0
        self._piece = next(n for n in _PIECES if n * layout.channels <= _MOST_SAMPLES)
        self._rows = np.empty((layout.channels, self._piece), DTYPES[layout.coding])
        # Levels are taken last of all, of the samples as floats in their own place.
        self._floats = self._rows.view("f4") if layout.coding is Coding.INTEGER else self._rows
        self._slices = self._floats.reshape(layout.channels, -1, _SLICE)
        self._filled = 0
        self._channels = [ChannelMeter(layout) for _ in range(layout.channels)]

    def take(self, frames: int, fill: Fill) -> None:
        """So many frames more; `fill(first, rows)` writes those from `first` on to its rows.

        `rows` has the shape (channels, frames).
        """
        taken = 0
        while taken < frames:
            room = self._piece - self._absolute % self._piece - self._filled
            count = min(room, frames - taken)
            fill(taken, self._rows[:, self._filled : self._filled + count])
            taken += count
            self._filled += count
            if count == room:
                self._measure()

    def measured(self, digest: str) -> Measured:
        """What was measured so far; `digest` is that of the payload."""
        if self._filled:
            self._measure()
        frames = self._absolute - self._begin
        begun = bool(frames and self._absolute % BLOCK_FRAMES)
        channels = tuple(meter.channel(begun) for meter in self._channels)
        return Measured(frames, digest, self._layout.coding, channels, self._begin)

    def _measure(self) -> None:
        rows = self._rows[:, : self._filled]
        with np.errstate(all="ignore"):
            figures = zip(
                rows,
                _zeros(rows),
                np.maximum.reduce(rows, axis=1).tolist(),
                np.minimum.reduce(rows, axis=1).tolist(),
                strict=True,
            )
            for meter, known in zip(self._channels, figures, strict=True):
                meter.take(*known)
            for meter, squares in zip(self._channels, self._squares(), strict=True):
                meter.take_squares(squares)
        self._absolute += self._filled
        self._filled = 0
        if self._absolute % BLOCK_FRAMES == 0:
            for meter in self._channels:
                meter.end_block()

    def _squares(self) -> list[float]:
        """The sum of squares of each row: of a slice in the floats' own precision, then binary64.

        The relative error is at most _SLICE x 2**-24 (all terms have one sign), 0.0004 dB. Integers
        become floats where they lie, which asks for no more of the cache; of one row numpy needs no
        copy for it.
        """
        self._rows[:, self._filled :] = 0
        if self._floats is not self._rows:
            np.copyto(self._floats.reshape(-1), self._rows.reshape(-1))
        sums = np.add.reduce(np.vecdot(self._slices, self._slices), axis=1, dtype="f8")
        found: list[float] = sums.tolist()
        return found


def _zeros(rows: Array) -> list[int]:
    """How many samples of each row are exactly zero."""
    frames = rows.shape[1]
    if rows.dtype.kind == "i" and np.minimum.reduce(rows.view("u4"), axis=None):
        return [0] * len(rows)  # none in any: found in half the time of counting
    return [frames - int(np.count_nonzero(row)) for row in rows]
