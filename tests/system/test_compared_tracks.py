"""Which track is which, on real files: tracks that one side lacks, and that begin alike."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from comparing import RATE, Sides, blocks_known, floor, scene, two_sides, wave  # noqa: F401
from takehold.model.finding import Relation

SECONDS = 6
FRAMES = SECONDS * RATE
BEGIN = 10 * 3_600 * RATE
CUT = 3 * RATE + 12_345
Ints = NDArray[np.int32]


@pytest.fixture(scope="module")
def audio() -> Ints:
    """Mix, boom and a wireless; 24 bits."""
    rows = [scene(FRAMES, 1), scene(FRAMES, 11, -36), floor(FRAMES, 21, -60)]
    return np.rint(np.stack(rows, axis=1) * 2**23).astype("<i4")


def split(audio: Ints) -> list[bytes]:
    """In two files, cut where no block ends."""
    return [wave(audio[:CUT], begin=BEGIN), wave(audio[CUT:], begin=BEGIN + CUT)]


def test_tracks_that_theirs_has_beyond_ours_are_told(
    sides: Sides, audio: Ints, known: bool
) -> None:
    """Split elsewhere, and in 16 bits: the primary recorded the boom alone."""
    ours = [wave(audio[:, 1:2], begin=BEGIN)]
    found = sides.compare(ours, split(audio), blocks=known)
    assert (found.relation, found.theirs_alone) == (Relation.OTHER_LAYOUT, (1, 3))
    coarse = [wave(audio >> 8, 16, begin=BEGIN)]
    found = sides.compare(ours, coarse, blocks=known)
    assert (found.relation, found.theirs_alone) == (Relation.REDUCED, (1, 3))


def test_a_track_that_had_16_bits_before_says_nothing_of_the_others(
    sides: Sides, audio: Ints, known: bool
) -> None:
    """As a tone from a file: in a backup of 16 bits it is the same, the others are reduced."""
    ours = audio.copy()
    ours[:, 2] &= ~0xFF
    less = ours >> 8
    found = sides.compare([wave(ours, begin=BEGIN)], [wave(less, 16, BEGIN)], blocks=known)
    assert (found.relation, found.channels) == (Relation.REDUCED, ())
    assert found.residual_db is not None
    assert found.residual_db < -50
    order = [wave(less[:, n], 16, BEGIN) for n in (2, 1, 0)]
    found = sides.compare([wave(ours, begin=BEGIN)], order, blocks=known)
    assert (found.relation, found.channels) == (Relation.REDUCED, ())
    less[99_999, 1] += 6
    found = sides.compare([wave(ours, begin=BEGIN)], [wave(less, 16, BEGIN)], blocks=known)
    assert (found.relation, found.frame, found.channels) == (Relation.DIFFERENT, 99_999, (2,))


def test_silent_and_idle_tracks_beyond_ours_are_not_told(
    sides: Sides, audio: Ints, known: bool
) -> None:
    """Where the inputs were never used; one stands at its last bit."""
    theirs = audio.copy()
    theirs[:, 1], theirs[:, 2] = 0, 1
    found = sides.compare([wave(audio[:, :1], begin=BEGIN)], split(theirs), blocks=known)
    assert (found.relation, found.theirs_alone) == (Relation.OTHER_LAYOUT, ())


def test_a_track_that_is_as_another_for_a_while_is_not_that_one(sides: Sides, audio: Ints) -> None:
    """Mix and boom are the same for three seconds; the backup has the mix only, split elsewhere."""
    ours = audio.copy()
    ours[: 3 * RATE, 1] = ours[: 3 * RATE, 0]
    found = sides.compare([wave(ours, begin=BEGIN)], split(ours[:, :1]))
    assert (found.relation, found.channels) == (Relation.REDUCED, (2, 3))


def test_a_track_of_theirs_that_is_as_another_for_a_while_is_told(
    sides: Sides, audio: Ints
) -> None:
    """The same the other way round: the primary has the mix only."""
    theirs = audio.copy()
    theirs[: 3 * RATE, 1] = theirs[: 3 * RATE, 0]
    found = sides.compare([wave(theirs[:, :1], begin=BEGIN)], split(theirs))
    assert (found.relation, found.theirs_alone) == (Relation.OTHER_LAYOUT, (2, 3))


def test_idle_beginnings_say_nothing_of_which_track_it_is(sides: Sides, audio: Ints) -> None:
    """Two inputs stand at one value for two seconds; the backup has one of them."""
    ours = audio.copy()
    ours[: 2 * RATE, 1:] = 1
    found = sides.compare([wave(ours, begin=BEGIN)], split(ours[:, 2:]))
    assert (found.relation, found.channels) == (Relation.REDUCED, (1, 2))


def test_two_tracks_that_are_the_same_throughout_need_one_backup(
    sides: Sides, audio: Ints, known: bool
) -> None:
    """A mono mix on both sides, of which the backup has one."""
    ours = audio[:, [0, 0, 1]]
    found = sides.compare([wave(ours, begin=BEGIN)], split(audio[:, :2]), blocks=known)
    assert (found.relation, found.channels, found.theirs_alone) == (Relation.OTHER_LAYOUT, (), ())


def test_of_two_tracks_that_were_the_same_the_wrong_one_is_told(sides: Sides, audio: Ints) -> None:
    """Mix and boom are the same but for the last second; one sample of theirs is another."""
    ours = audio.copy()
    ours[: 5 * RATE, 1] = ours[: 5 * RATE, 0]
    theirs = ours.copy()
    theirs[2 * RATE + 9, 1] ^= 1 << 9
    found = sides.compare([wave(ours, begin=BEGIN)], split(theirs))
    assert (found.relation, found.frame, found.channels) == (
        Relation.DIFFERENT,
        2 * RATE + 9,
        (2,),
    )


def test_a_tone_is_known_by_ear(sides: Sides, known: bool) -> None:
    """All blocks of 1 kHz are the same: they say nothing, and the samples do."""
    tone = np.rint(np.sin(2 * np.pi * 1_000 / RATE * np.arange(FRAMES)) * 2**20).astype("<i4")
    ours = [wave(tone, begin=BEGIN)]
    assert sides.compare(ours, split(tone[:, None]), blocks=known).relation is (
        Relation.OTHER_LAYOUT
    )
    other = tone.copy()
    other[4 * RATE + 5] += 1
    found = sides.compare(ours, split(other[:, None]), blocks=known)
    assert (found.relation, found.frame) == (Relation.DIFFERENT, 4 * RATE + 5)


@pytest.mark.parametrize("side", [0, 1])
def test_of_two_tracks_with_the_same_samples_one_sample_that_differs_is_told(
    sides: Sides, audio: Ints, known: bool, side: int
) -> None:
    """The only block that both files have in common is the one it lies in."""
    ours = np.stack([audio[:RATE, 1], audio[:RATE, 0], audio[:RATE, 0]], axis=1)
    pair = [ours, ours.copy()]
    at, begin = RATE - 9_999, BEGIN + RATE // 2
    pair[side][at, 2] ^= 1
    parts = [wave(pair[0][:9_000], begin=begin), wave(pair[0][9_000:], begin=begin + 9_000)]
    found = sides.compare(parts, [wave(pair[1], begin=begin)], blocks=known)
    assert (found.relation, found.frame, found.channels) == (Relation.DIFFERENT, at, (3,))
    assert found.theirs_alone == ()


@pytest.mark.parametrize("mine", [False, True])
def test_one_of_two_equal_tracks_may_have_gone_wrong_on_either_side(
    sides: Sides, audio: Ints, known: bool, mine: bool
) -> None:
    """As a mono mix on two tracks; the boom is in none of them."""
    twins = audio[:, [0, 1, 1]]
    damaged = twins.copy()
    damaged[99_999, 2] ^= 1
    both = [[wave(rows, begin=BEGIN)] for rows in (twins, damaged)]
    ours, theirs = reversed(both) if mine else both
    found = sides.compare(ours, theirs, blocks=known)
    assert (found.relation, found.frame, found.channels) == (Relation.DIFFERENT, 99_999, (3,))


def test_another_track_in_place_of_one_of_two_equal_ones_is_told(
    sides: Sides, audio: Ints, known: bool
) -> None:
    """The samples of all tracks are there, and the payload is another."""
    ours, theirs = audio[:, [0, 1, 1]], audio[:, [0, 1, 2]]
    found = sides.compare([wave(ours, begin=BEGIN)], [wave(theirs, begin=BEGIN)], blocks=known)
    assert (found.relation, found.theirs_alone) == (Relation.OTHER_LAYOUT, (3,))


def test_a_mix_on_both_sides_of_a_stereo_file_holds_no_other_track(
    sides: Sides, audio: Ints, known: bool
) -> None:
    stereo = [wave(audio[:, [0, 0]], begin=BEGIN)]
    found = sides.compare([wave(audio, begin=BEGIN)], stereo, blocks=known)
    assert (found.relation, found.channels) == (Relation.REDUCED, (2, 3))
