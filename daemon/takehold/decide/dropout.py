"""Does a stretch of sound lack in a lossy copy, or is there one that the original does not have?

The level of both is compared over short stretches. What a coding does to a sound that is not very
quiet is some dB; a stretch that was muted loses all of it. docs/matching.md has what was measured.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

# An echo before a loud sound is as long as what a coding takes together: 1,152 frames and the 511
# of its filter bank in MPEG-1 Layer III (ISO/IEC 11172-3; from memory).
_BLOCK_FRAMES, _BLOCKS_A_SECOND = 2_048, 20
# Blocks of a stretch. In those at its ends there may be such an echo, of what is loud beside it.
_STRETCH = 6
# Mean squares: what is as loud as -70 dB is kept by every coding, within 10 dB (measured), and a
# copy may be 7 dB lower as a whole.
_LOUD = 1e-7
_DEAD = 10**-2.5


class Sliding:
    """Cuts consecutive pieces of two rows into windows that follow each other by `hop` frames."""

    def __init__(self, frames: int, hop: int) -> None:
        self._frames, self._hop = frames, hop
        self._begin = 0
        self._both: Array = np.empty((2, 0))

    def take(self, frame: int, ours: Array, theirs: Array) -> Iterator[tuple[int, Array, Array]]:
        """The frames from `frame` on; the windows that are whole now, by their first frames.

        No window goes over a place where frames were left out.
        """
        both = np.stack([ours, theirs])
        if frame == self._begin + self._both.shape[1]:
            both = np.concatenate([self._both, both], axis=1)
        else:
            self._begin = frame
        at = 0
        while at + self._frames <= both.shape[1]:
            yield self._begin + at, *both[:, at : at + self._frames]
            at += self._hop
        self._begin, self._both = self._begin + at, both[:, at:].copy()


class Dropout:
    """Levels of two aligned sounds, in binary64 with full scale 1.0, block by block.

    `first` is the first frame, in ours, of the first stretch that is loud in one of both and
    25 dB lower or more in the other; None while there is none.
    """

    def __init__(self, rate: int) -> None:
        self.first: int | None = None
        self._block = max(rate // _BLOCKS_A_SECOND, _BLOCK_FRAMES)
        self._blocks = Sliding(self._block, self._block)
        self._begins: deque[int] = deque(maxlen=_STRETCH)
        self._levels: deque[tuple[float, float]] = deque(maxlen=_STRETCH)

    def take(self, frame: int, ours: Array, theirs: Array) -> None:
        """The next frames of both; some may be left out."""
        for begin, mine, other in self._blocks.take(frame, ours, theirs):
            if self.first is not None:
                return
            self._begins.append(begin)
            self._levels.append((float(np.mean(mine**2)), float(np.mean(other**2))))
            whole = self._begins[-1] - self._begins[0] == (_STRETCH - 1) * self._block
            if whole and self._is_dead():
                self.first = self._begins[0]

    def _is_dead(self) -> bool:
        levels = np.array(self._levels)
        loud, faint = levels[1:-1].mean(axis=0), levels.mean(axis=0)[::-1]
        return bool(((loud >= _LOUD) & (faint <= _DEAD * loud)).any())
