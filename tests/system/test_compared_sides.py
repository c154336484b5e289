"""The comparison of samples, on real files through the real disk: layouts, splits, first frames."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from comparing import RATE, Sides, blocks_known, floor, scene, two_sides, wave  # noqa: F401
from takehold.engine.samples import PcmSamples
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation

FRAMES = 6 * RATE + 1_234
BEGIN = 10 * 3_600 * RATE + 777

Ints = NDArray[np.int32]


@pytest.fixture(scope="module")
def audio() -> Ints:
    """Three tracks that sound, the fourth unused; 24 bits."""
    rows = [scene(FRAMES, 1), scene(FRAMES, 11, -36), floor(FRAMES, 21, -60), np.zeros(FRAMES)]
    return np.rint(np.stack(rows, axis=1) * 2**23).astype("<i4")


def poly(audio: Ints) -> list[bytes]:
    return [wave(audio, begin=BEGIN)]


def monos(audio: Ints, *order: int) -> list[bytes]:
    return [wave(audio[:, n], begin=BEGIN) for n in order]


def parts(audio: Ints, *cuts: int, gap: int = 0) -> list[bytes]:
    """Parts whose timecode goes on; `gap` frames are lost at each cut."""
    edges = [0, *cuts, len(audio)]
    begins = [edges[0], *(cut + gap for cut in edges[1:-1])]
    return [
        wave(audio[first:last], begin=BEGIN + first)
        for first, last in zip(begins, edges[1:], strict=True)
    ]


def facts(found: Comparison) -> tuple[Relation, int | None, int | None, tuple[int, ...]]:
    return found.relation, found.frame, found.frames, found.channels


def test_same_samples(sides: Sides, audio: Ints, known: bool) -> None:
    """In one file; with another timecode; as monos in another order without the unused track."""
    other = [wave(audio, begin=BEGIN + 5)]
    found = sides.compare(poly(audio), other, blocks=known)
    assert facts(found) == (Relation.SAME_AUDIO, None, None, ())
    same = sides.compare(poly(audio), poly(audio), blocks=known)
    assert facts(same) == (Relation.SAME_AUDIO, None, None, ())
    found = sides.compare(poly(audio), monos(audio, 2, 0, 1), blocks=known)
    assert facts(found) == (Relation.OTHER_LAYOUT, None, None, ())


def test_split_at_other_places_and_into_monos(sides: Sides, audio: Ints, known: bool) -> None:
    """Both sides in parts, theirs in monos of parts too; nothing is lost at the cuts."""
    theirs = [wave(audio[:100_001, n], begin=BEGIN) for n in (1, 0, 2)]
    theirs += [wave(audio[100_001:, n], begin=BEGIN + 100_001) for n in (1, 0, 2)]
    found = sides.compare(parts(audio, 60_000, 200_000), theirs, blocks=known)
    assert facts(found) == (Relation.OTHER_LAYOUT, None, None, ())


def test_parts_without_timecode_follow_each_other(sides: Sides, audio: Ints, known: bool) -> None:
    """Nothing but the order says where they lie."""
    theirs = [wave(audio[:100_001]), wave(audio[100_001:])]
    found = sides.compare([wave(audio)], theirs, blocks=known)
    assert facts(found) == (Relation.OTHER_LAYOUT, None, None, ())


@pytest.mark.parametrize("frame", [0, 1, 47_222, 47_223, 100_000, 100_001, FRAMES - 1])
def test_one_sample_in_another_layout(sides: Sides, audio: Ints, known: bool, frame: int) -> None:
    """Poly against the parts of monos: the track and the frame, at every edge there is."""
    other = audio.copy()
    other[frame, 1] ^= 1
    theirs = [wave(other[:100_001, n], begin=BEGIN) for n in (1, 0, 2)]
    theirs += [wave(other[100_001:, n], begin=BEGIN + 100_001) for n in (1, 0, 2)]
    found = sides.compare(poly(audio), theirs, blocks=known)
    assert facts(found) == (Relation.DIFFERENT, frame, None, (2,))


def test_all_tracks_that_differ_are_told(sides: Sides, audio: Ints, known: bool) -> None:
    """The first frame of any; a track that died, one that was never there, one that came alive."""
    other = audio.copy()
    other[150_000:, 0] = 0
    other[70_003:, 3] = 9
    found = sides.compare(poly(audio), [wave(other, begin=BEGIN)], blocks=known)
    assert facts(found) == (Relation.DIFFERENT, 70_003, None, (1, 4))


def test_another_take_differs_from_the_start(sides: Sides, audio: Ints, known: bool) -> None:
    """Same timecode, same length, same place, other sound."""
    rows = [scene(FRAMES, 501), scene(FRAMES, 511, -36), floor(FRAMES, 521, -60)]
    other = np.rint(np.stack(rows, axis=1) * 2**23).astype("<i4")
    found = sides.compare([wave(audio[:, :3], begin=BEGIN)], [wave(other, begin=BEGIN)])
    assert found.relation is Relation.DIFFERENT
    assert found.channels == (1, 2, 3)
    assert found.frame is not None
    assert found.frame < 10


def test_short_and_longer(sides: Sides, audio: Ints, known: bool) -> None:
    """A prefix, to the frame; one mono of a set that ends early; the reverse."""
    cut = [wave(audio[:200_001], begin=BEGIN)]
    found = sides.compare(poly(audio), cut, blocks=known)
    assert facts(found) == (Relation.SHORT, 200_001, FRAMES - 200_001, ())
    found = sides.compare(cut, poly(audio), blocks=known)
    assert facts(found) == (Relation.LONGER, None, FRAMES - 200_001, ())
    set_ = monos(audio, 0, 1, 2)
    set_[1] = wave(audio[:200_001, 1], begin=BEGIN)
    found = sides.compare(poly(audio), set_, blocks=known)
    assert facts(found) == (Relation.SHORT, 200_001, FRAMES - 200_001, (2,))
    found = sides.compare(poly(audio), [wave(audio[:0], begin=BEGIN)], blocks=known)
    assert facts(found) == (Relation.SHORT, 0, FRAMES, ())


def test_a_part_or_some_frames_between_parts_are_missing(
    sides: Sides, audio: Ints, known: bool
) -> None:
    """At the cut as TimeReference tells; the first part; and at a start that timecode tells of."""
    found = sides.compare(poly(audio), parts(audio, 100_000, gap=480), blocks=known)
    assert facts(found) == (Relation.SHORT, 100_000, 480, ())
    found = sides.compare(parts(audio, 100_000), parts(audio, 100_000)[1:], blocks=known)
    assert facts(found) == (Relation.SHORT, 0, 100_000, ())
    late = [wave(audio[30_000:])]
    found = sides.compare([wave(audio)], late, blocks=known)
    assert (facts(found), found.offset) == ((Relation.SHORT, 0, 30_000, ()), -30_000)


def test_what_is_missing_is_told_beside_what_differs(
    sides: Sides, audio: Ints, known: bool
) -> None:
    """Every track differs early, and the backup ends early; one mono of it earlier still."""
    other = audio[:, :3] ^ 1
    theirs = [
        wave(other[:end, n], begin=BEGIN) for n, end in enumerate((200_001, 150_003, 200_001))
    ]
    found = sides.compare([wave(audio[:, :3], begin=BEGIN)], theirs, blocks=known)
    assert facts(found) == (Relation.DIFFERENT, 0, None, (1, 2, 3))
    assert found.missing == ((1, 200_001, FRAMES), (2, 150_003, FRAMES), (3, 200_001, FRAMES))


def test_a_mix_alone_names_the_tracks_without_a_backup(
    sides: Sides, audio: Ints, known: bool
) -> None:
    """The unused track needs none."""
    found = sides.compare(poly(audio), monos(audio, 0), blocks=known)
    assert facts(found) == (Relation.REDUCED, None, None, (2, 3))


def test_less_depth_and_a_wrong_sample_in_it(sides: Sides, audio: Ints, known: bool) -> None:
    """16 of 24 bits, cut off; six steps of the 16 bits at one frame are too much."""
    less = audio >> 8
    found = sides.compare(poly(audio), [wave(less, 16, BEGIN)], blocks=known)
    assert facts(found) == (Relation.REDUCED, None, None, ())
    assert found.residual_db is not None
    assert found.residual_db < -50
    less[99_999, 2] += 6
    found = sides.compare(poly(audio), [wave(less, 16, BEGIN)], blocks=known)
    assert facts(found) == (Relation.DIFFERENT, 99_999, None, (3,))


def test_16_bits_that_were_all_there_was_are_the_same(
    sides: Sides, audio: Ints, known: bool
) -> None:
    """A 24-bit file whose lowest bits are zero loses nothing in a 16-bit one."""
    whole = audio >> 8
    found = sides.compare([wave(whole << 8, 24, BEGIN)], [wave(whole, 16, BEGIN)], blocks=known)
    assert facts(found) == (Relation.SAME_AUDIO, None, None, ())


def test_only_what_the_blocks_leave_open_is_read(
    sides: Sides, audio: Ints, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the blocks of both: one second around the frame, and nothing where all agree."""
    frames: list[int] = []
    read = PcmSamples.read

    def counted(self: PcmSamples, start: int, count: int) -> object:
        frames.append(count)
        return read(self, start, count)

    monkeypatch.setattr(PcmSamples, "read", counted)
    assert sides.compare(poly(audio), poly(audio)).relation is Relation.SAME_AUDIO
    assert frames == []
    other = audio.copy()
    other[123_456, 2] ^= 1
    found = sides.compare(poly(audio), [wave(other, begin=BEGIN)])
    assert facts(found) == (Relation.DIFFERENT, 123_456, None, (3,))
    assert sum(frames) == 2 * RATE
    frames.clear()
    assert sides.compare(poly(audio), parts(audio, 100_001)).relation is Relation.OTHER_LAYOUT
    assert sum(frames) == 2 * RATE


def test_other_sample_rates_are_not_held_against_each_other(sides: Sides, audio: Ints) -> None:
    """Nothing is resampled: it says different, and no figure."""
    other = bytearray(wave(audio, begin=BEGIN))
    at = other.index(b"fmt ") + 12
    other[at : at + 4] = (96_000).to_bytes(4, "little")
    found = sides.compare(poly(audio), [bytes(other)])
    assert facts(found) == (Relation.DIFFERENT, None, None, ())
    assert (found.residual_db, found.correlation) == (None, None)


@pytest.mark.parametrize("frames", [1, 2, 5, 31, 100, 2_047])
def test_very_short_recordings(sides: Sides, audio: Ints, known: bool, frames: int) -> None:
    """A button pressed twice: equal, or different at the frame."""
    ours = audio[60_000 : 60_000 + frames]
    same = sides.compare([wave(ours, begin=BEGIN)], [wave(ours, begin=BEGIN)], blocks=known)
    assert same.relation is Relation.SAME_AUDIO
    other = ours.copy()
    other[frames - 1, 2] ^= 1
    found = sides.compare([wave(ours, begin=BEGIN)], [wave(other, begin=BEGIN)], blocks=known)
    assert facts(found) == (Relation.DIFFERENT, frames - 1, None, (3,))


BEGUN = 1_000 * RATE


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("at", [24_000, 60_000])
@pytest.mark.parametrize("more", [-100_000, -10_000, 10_000])
def test_frames_lost_or_put_in_early_are_told_from_there(
    sides: Sides, bits: int, at: int, more: int
) -> None:
    """Both begin at one timecode: what lies before is the same, though the rest is shifted."""
    ours = np.stack([scene(5 * RATE, n, -24) for n in (1, 11)], axis=1)
    put_in = np.stack([scene(RATE, n, -24)[: max(more, 0)] for n in (21, 31)], axis=1)
    theirs = np.concatenate([ours[:at], put_in, ours[at + max(-more, 0) :]])
    found = sides.compare([wave(ours, 24, BEGUN)], [wave(theirs, bits, BEGUN)])
    assert (found.relation, found.frame) == (Relation.DIFFERENT, at)
    assert (found.offset or 0, found.channels) == (0, (1, 2))


def test_what_is_shifted_as_a_whole_is_still_found(sides: Sides) -> None:
    """The TimeReference of one is wrong: nothing is the same where both say."""
    ours = scene(5 * RATE, 1, -24)
    late = np.concatenate([scene(20_000, 21, -24), ours])
    found = sides.compare([wave(ours, 24, BEGUN)], [wave(late, 16, BEGUN)])
    assert (found.relation, found.offset) == (Relation.LONGER, 20_000)
    found = sides.compare([wave(ours, 24, BEGUN)], [wave(scene(5 * RATE, 77), 16, BEGUN)])
    assert (found.relation, found.frame) == (Relation.DIFFERENT, 0)
