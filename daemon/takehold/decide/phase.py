"""Do two sounds agree in phase, and where does one lie in the other? For copies that are lossy.

Plain correlation is decided by what is loudest: hum, or one tone, that any two takes of a place
share. Here each line of the spectrum counts alike, in the band that every lossy coding of speech
keeps; hum and its harmonics are few of them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

_BAND_HZ = 200.0, 5_000.0
# Fewer frames have too few lines in the band.
_SHORTEST = 2_048


class Phase:
    """Adds up, over time, how far two aligned sounds agree; samples are binary64."""

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._cosines, self._lines = 0.0, 0
        self._ours = self._theirs = 0.0

    def take(self, ours: Array, theirs: Array) -> float | None:
        """The next frames of both; how far these agree alone, None where that cannot be told.

        Hann's window: the lines of hum would spread over all the others else.
        """
        count = len(ours)
        if count < _SHORTEST:
            return None
        first, last = (int(np.ceil(hertz * count / self._rate)) for hertz in _BAND_HZ)
        window = np.hanning(count)
        mine = np.fft.rfft(ours * window)[first:last]
        other = np.fft.rfft(theirs * window)[first:last]
        cosines = float(even(mine * np.conj(other)).real.sum())
        self._cosines += cosines
        self._lines += len(mine)
        self._ours += float(np.vdot(mine, mine).real)
        self._theirs += float(np.vdot(other, other).real)
        return cosines / len(mine)

    @property
    def agreement(self) -> float | None:
        """The mean cosine of the angle between both, over all lines; None if nothing was taken.

        1 for one sound; for two takes 0, give or take 1 by the root of twice the number of lines.
        """
        return self._cosines / self._lines if self._lines else None

    @property
    def gain_db(self) -> float:
        """The level of theirs against that of ours, in the band; no number if both are silent."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return float(10 * (np.log10(self._theirs) - np.log10(self._ours)))


def even(spectrum: Array) -> Array:
    """Each line brought to the length of 1; what is zero stays so."""
    length = np.abs(spectrum)
    return np.divide(spectrum, length, out=np.zeros_like(spectrum), where=length > 0)


def lag(ours: Array, theirs: Array, rate: int) -> tuple[int, float]:
    """Where in the longer `theirs` the frames of `ours` begin, and how clearly that shows.

    Cross-correlation by FFT, each line of the band counting alike (phase transform: Knapp and
    Carter, 1976; from memory). A copy of inverted polarity is found where it lies, too: beside that
    place it would be a little like.
    """
    size = 1 << (len(theirs) + len(ours) - 1).bit_length()
    cross = even(np.conj(np.fft.rfft(ours, size)) * np.fft.rfft(theirs, size))
    hertz = np.arange(len(cross)) * (rate / size)
    cross[(hertz < _BAND_HZ[0]) | (hertz >= _BAND_HZ[1])] = 0
    found = np.fft.irfft(cross, size)[: len(theirs) - len(ours) + 1]
    best = int(np.abs(found).argmax())
    return best, abs(float(found[best]))
