"""Are two channels one sound? Measures on their samples, with the thresholds that decide.

Samples are rows of numpy: int32, left-justified, or floats with full scale 1.0. A *step* is the
distance of two neighbouring values of the coarser row: 2**-15 for 16 bits, 2**-23 for 24 bits.

How far two codings of one sound lie apart at most, in steps: truncation less than 1, rounding
1/2, triangular dither adds up to 1 to either: 2 in all. Noise-shaped dither moves the error to
where it is heard least and makes it larger; it is taken for one only where the sound agrees
besides. docs/matching.md derives the thresholds and shows what was measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from takehold.decide.bands import Bands
from takehold.decide.dropout import Dropout, Sliding
from takehold.decide.phase import Phase

Array = NDArray[Any]

# Of the samples that are not zero in both, so many are equal in one sound: two takes of noise
# share a value now and then, less than 1 in 4 even where it is only -1, 0 or 1.
EQUAL_SHARE = 0.5
STEPS, SHAPED_STEPS = 2.0, 64.0
# A window may hold a damaged place and be of one sound all the same.
WITHIN_SHARE = 0.99
# How far a lossy copy agrees with its original (decide/phase), and each loud half second of it.
ALIKE, ALIKE_FOR_A_WHILE = 0.2, 0.1
# Level of a lossy copy against its original. An encoder drops some and hardly adds any; a track in
# the centre of a stereo mix is 3 to 6 dB lower there (common practice, no source).
QUIETEST_DB, LOUDEST_DB = -7.0, 2.0
# What an encoder may add or leave out at an end: two frames of MPEG-1 Layer III (ISO/IEC 11172-3).
EDGE = 2 * 1152

_FEWEST_SAMPLES = 32
# A half second is judged on its own unless it is 20 dB quieter than the whole.
_LOUD = 1e-2
# A tone may drown, for a while, what tells two takes apart: plain correlation of 0.9, squared.
_TONE = 0.81
# A mean square of -100 dB: nothing that a lossy coding would have to keep.
_SILENCE = 1e-10
_GRIDS = tuple(2.0 ** (1 - bits) for bits in (16, 20, 24))
_FINEST = 2.0**-31
_FEW = 64


@dataclass(frozen=True, slots=True)
class Manner:
    """How a copy is held against its original.

    Sample by sample, at most `steps` of `step` apart; or in bands, where the coding is `lossy`.
    """

    steps: float = 0.0
    step: float = _FINEST
    lossy: bool = False


EXACT, LOSSY = Manner(), Manner(lossy=True)


@dataclass(frozen=True, slots=True)
class Alike:
    """Two windows are one sound. Of several, the copy is that with the greatest `rank`.

    Rank 2 and more is for what is the same, 1 with the agreement for what is like it.
    """

    manner: Manner
    rank: tuple[int, float]

    def near(self, best: Alike) -> bool:
        """Whether it is about as much alike as the best one is; of what is equal, just as much."""
        if self.manner == EXACT:
            return self.rank == best.rank
        if self.rank[0] != 1 or best.rank[0] != 1:
            return self.rank[0] == best.rank[0]
        return 1 - self.rank[1] <= 2 * (1 - best.rank[1]) + 1e-3


def doubles(row: Array) -> Array:
    """Samples as binary64 with full scale 1.0, without loss."""
    wide: Array = row.astype("f8")
    return wide * _FINEST if row.dtype.kind == "i" else wide


def unequal(ours: Array, theirs: Array) -> Array:
    """Where two rows differ; a value that is no number equals another such."""
    if ours.dtype != theirs.dtype:
        ours, theirs = doubles(ours), doubles(theirs)
    differ: Array = ours != theirs
    if ours.dtype.kind == "f" and differ.any():
        differ &= ~(np.isnan(ours) & np.isnan(theirs))
    return differ


def by_depth(bits: int, other_bits: int) -> Manner:
    """The manner for two of which nothing is known but their bit depths."""
    if bits == other_bits:
        return EXACT
    return Manner(STEPS, 2.0 ** (1 - min(bits, other_bits)))


def alike(ours: Array, theirs: Array, rate: int, *, lossy: bool) -> Alike | None:
    """How two aligned windows of one length are one sound, None where that does not show.

    `lossy` says that one of the two comes from a lossy coding.
    """
    sounding = int(np.count_nonzero((ours != 0) | (theirs != 0)))
    if not sounding or sounding < min(_FEWEST_SAMPLES, len(ours)):
        return None
    share = 1 - int(np.count_nonzero(unequal(ours, theirs))) / sounding
    if share >= EQUAL_SHARE:
        return Alike(EXACT, (3, share))
    return _nearly(_numbers(ours), _numbers(theirs), rate, lossy=lossy)


def _nearly(ours: Array, theirs: Array, rate: int, *, lossy: bool) -> Alike | None:
    steps = _step(ours), _step(theirs)
    step, depths_differ = max(steps), steps[0] != steps[1]
    apart = np.abs(_clipped(ours, step) - theirs)
    if not lossy:
        # Zeros in both, which are not apart, are no evidence.
        most = (1 - WITHIN_SHARE) * np.count_nonzero((ours != 0) | (theirs != 0))
        if not depths_differ or np.count_nonzero(apart > SHAPED_STEPS * step) > most:
            return None
        if _rms(ours) >= step and np.count_nonzero(apart > STEPS * step) <= most:
            return Alike(Manner(STEPS, step), (2, -_rms(apart)))
        if step < _GRIDS[0]:
            return None
    held = Held(LOSSY, rate)
    held.take(0, ours, theirs)
    if held.strange or not held.power or held.correlation is None:
        return None
    return Alike(LOSSY if lossy else Manner(SHAPED_STEPS, step), (1, held.correlation or 0.0))


class Held:
    """A channel of ours and one of theirs, held against each other from the first frame on.

    `first` is the first frame, in ours, that differs. `power` is the sum of the squares of ours,
    0.0 where they are held against each other exactly. `unshown`: a lossy copy has much in common
    with ours, and may be of another take all the same (decide/bands), or is too short to show
    anything; known at the end.
    """

    def __init__(self, manner: Manner, rate: int) -> None:
        self.manner = manner
        self.first: int | None = None
        self.power = 0.0
        self.unshown = False
        self._apart = self._other = self._product = 0.0
        self._frames = 0
        self._phase = Phase(rate)
        self._rate = rate
        self._whiles = Sliding(rate // 2, rate // 4)
        self._dropout = Dropout(rate)
        self._bands = Bands(rate)
        self._odd: list[tuple[int, float]] = []

    @property
    def settled(self) -> bool:
        """Whether nothing that comes can change what it says."""
        return self.first is not None and self.manner == EXACT

    def take(self, frame: int, ours: Array, theirs: Array) -> None:
        """The frames from number `frame` on, of both, in order; some may be left out."""
        if self.manner == EXACT:
            self._note(frame, unequal(ours, theirs))
            return
        mine, other = _numbers(ours), _numbers(theirs)
        if not self.manner.lossy:
            mine = _clipped(mine, self.manner.step)
            self._note(frame, np.abs(mine - other) > self.manner.steps * self.manner.step)
        power, others = float(np.sum(mine**2)), float(np.sum(other**2))
        product = float(np.sum(mine * other))
        if self.manner.lossy:
            self._phase.take(mine, other)
            self._dropout.take(frame, mine, other)
            self._bands.take(frame, mine, other)
            for begin, *both in self._whiles.take(frame, mine, other):
                self._listen(begin, *both)
        self._apart += float(np.sum((mine - other) ** 2))
        self._product += product
        self.power += power
        self._other += others
        self._frames += len(mine)

    def end(self) -> None:
        """All was taken: which part of a lossy copy differs is known only against the whole."""
        mean = self.power / self._frames if self._frames else 0.0
        least = max(_LOUD * mean, _SILENCE)
        found = [frame for frame, power in self._odd if power >= least]
        found += [self._dropout.first] if self._dropout.first is not None else []
        self.first = min(found, default=self.first)
        too_short = self.manner.lossy and self._phase.agreement is None
        self.unshown = (too_short and not self._is_silent) or self._bands.other_sound()

    @property
    def apart(self) -> float:
        """The sum of the squares of ours less theirs; a lossy copy is brought to one level."""
        if not self.manner.lossy or not self._other:
            return self._apart
        return max(self.power - self._product**2 / self._other, 0.0)

    @property
    def correlation(self) -> float | None:
        """Of the aligned samples; of a lossy copy its agreement. None where nothing was taken."""
        if self.manner.lossy:
            return self._phase.agreement
        norm = math.sqrt(self.power * self._other)
        return self._product / norm if norm else None

    @property
    def strange(self) -> bool:
        """Whether a lossy copy, taken as a whole, is not one of this sound."""
        alike = self._phase.agreement
        if not self.manner.lossy or self._is_silent or alike is None:
            return False
        return alike < ALIKE or not QUIETEST_DB <= self._phase.gain_db <= LOUDEST_DB

    @property
    def _is_silent(self) -> bool:
        return max(self.power, self._other) <= _SILENCE * self._frames

    def _listen(self, frame: int, ours: Array, theirs: Array) -> None:
        """Keep a half second that does not agree, if it is louder than those before it."""
        power, others = float(np.mean(ours**2)), float(np.mean(theirs**2))
        loudest = max(power, others)
        if self._odd and loudest <= self._odd[-1][1]:
            return
        product = float(np.mean(ours * theirs))
        tone = product > 0 and product**2 >= _TONE * power * others
        agreement = Phase(self._rate).take(ours, theirs)
        if agreement is not None and agreement < ALIKE_FOR_A_WHILE and not tone:
            self._odd.append((frame, loudest))

    def _note(self, frame: int, differ: Array) -> None:
        if self.first is None and differ.any():
            self.first = frame + int(differ.argmax())


def residual_db(held: list[Held]) -> float | None:
    """The level of ours less theirs against that of ours, over all channels; None if exact."""
    apart, power = sum(h.apart for h in held), sum(h.power for h in held)
    return 10 * math.log10(apart / power) if apart and power else None


def _numbers(row: Array) -> Array:
    """As doubles, 0 where a float is no number or infinite."""
    wide = doubles(row)
    return np.nan_to_num(wide, nan=0.0, posinf=0.0, neginf=0.0) if row.dtype.kind == "f" else wide


def _clipped(row: Array, step: float) -> Array:
    """As integers hold it: floats may go beyond full scale."""
    clipped: Array = np.clip(row, -1.0, 1.0 - step)
    return clipped


def _step(row: Array) -> float:
    """Of the coarsest grid, of 16, 20 or 24 bits, that all samples lie on."""
    few = row[row != 0][:_FEW]  # most grids are ruled out by a few samples
    return next((s for s in _GRIDS if _on_grid(few, s) and _on_grid(row, s)), _FINEST)


def _on_grid(row: Array, step: float) -> bool:
    counts = row * (1 / step)
    return bool(np.array_equal(counts, np.rint(counts)))


def _rms(row: Array) -> float:
    return math.sqrt(float(np.mean(row**2))) if len(row) else 0.0
