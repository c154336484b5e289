"""decide/likeness, phase and pairing: what makes two rows of samples one sound."""

from __future__ import annotations

import math

import numpy as np
import pytest

from comparing import Floats, db, floor, hum, scene
from takehold.decide.likeness import EXACT, LOSSY, Alike, Held, Manner, alike, by_depth
from takehold.decide.pairing import Tally, other_tracks, pairs, verdict
from takehold.decide.phase import Phase, lag
from takehold.model.finding import Relation

RATE = 48_000
FRAMES = 1 << 17
LSB_16 = 2.0**-15


def on_grid(row: Floats, bits: int = 24) -> Floats:
    """Rounded to so many bits."""
    return np.rint(row * 2 ** (bits - 1)) / 2 ** (bits - 1)


def reduced(row: Floats, way: str, seed: int = 5) -> Floats:
    """To 16 bits, as the textbooks have it; dither is the sum of two even ones, 1 LSB each."""
    rng = np.random.default_rng(seed)
    triangular = rng.random(len(row)) - rng.random(len(row))
    counts = {
        "truncated": np.floor(row / LSB_16),
        "rounded": np.rint(row / LSB_16),
        "dithered": np.rint(row / LSB_16 + triangular),
        "dithered and truncated": np.floor(row / LSB_16 + triangular),
    }[way]
    return counts * LSB_16


# Mean squares of the error in LSB: even over 1 LSB is 1/12, with a mean of 1/2 it is 1/3, and
# triangular dither adds 1/6 (textbook values; from memory).
WAYS = {"truncated": 1 / 3, "rounded": 1 / 12, "dithered": 1 / 4, "dithered and truncated": 1 / 2}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("level", [-20.0, -40.0, -60.0])
def test_less_depth_stays_within_two_steps(way: str, level: float) -> None:
    """Every sample of it, and what is left has the power that theory says."""
    ours = on_grid(scene(FRAMES, 1, level))
    theirs = reduced(ours, way)
    found = alike(ours, theirs, RATE, lossy=False)
    assert found is not None
    assert found.manner == Manner(2.0, LSB_16)
    held = Held(found.manner, RATE)
    held.take(0, ours, theirs)
    assert held.first is None
    assert held.apart / FRAMES == pytest.approx(WAYS[way] * LSB_16**2, rel=0.03)


@pytest.mark.parametrize("way", WAYS)
def test_another_take_is_beyond_two_steps_however_quiet(way: str) -> None:
    """Two takes of one place at one level, down to -75 dB."""
    for level in (-30.0, -50.0, -75.0):
        ours = on_grid(floor(FRAMES, 1, level))
        theirs = reduced(on_grid(floor(FRAMES, 2, level)), way)
        assert alike(ours, theirs, RATE, lossy=False) is None


def test_one_damaged_place_does_not_hide_what_it_is() -> None:
    """Whether equal or reduced; and it is found to the frame."""
    ours = on_grid(scene(FRAMES, 1))
    for theirs, least in ((ours.copy(), 2.0**-23), (reduced(ours, "truncated"), 3 * LSB_16)):
        theirs[70_001] -= least
        found = alike(ours, theirs, RATE, lossy=False)
        assert found is not None
        held = Held(found.manner, RATE)
        held.take(1_000, ours, theirs)
        assert held.first == 71_001


def test_what_is_equal_by_chance_is_no_evidence() -> None:
    """Noise of -1, 0 and 1 meets itself often; silence, always."""
    rng = np.random.default_rng(1)
    ours, theirs = (rng.integers(-1, 2, FRAMES) * LSB_16 for _ in range(2))
    assert alike(ours, theirs, RATE, lossy=False) is None
    assert alike(np.zeros(FRAMES), np.zeros(FRAMES), RATE, lossy=False) is None


def test_zeros_in_both_are_no_evidence() -> None:
    """Two tracks that are silent but for a moment, each of another one, are no one sound."""
    ours, theirs = np.zeros(FRAMES), np.zeros(FRAMES)
    ours[1_000:1_040] = on_grid(floor(40, 1, -20.0))
    theirs[1_500:1_540] = reduced(on_grid(floor(40, 2, -20.0)), "truncated")
    assert alike(ours, theirs, RATE, lossy=False) is None
    own = reduced(ours, "truncated")
    assert alike(ours, own, RATE, lossy=False) is not None


def test_floats_beyond_full_scale_are_clipped_in_integers() -> None:
    """A 32-bit float recording went over; its 24-bit backup could not."""
    ours = scene(FRAMES, 1, 6.0).astype("f4").astype("f8")
    theirs = np.clip(np.floor(ours * 2**23) / 2**23, -1, 1 - 2.0**-23)
    assert np.abs(ours).max() > 1
    found = alike(ours, theirs, RATE, lossy=False)
    assert found is not None
    assert found.manner == Manner(2.0, 2.0**-23)


def test_depth_alone_says_how_two_are_held() -> None:
    """Where nothing else is known."""
    assert by_depth(24, 24) == EXACT
    assert by_depth(24, 16) == by_depth(16, 24) == Manner(2.0, LSB_16)


def test_what_is_no_number_equals_itself() -> None:
    """A float file may hold such values; its copy is still the same."""
    ours = scene(4_096, 1).astype("f4")
    ours[10], ours[11] = np.nan, np.inf
    held = Held(EXACT, RATE)
    held.take(0, ours, ours.copy())
    assert held.first is None
    other = ours.copy()
    other[10] = 0
    held.take(0, ours, other)
    assert held.first == 10


@pytest.mark.parametrize("shift", [0, 1, 1_105, 60_000, 131_072])
def test_the_shift_between_two_is_found_in_spite_of_hum(shift: int) -> None:
    """Hum 40 dB above the rest is periodic and would be found everywhere."""
    whole = floor(3 * FRAMES, 3, -60) + hum(3 * FRAMES, -20)
    theirs = floor(3 * FRAMES, 3, -60) + hum(3 * FRAMES + 137, -20)[137:]
    found, _ = lag(whole[shift : shift + FRAMES], theirs, RATE)
    assert found == shift


@pytest.mark.parametrize("shift", [0, 1_105, 60_000])
def test_inverted_polarity_is_found_where_it_lies(shift: int) -> None:
    """Half a period beside it the two would be a little alike."""
    whole = scene(3 * FRAMES, 3)
    found, _ = lag(whole[shift : shift + FRAMES], -whole, RATE)
    assert found == shift


def test_two_takes_agree_in_hum_alone_and_that_does_not_count() -> None:
    """The same hum, 25 dB above two different floors: correlation near 1, agreement near 0."""
    ours, theirs = (floor(FRAMES, n, -65) + hum(FRAMES, -40) for n in (1, 2))
    phase = Phase(RATE)
    phase.take(ours, theirs)
    assert np.corrcoef(ours, theirs)[0, 1] > 0.9
    assert phase.agreement is not None
    assert phase.agreement < 0.05
    assert alike(ours, theirs, RATE, lossy=True) is None


def test_agreement_of_two_takes_is_within_its_spread() -> None:
    """The mean of n cosines of random angles spreads by the root of 1/2n; windowing doubles n."""
    spread = math.sqrt(2 / (2 * FRAMES * 4_800 / RATE))
    for seed in range(20):
        rng = np.random.default_rng(seed)
        phase = Phase(RATE)
        phase.take(*rng.standard_normal((2, FRAMES)))
        assert phase.agreement is not None
        assert abs(phase.agreement) < 5 * spread


def test_a_lossy_copy_that_parts_from_ours_says_from_where() -> None:
    """Its first loud half second that does not agree; quiet ones may be coded as silence."""
    ours = scene(10 * RATE, 1)
    theirs = ours + floor(10 * RATE, 9, -55)
    theirs[6 * RATE :] = scene(4 * RATE, 77)
    held = Held(LOSSY, RATE)
    for begin in range(0, 10 * RATE, RATE):
        held.take(begin, ours[begin : begin + RATE], theirs[begin : begin + RATE])
    held.end()
    assert held.first == pytest.approx(6 * RATE, abs=RATE // 2)


def test_of_what_is_too_short_for_a_phase_nothing_is_shown() -> None:
    """A take of 0.03 s and its MP3: neither the same sound nor another; of silence as ever."""
    ours = scene(FRAMES, 1)[20_000:21_440]
    for mine, theirs, unshown in ((ours, ours * 0.9, True), (ours * 0, ours * 0, False)):
        held = Held(LOSSY, RATE)
        held.take(0, mine, theirs)
        held.end()
        assert (held.first, held.strange, held.unshown) == (None, False, unshown)
    assert alike(ours, ours * 0.9, RATE, lossy=True) is None


def test_a_lossy_copy_at_another_level_is_not_one() -> None:
    """But for the 3 or 6 dB that a track in the centre of a mix is lower there."""
    ours = scene(FRAMES, 1)
    assert alike(ours, ours * db(-3) + floor(FRAMES, 9, -70), RATE, lossy=True)
    assert alike(ours, ours * db(-6) + floor(FRAMES, 9, -70), RATE, lossy=True)
    assert alike(ours, ours * db(-12) + floor(FRAMES, 9, -80), RATE, lossy=True) is None
    assert alike(ours, ours * db(4), RATE, lossy=True) is None
    assert alike(ours, -ours + floor(FRAMES, 9, -70), RATE, lossy=True) is None


def like(kind: int, value: float) -> Alike:
    return Alike(EXACT if kind > 2 else LOSSY, (kind, value))


def test_a_mix_is_paired_with_the_mix_and_not_with_what_is_in_it() -> None:
    """Both sides of a two-track MP3 hold the mix; the iso that it resembles has no counterpart."""
    likes = {(0, 0): like(1, 0.98), (0, 1): like(1, 0.979), (1, 0): like(1, 0.7)}
    likes[1, 1] = like(1, 0.71)
    assert pairs(likes, 3, 2, LOSSY) == {0: (0, LOSSY)}


def test_two_equal_tracks_of_ours_need_one_of_theirs() -> None:
    """They are one sound, bit for bit."""
    likes = {(0, 0): like(3, 1.0), (1, 0): like(3, 1.0)}
    assert pairs(likes, 2, 1, EXACT) == {0: (0, EXACT), 1: (0, EXACT)}


def test_what_is_left_is_not_taken_for_one_that_tells_another_track() -> None:
    """By number and name: each card of a set may have lost another one. A name may be corrected."""
    ours, theirs = [(1, "mix"), (2, "boom"), None], [(1, "mix"), (3, "keeper"), None]
    apart = other_tracks(ours, theirs)
    assert apart == {(0, 1), (1, 0), (1, 1)}
    assert pairs({(0, 0): like(4, 9)}, 2, 2, EXACT, apart) == {0: (0, EXACT)}
    assert other_tracks([(2, "boom")], [(2, "boom 1"), (1, "boom")]) == set()
    assert pairs({}, 3, 3, EXACT, {(0, 0)}) == {1: (1, EXACT), 2: (2, EXACT)}
    assert pairs({}, 2, 2, EXACT, {(0, 0), (1, 1)}) == {0: (1, EXACT), 1: (0, EXACT)}


def test_both_sides_of_an_mp3_of_one_mix_are_that_mix() -> None:
    """They are like each track of theirs to the last figure; a mix resembles its tracks besides."""
    for mix in (0, 1, 2):
        likes = {(n, o): like(1, 0.98 if o == mix else 0.7) for n in (0, 1) for o in range(3)}
        assert pairs(likes, 2, 3, LOSSY) == {0: (mix, LOSSY), 1: (mix, LOSSY)}
    likes[1, 1], likes[1, 2] = like(1, 0.75), like(1, 0.72)  # its right side is something else
    assert pairs(likes, 2, 3, LOSSY) == {0: (2, LOSSY), 1: (1, LOSSY)}


def test_a_track_that_is_like_none_is_held_against_the_one_that_is_left() -> None:
    """Track 2 went wrong on the backup: it stands at its own number, or where one is left."""
    likes = {(0, 0): like(3, 1.0), (2, 2): like(3, 1.0)}
    assert pairs(likes, 3, 3, EXACT)[1] == (1, EXACT)
    likes = {(0, 2): like(3, 1.0), (2, 0): like(3, 1.0)}
    assert pairs(likes, 4, 3, EXACT) == {0: (2, EXACT), 2: (0, EXACT), 1: (1, EXACT)}
    assert pairs({}, 2, 2, EXACT) == {0: (0, EXACT), 1: (1, EXACT)}


def test_the_worst_is_said() -> None:
    """Different, then short, longer, reduced, the same; what is cut has its lone channels too."""

    def said(tally: Tally) -> Relation:
        return verdict(tally, (1,), (2,), 0, 0, one_layout=True).relation

    wrong, right = Held(EXACT, RATE), Held(EXACT, RATE)
    wrong.take(0, np.ones(1), np.zeros(1))
    tally = Tally({0: wrong}, {0: [(5, 9)]}, [(9, 11)], {1})
    assert said(tally) is Relation.DIFFERENT
    tally.held[0] = right
    assert said(tally) is Relation.SHORT
    found = verdict(tally, (1,), (2,), 0, 0, one_layout=True)
    assert (found.channels, found.alone) == ((1,), (2,))
    tally.missing.clear()
    assert said(tally) is Relation.LONGER
    assert verdict(tally, (1,), (2,), 0, 0, one_layout=True).alone == (2,)
    tally.further.clear()
    assert said(tally) is Relation.REDUCED
    tally.alone.clear()
    assert said(tally) is Relation.SAME_AUDIO


def test_where_a_channel_differs_throughout_no_frame_is_the_first() -> None:
    """Else what lies before the frame in which another begins to differ would be the same."""
    strange, later = Held(LOSSY, RATE), Held(EXACT, RATE)
    strange.take(0, floor(20_000, 1, -30), floor(20_000, 2, -30))
    later.take(700, np.ones(1), np.zeros(1))
    assert (strange.first, strange.strange) == (None, True)
    found = verdict(Tally({0: strange, 1: later}), (1,), (2,), 0, 0, one_layout=True)
    assert (found.relation, found.frame, found.channels) == (Relation.DIFFERENT, None, (1, 2))


def test_how_much_longer_a_lower_quality_is() -> None:
    """Within what an encoder pads it is no more than a figure; what is exact has none."""
    ours = floor(RATE, 1, -40)
    lossy, exact = Held(LOSSY, RATE), Held(EXACT, RATE)
    lossy.take(0, ours, ours)
    for missing, further, relation in (
        (0, 0, Relation.REDUCED),
        (1_105, 2_304, Relation.REDUCED),
        (0, 4_609, Relation.LONGER),
        (4_609, 0, Relation.SHORT),
    ):
        stretches = {0: [(0, missing)]}, [(RATE, RATE + further)]
        found = verdict(Tally({0: lossy}, *stretches), (1,), (2,), 0, 0, one_layout=True)
        assert (found.relation, found.duration_difference) == (relation, further - missing)
        same = verdict(Tally({0: exact}, *stretches), (1,), (2,), 0, 0, one_layout=True)
        assert same.duration_difference is None
