"""Is a lossy copy of this take, or of another with the same playback?

Two takes to one song agree as far as the song drowns what else sounds. Yet here and there a voice
is louder than it, in some band for a moment; there two takes do not agree, and a coding, which
spends its bits on what is loud, does. docs/matching.md has what was measured.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from takehold.decide.dropout import Sliding

Array = NDArray[Any]

# An encoder may cut off what is above 3 kHz.
_BANDS, _LOWEST_HZ, _HIGHEST_HZ = 13, 200.0, 2_700.0
_WINDOWS_A_SECOND = 4
# Windows, half over one another, of a stretch that is judged by itself: 8 s.
_STRETCH = 64
# A band is loud that is 10 dB below the loudest of its window at most, of windows and stretches
# that are 20 dB below the loudest.
_LOUD_BAND, _LOUD = 0.1, 0.01
# White noise of -70 dB, a mean square: what is quieter an encoder may leave out (decide/dropout).
_QUIET = 1e-7
# A loud band of one sound correlates so much at least, but for so large a share, and so few.
_AGREES, _ODD_SHARE, _ODD_AT_LEAST = 0.5, 0.02, 3
_NOTHING = 1e-30


class Bands:
    """Correlations of two aligned sounds, in binary64, band by band and window by window."""

    def __init__(self, rate: int) -> None:
        count = rate // _WINDOWS_A_SECOND
        hertz = np.geomspace(_LOWEST_HZ, _HIGHEST_HZ, _BANDS + 1)
        self._edges = np.ceil(hertz[hertz <= rate / 2] / _WINDOWS_A_SECOND).astype(int)
        self._window = np.hanning(count)
        self._gain = float(np.sum(self._window**2))
        self._windows = Sliding(count, count // 2)
        self._levels: list[Array] = []
        self._agree: list[Array] = []
        self._stretches: list[tuple[float, int, int]] = []

    def take(self, frame: int, ours: Array, theirs: Array) -> None:
        """The next frames of both; some may be left out."""
        for _, mine, other in self._windows.take(frame, ours, theirs):
            spectra = [np.fft.rfft(row * self._window) for row in (mine, other)]
            powers = [self._by_band(np.abs(spectrum) ** 2) for spectrum in spectra]
            common = self._by_band((spectra[0] * spectra[1].conj()).real)
            self._agree.append(common / np.maximum(np.sqrt(powers[0] * powers[1]), _NOTHING))
            self._levels.append(np.maximum(*powers) / (np.diff(self._edges) * self._gain))
            if len(self._levels) == _STRETCH:
                self._end_stretch()

    def other_sound(self) -> bool:
        """All was taken: whether one of both is loud anywhere where the other is something else."""
        if self._levels:
            self._end_stretch()
        least = max(_LOUD * max((one[0] for one in self._stretches), default=0.0), _QUIET)
        return any(
            odd >= _ODD_AT_LEAST and odd > _ODD_SHARE * loud
            for level, loud, odd in self._stretches
            if level >= least
        )

    def _by_band(self, lines: Array) -> Array:
        sums: Array = np.add.reduceat(lines, self._edges)[:-1]
        return sums

    def _end_stretch(self) -> None:
        """How loud a stretch is, in how many of its bands, and how many of these do not agree."""
        levels, agree = np.array(self._levels), np.array(self._agree)
        self._levels, self._agree = [], []
        tops = levels.max(axis=1, keepdims=True)
        loud = (levels >= _LOUD_BAND * tops) & (tops >= _LOUD * tops.max())
        odd = int(np.count_nonzero(loud & (agree < _AGREES)))
        self._stretches.append((float(tops.max()), int(np.count_nonzero(loud)), odd))
