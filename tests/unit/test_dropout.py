"""decide/dropout: stretches that are loud in one of two sounds and lack in the other."""

from __future__ import annotations

import numpy as np
import pytest

from comparing import Floats, db, floor, scene
from takehold.decide.dropout import Dropout, Sliding
from takehold.decide.likeness import LOSSY, Held

RATE = 48_000
FRAMES = 4 * RATE


def heard(ours: Floats, theirs: Floats, piece: int = RATE, rate: int = RATE) -> int | None:
    """What is said of both, fed in pieces."""
    found = Dropout(rate)
    for begin in range(0, len(ours), piece):
        found.take(begin, ours[begin : begin + piece], theirs[begin : begin + piece])
    return found.first


def muted(row: Floats, begin: float, length: float, rate: int = RATE) -> Floats:
    """With a stretch of silence, in seconds."""
    made = row.copy()
    made[int(begin * rate) : int((begin + length) * rate)] = 0
    return made


@pytest.mark.parametrize("piece", [997, 2_047, 24_000, RATE, FRAMES])
@pytest.mark.parametrize("begin", [0.0, 0.5, 1.23, 1.7777, 3.6])
def test_a_stretch_that_lacks_is_found_wherever_it_lies(begin: float, piece: int) -> None:
    """In theirs and in ours; it is told where it begins, give or take a block of 0.05 s."""
    whole = floor(FRAMES, 1, -40)
    for pair in ((whole, muted(whole, begin, 0.4)), (muted(whole, begin, 0.4), whole)):
        first = heard(*pair, piece)
        assert first is not None
        assert abs(first - begin * RATE) <= 0.05 * RATE


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_half_a_second_is_found_at_any_rate(rate: int) -> None:
    whole = floor(2 * rate, 1, -40)
    assert heard(whole, muted(whole, 0.77, 0.5, rate), rate=rate) is not None


def test_a_blink_is_not_told() -> None:
    """What is as short as a coding might leave out."""
    whole = floor(FRAMES, 1, -40)
    assert heard(whole, muted(whole, 1.0, 0.1)) is None


def test_what_is_quiet_may_be_coded_as_silence() -> None:
    """Below -70 dB nothing is told by the level; at -65 dB it is."""
    for level, told in ((-75.0, False), (-65.0, True)):
        whole = floor(FRAMES, 1, level)
        assert (heard(whole, muted(whole, 1.0, 1.0)) is not None) == told


def test_another_level_alone_is_no_dropout() -> None:
    """17 dB: what a coding and a mix take off together at most."""
    whole = floor(FRAMES, 1, -40)
    assert heard(whole, whole * db(-17)) is None
    assert heard(whole * db(-17), whole) is None


def test_an_echo_before_what_is_loud_is_none() -> None:
    """A coding may put one into silence, as long as what it takes together."""
    ours, theirs = np.zeros(FRAMES), np.zeros(FRAMES)
    ours[2 * RATE :] = theirs[2 * RATE :] = floor(2 * RATE, 1, -12)
    theirs[2 * RATE - 1_663 : 2 * RATE] = floor(1_663, 2, -40)
    for piece in (997, RATE, RATE + 311):
        assert heard(ours, theirs, piece) is None


def test_frames_that_were_left_out_are_no_silence() -> None:
    """Blocks known to be the same are not taken."""
    whole = scene(FRAMES, 1, -24)
    held = Held(LOSSY, RATE)
    for begin in range(0, FRAMES, 2 * RATE):
        held.take(begin, whole[begin : begin + RATE], whole[begin : begin + RATE])
    held.end()
    assert held.first is None


@pytest.mark.parametrize("piece", [7, 10, 33, 100])
def test_windows_follow_each_other_and_stop_at_a_hole(piece: int) -> None:
    """Each frame of both is in as many windows as lie over it."""
    slides, both = Sliding(20, 10), np.arange(200.0)
    found = []
    for base in (0, 1_000):
        for begin in range(0, 100, piece):
            end = min(begin + piece, 100)
            taken = slides.take(base + begin, both[begin:end], -both[begin:end])
            found += [(at - base, tuple(ours), tuple(-theirs)) for at, ours, theirs in taken]
    wanted = [(at, *(2 * (tuple(range(at, at + 20)),))) for at in range(0, 90, 10)]
    assert found == wanted * 2


@pytest.mark.parametrize("length", [0.5, 0.6])
def test_half_a_second_of_another_take_is_found(length: float) -> None:
    """Of one level, so that nothing but the sound itself tells."""
    ours, other = scene(2 * FRAMES, 1, -24), scene(2 * FRAMES, 77, -24)
    found = 0
    places = range(RATE, 2 * FRAMES - RATE, RATE // 3)
    for begin in places:
        theirs, end = ours.copy(), begin + int(length * RATE)
        theirs[begin:end] = other[begin:end]
        held = Held(LOSSY, RATE)
        held.take(0, ours, theirs)
        held.end()
        found += held.first is not None
    assert found >= 0.9 * len(places)
