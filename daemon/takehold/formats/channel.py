"""Measures one channel, piece by piece."""

from __future__ import annotations

import math

import numpy as np
import xxhash

from takehold.formats.layout import Layout
from takehold.formats.pcm import Array
from takehold.model.measured import CLIP_FRAMES, FULL_SCALE, GAP_FRAMES, Channel
from takehold.model.sound import Coding

# A run of GAP_FRAMES zeros is seen by looking at one frame of so many.
_GLANCE = 16
# Floats from here on are beyond binary32 (IEEE 754).
_BEYOND = 2.0**128
# Peaks in between leave the squares well within binary32; others are squared in binary64.
_FAINT, _HUGE = 2.0**-40, 2.0**40

# No frame, nor the one before the first.
_BEFORE = -2


class ChannelMeter:
    """Takes a channel's samples in order, as contiguous rows of one dtype."""

    def __init__(self, layout: Layout) -> None:
        self._floating = layout.coding is not Coding.INTEGER
        self._full = _full_scale(layout)
        self._digest = xxhash.xxh3_128()
        self._block = xxhash.xxh3_64()
        self._blocks = bytearray()
        self._at = 0
        self._peak: int | float = 0.0 if self._floating else 0
        self._squares = 0.0
        self._wide: float | None = None
        self._zeros = self._gap = self._not_finite = 0
        self._first: int | None = None
        self._last = _BEFORE
        self._clips = ClipCount(self._full)

    def take(self, row: Array, zeros: int, highest: int | float, lowest: int | float) -> None:
        """The next samples, at least one, and what is known of them."""
        self._digest.update(row.data)
        self._block.update(row.data)
        usable, peak = row, max(highest, -lowest)
        self._wide = None
        if self._floating and not _FAINT < peak < _HUGE and peak:
            usable, peak, self._wide = self._extreme(row)
        self._peak = max(self._peak, peak)
        if zeros or self._last != self._at - 1:
            self._note_sound(row, zeros)
        else:
            self._last += len(row)
        if peak >= self._full:
            self._clips.take(usable)
        elif self._clips.run:
            self._clips.end()
        self._zeros += zeros
        self._at += len(row)

    def take_squares(self, squares: float) -> None:
        """The sum of the squares of what was taken last."""
        self._squares += squares if self._wide is None else self._wide

    def end_block(self) -> None:
        """What was taken since the last block's end is a block."""
        self._blocks += self._block.digest()
        self._block.reset()

    def channel(self, begun: bool) -> Channel:
        """What was measured; `begun` says whether there is a started block."""
        mean = self._squares / self._at if self._at else 0.0
        return Channel(
            self._digest.hexdigest(),
            bytes(self._blocks) + (self._block.digest() if begun else b""),
            self._peak,
            math.sqrt(mean) / (1.0 if self._floating else 2.0**31),
            self._zeros,
            self._gap,
            self._clips.total(),
            self._first,
            self._last if self._first is not None else None,
            self._not_finite,
        )

    def _note_sound(self, row: Array, zeros: int) -> None:
        """Where the sound begins and ends, and the gaps within it."""
        if zeros == len(row):
            return
        begin, end = _edges(row) if zeros else (0, len(row) - 1)
        if self._first is None:
            self._first = self._at + begin
        else:
            self._note_gap(self._at + begin - self._last - 1)
        if zeros > max(self._gap, GAP_FRAMES - 1):
            self._note_gap(_longest_gap(row))
        self._last = self._at + end

    def _note_gap(self, frames: int) -> None:
        if frames >= GAP_FRAMES:
            self._gap = max(self._gap, frames)

    def _extreme(self, row: Array) -> tuple[Array, float, float]:
        """Of unusual floats: the row with zeros where no usable number is, its peak and squares."""
        usable = np.abs(row) < _BEYOND
        self._not_finite += len(row) - int(np.count_nonzero(usable))
        row = np.where(usable, row, row.dtype.type(0))
        wide = row.astype("f8")
        return row, float(np.abs(wide).max()), float(np.vecdot(wide, wide))


def _full_scale(layout: Layout) -> int | float:
    """From where on a sample counts as full scale; negative ones from its negative on."""
    if layout.coding is not Coding.INTEGER:
        return FULL_SCALE / 2.0**31
    return min(FULL_SCALE, ((1 << (layout.bits - 1)) - 1) << (32 - layout.bits))


def _edges(row: Array) -> tuple[int, int]:
    """The first and the last sample that is not zero, of a row that has one."""
    begin, end = 0, len(row) - 1
    if not row[0]:
        begin = int((row != 0).argmax())
    if not row[-1]:
        end -= int((row[::-1] != 0).argmax())
    return begin, end


def _longest_gap(row: Array) -> int:
    """The longest run of zeros between two other samples; may say 0 for one too short to count."""
    glances = np.concatenate(([1], row[::_GLANCE], [1]))
    if _longest_run(glances) < GAP_FRAMES // _GLANCE:
        return 0
    return _longest_run(row)


def _longest_run(row: Array) -> int:
    return int(np.diff(np.flatnonzero(row)).max(initial=1)) - 1


class ClipCount:
    """Counts the samples at full scale in runs of CLIP_FRAMES or more of one sign.

    `run` is the length of the run that the samples so far end in.
    """

    def __init__(self, full: int | float) -> None:
        self._full = full
        self._sum = 0
        self._positive = False
        self.run = 0

    def take(self, row: Array) -> None:
        """The next samples, one of which at least is at full scale."""
        at = np.flatnonzero((row >= self._full) | (row <= -self._full))
        positive = row[at] > 0
        breaks = np.flatnonzero((np.diff(at) > 1) | (positive[1:] != positive[:-1])) + 1
        edges = np.concatenate(([0], breaks, [len(at)]))
        runs = edges[1:] - edges[:-1]
        if at[0] > 0 or positive[0] != self._positive:
            self.end()
        runs[0] += self.run
        self.run = 0
        if at[-1] == len(row) - 1:
            self.run, runs = int(runs[-1]), runs[:-1]
            self._positive = bool(positive[-1])
        self._sum += int(runs[runs >= CLIP_FRAMES].sum())

    def end(self) -> None:
        """Here is a sample below full scale, or one of the other sign."""
        self._sum = self.total()
        self.run = 0

    def total(self) -> int:
        """How many so far, a run that may still go on included."""
        return self._sum + (self.run if self.run >= CLIP_FRAMES else 0)
