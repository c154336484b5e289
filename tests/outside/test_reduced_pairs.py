"""Reduced copies made by ffmpeg (libmp3lame, libshine, swresample), sox and flac, not by us.

Each is told from its original, and from another take of the same scene, by a wide margin. The
sound is made here (tests/comparing) and written by libsndfile; docs/matching.md has the figures.
"""

from __future__ import annotations

import io
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from comparing import RATE, Floats, Sides, db, floor, hum, scene, speech
from makings import root_at
from takehold.adapters.decoder import SoundfileDecoder
from takehold.adapters.disk import LocalDisk
from takehold.decide.likeness import ALIKE
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation

FRAMES = 5 * RATE
# What the threshold of lossy copies is held to: true pairs agree so much more, others so much less.
TRUE_AT_LEAST, FALSE_AT_MOST = 2.5 * ALIKE, ALIKE / 4
REAL = Path(__file__).parents[3] / "shared" / "realwav"

Make = Callable[..., bytes]


def written(samples: Floats, subtype: str = "PCM_24") -> bytes:
    """A WAVE file by libsndfile."""
    held = io.BytesIO()
    soundfile.write(held, samples, RATE, subtype, format="WAV")
    return held.getvalue()


@pytest.fixture
def sides(tmp_path: Path) -> Sides:
    (tmp_path / "drive").mkdir()
    return Sides(tmp_path / "drive")


@pytest.fixture
def ffmpeg(tmp_path: Path) -> Make:
    """What ffmpeg makes of a WAVE file."""

    def make(source: bytes, *options: str, ending: str = "wav") -> bytes:
        (tmp_path / "in.wav").write_bytes(source)
        out = tmp_path / f"out.{ending}"
        command = ("ffmpeg", "-v", "error", "-y", "-i", tmp_path / "in.wav", *options, out)
        subprocess.run(command, check=True, capture_output=True, timeout=60)
        return out.read_bytes()

    return make


@pytest.fixture
def sox(tmp_path: Path) -> Make:
    """What sox makes of a WAVE file: 16 bits, with these effects."""

    def make(source: bytes, *effects: str, options: tuple[str, ...] = ()) -> bytes:
        (tmp_path / "in.wav").write_bytes(source)
        out = tmp_path / "sox.wav"
        command = ("sox", tmp_path / "in.wav", *options, "-b", "16", out, *effects)
        subprocess.run(command, check=True, capture_output=True, timeout=60)
        return out.read_bytes()

    return make


def poly(seed: int, level: float) -> Floats:
    """A mix and its three isos."""
    isos = [scene(FRAMES, seed + 10 * n, level - 6 * n) for n in range(3)]
    return np.stack([0.7 * sum(isos), *isos], axis=1)


TAKES = {level: (poly(1, level), poly(1_001, level)) for level in (-24.0, -50.0)}
LEVELS = pytest.mark.parametrize("level", TAKES)


def said(found: Comparison) -> tuple[Relation, tuple[int, ...]]:
    return found.relation, found.channels


# -- MP3

ENCODERS = {
    "lame 64k": ("-b:a", "64k"),
    "lame 128k": ("-b:a", "128k"),
    "lame 320k": ("-b:a", "320k"),
    "lame VBR": ("-q:a", "5"),
    "lame without a header": ("-b:a", "128k", "-write_xing", "0"),
    "shine 128k": ("-c:a", "libshine", "-b:a", "128k"),
}


@LEVELS
@pytest.mark.parametrize("encoder", ENCODERS)
def test_an_mp3_of_the_mix(sides: Sides, ffmpeg: Make, level: float, encoder: str) -> None:
    """It is found to be the mix, the isos have no backup; another take's mix is not it."""
    ours, other = TAKES[level]
    options = ENCODERS[encoder]
    found = sides.compare([written(ours)], [ffmpeg(written(ours[:, 0]), *options, ending="mp3")])
    assert said(found) == (Relation.REDUCED, (2, 3, 4))
    assert found.correlation is not None
    assert found.correlation > TRUE_AT_LEAST
    assert found.residual_db is not None
    assert found.residual_db < -10
    false = sides.compare([written(ours)], [ffmpeg(written(other[:, 0]), *options, ending="mp3")])
    assert false.relation is Relation.DIFFERENT
    assert false.correlation is not None
    assert abs(false.correlation) < FALSE_AT_MOST


def test_the_delay_of_an_encoder_is_found(sides: Sides, ffmpeg: Make) -> None:
    """Without a header that tells it, LAME's is 576 + 529 frames (its technical FAQ; from memory).

    Trimmed or shifted by hand, it is another one; that is found too, and that it is longer then.
    """
    ours, _ = TAKES[-24.0]
    plain = ("-b:a", "128k", "-write_xing", "0")
    found = sides.compare(
        [written(ours[:, 0])], [ffmpeg(written(ours[:, 0]), *plain, ending="mp3")]
    )
    assert (found.relation, found.offset) == (Relation.REDUCED, 1_105)
    for lead, relation in (
        (1, Relation.REDUCED),
        (4_321, Relation.LONGER),
        (60_000, Relation.LONGER),
    ):
        late = np.concatenate([np.zeros(lead), ours[:, 0]])
        found = sides.compare([written(ours[:, 0])], [ffmpeg(written(late), *plain, ending="mp3")])
        assert (found.relation, found.offset) == (relation, 1_105 + lead)
        assert (found.correlation or 0) > TRUE_AT_LEAST


@pytest.mark.parametrize("delay", [0, 1_105])
def test_an_mp3_of_inverted_polarity_is_different(sides: Sides, ffmpeg: Make, delay: int) -> None:
    """Noise, of which half a period of the middle of the band is a few frames."""
    noise = 0.05 * np.random.default_rng(7).standard_normal((FRAMES, 2))
    late = np.vstack([np.zeros((delay, 2)), -noise])
    found = sides.compare([written(noise)], [ffmpeg(written(late), "-b:a", "192k", ending="mp3")])
    assert found.relation is Relation.DIFFERENT
    right = ffmpeg(written(noise), "-b:a", "192k", ending="mp3")
    assert sides.compare([written(noise)], [right]).relation is Relation.REDUCED


def test_two_tracks_of_an_mp3(sides: Sides, ffmpeg: Make) -> None:
    """Left and right of a stereo mix; one mix on both, 3 dB lower as a pan law has it."""
    isos = TAKES[-24.0][0][:, 1:]
    left, right = isos @ [0.6, 0.5, 0.3], isos @ [0.3, 0.5, 0.6]
    ours = np.column_stack([left, right, isos])
    mp3 = ffmpeg(written(ours[:, :2]), "-b:a", "192k", ending="mp3")
    found = sides.compare([written(ours)], [mp3])
    assert said(found) == (Relation.REDUCED, (3, 4, 5))
    mix = np.column_stack([left, isos])
    mp3 = ffmpeg(written(left), "-ac", "2", "-b:a", "128k", ending="mp3")
    found = sides.compare([written(mix)], [mp3])
    assert said(found) == (Relation.REDUCED, (2, 3, 4))


@LEVELS
def test_an_mp3_that_ends_early_or_goes_wrong(sides: Sides, ffmpeg: Make, level: float) -> None:
    """Short by the frame, give or take what encoders pad; different from the second on."""
    ours, other = (take[:, 0] for take in TAKES[level])
    options = ("-b:a", "128k")
    half = ffmpeg(written(ours[: FRAMES // 2]), *options, ending="mp3")
    found = sides.compare([written(ours)], [half])
    assert found.relation is Relation.SHORT
    assert found.frame == pytest.approx(FRAMES / 2, abs=2_304)
    wrong = ours.copy()
    wrong[3 * RATE :] = other[3 * RATE :]
    found = sides.compare([written(ours)], [ffmpeg(written(wrong), *options, ending="mp3")])
    assert found.relation is Relation.DIFFERENT
    assert found.frame == pytest.approx(3 * RATE, abs=RATE)
    dead = ours.copy()
    dead[3 * RATE :] = 0
    found = sides.compare([written(ours)], [ffmpeg(written(dead), *options, ending="mp3")])
    assert found.relation is Relation.DIFFERENT


@pytest.mark.parametrize("length", [0.5, 1.25])
@pytest.mark.parametrize("begin", [0.31, 1.77, 2.5, 3.4])
def test_an_mp3_that_was_muted_for_a_while(
    sides: Sides, ffmpeg: Make, begin: float, length: float
) -> None:
    """Both tracks, in words that begin and end; told from where, give or take half a second."""
    words = np.stack([scene(FRAMES, n, -24) for n in (5, 6)], axis=1)
    muted = words.copy()
    muted[int(begin * RATE) : int((begin + length) * RATE)] = 0
    found = sides.compare([written(words)], [ffmpeg(written(muted), "-b:a", "128k", ending="mp3")])
    assert found.relation is Relation.DIFFERENT
    assert found.frame == pytest.approx(begin * RATE, abs=RATE / 2)
    found = sides.compare([written(muted)], [ffmpeg(written(words), "-b:a", "128k", ending="mp3")])
    assert found.relation is Relation.DIFFERENT


# Each of these takes more off, or puts more in, than the others do.
HARSH = {
    "lame 32k": ("-b:a", "32k"),
    "lame 64k to 3 kHz": ("-b:a", "64k", "-cutoff", "3000"),
    "lame VBR, the least": ("-q:a", "9"),
}


@pytest.mark.parametrize("encoder", HARSH)
def test_a_harsh_coding_is_no_dropout(sides: Sides, ffmpeg: Make, encoder: str) -> None:
    """Of words with nothing between them, beside noise that needs all the bits, and of noise."""
    rng = np.random.default_rng(4)
    noise = rng.standard_normal(FRAMES)
    gate = np.repeat(rng.random(FRAMES // 12_000) ** 3, 12_000)
    hiss = np.stack([noise * db(-22), 0.1 * gate * rng.standard_normal(FRAMES)], axis=1)
    for samples in (
        np.stack([speech(FRAMES, 3, -20), speech(FRAMES, 4, -30)], axis=1),
        hiss,
        noise * db(-60),
        TAKES[-50.0][0][:, 0],
    ):
        mp3 = ffmpeg(written(samples), *HARSH[encoder], ending="mp3")
        # 16 kbit/s for each track of white noise leave nothing that shows which take it is.
        little = samples is hiss and encoder == "lame 32k"
        expected = Relation.UNDECODED if little else Relation.REDUCED
        assert sides.compare([written(samples)], [mp3]).relation is expected


def test_an_mp3_that_is_longer_or_shorter_says_by_how_much(sides: Sides, ffmpeg: Make) -> None:
    """What libmp3lame adds where no header tells it: 1,105 frames before, and to its frame's end.

    Beyond two of its frames at either end the primary's file is cut, and the figures are there too.
    """
    ours = TAKES[-24.0][0][:, 0]
    plain = ("-b:a", "128k", "-write_xing", "0")
    mp3 = ffmpeg(written(ours), *plain, ending="mp3")
    frames = len(soundfile.read(io.BytesIO(mp3))[0])
    found = sides.compare([written(ours)], [mp3])
    assert (found.relation, found.duration_difference) == (Relation.REDUCED, frames - FRAMES)
    found = sides.compare([written(ours)], [ffmpeg(written(ours), "-b:a", "128k", ending="mp3")])
    assert (found.relation, found.duration_difference) == (Relation.REDUCED, 0)
    found = sides.compare([written(ours[: 4 * RATE])], [mp3])
    assert (found.relation, found.frames) == (Relation.LONGER, found.duration_difference)
    assert found.frames == frames - 4 * RATE
    assert (found.correlation or 0) > TRUE_AT_LEAST
    assert (found.residual_db or 0) < -10


@pytest.mark.parametrize("level", [-40.0, -68.0, -90.0])
def test_room_tone_in_mp3(sides: Sides, ffmpeg: Make, level: float) -> None:
    """Noise is what lossy codings keep worst, and two takes of it are alike to the ear."""
    ours, other = (floor(FRAMES, n, level) for n in (1, 2))
    options = ("-b:a", "64k")
    found = sides.compare([written(ours)], [ffmpeg(written(ours), *options, ending="mp3")])
    assert found.relation is Relation.REDUCED
    assert (found.correlation or 0) > TRUE_AT_LEAST
    false = sides.compare([written(ours)], [ffmpeg(written(other), *options, ending="mp3")])
    assert false.relation is Relation.DIFFERENT
    assert abs(false.correlation or 0) < FALSE_AT_MOST


def song(frames: int, level: float) -> Floats:
    """Chords of plucked strings and a drum, four a second: the same at each call."""
    rng, out = np.random.default_rng(1), np.zeros(frames)
    for at in range(0, frames - 6_000, RATE // 4):
        time = np.arange(min(RATE * 4 // 5, frames - at)) / RATE
        for pitch in rng.choice(110 * 2 ** (np.arange(36) / 12), 4, replace=False):
            for n in range(1, 12):
                tone = np.sin(2 * np.pi * pitch * n * time + rng.uniform(0, 6)) / n
                out[at : at + len(time)] += tone * np.exp(-3 * time * n**0.5)
        drum = rng.standard_normal(6_000) * np.exp(-np.arange(6_000) / 800)
        out[at : at + 6_000] += 2 * drum
    return out * (db(level) / out.std())


PLAYBACK = {
    "lame 32k": ("-b:a", "32k"),
    "lame 64k": ("-b:a", "64k"),
    "lame 128k": ("-b:a", "128k"),
    "lame VBR, the least": ("-q:a", "9"),
}


@pytest.mark.parametrize("below", [0.0, 6.0, 12.0])
@pytest.mark.parametrize("encoder", PLAYBACK)
def test_another_take_with_the_same_playback(
    sides: Sides, ffmpeg: Make, encoder: str, below: float
) -> None:
    """A song in common, so much above the voices: nothing shows which take an MP3 of it is.

    Nor of one that is shorter, or has no voice. The take's own MP3 is its own.
    """
    ours, other = (song(FRAMES, -20) + speech(FRAMES, n, -20 - below) for n in (5, 77))

    def found(samples: Floats) -> Comparison:
        mp3 = ffmpeg(written(samples), *PLAYBACK[encoder], ending="mp3")
        return sides.compare([written(ours)], [mp3])

    assert found(ours).relation is Relation.REDUCED
    for wrong in (other, other[: 4 * RATE], song(FRAMES, -20)):
        told = found(wrong)
        assert told.relation in (Relation.UNDECODED, Relation.DIFFERENT)
        assert told.residual_db is not None
        assert told.missing == () or told.relation is Relation.DIFFERENT


@pytest.mark.parametrize("bits", ["32k", "128k"])
def test_an_mp3_is_decoded_alike_wherever_reading_begins(
    ffmpeg: Make, tmp_path: Path, bits: str
) -> None:
    """As libsndfile decodes it in one go: of few bits a frame needs those of some before it."""
    mp3 = ffmpeg(written(song(FRAMES, -20)), "-b:a", bits, ending="mp3")
    whole = soundfile.read(io.BytesIO(mp3), dtype="float32")[0]
    path = tmp_path / "song.mp3"
    path.write_bytes(mp3)
    with (
        LocalDisk().destination(root_at(tmp_path)) as tree,
        tree.open(b"song.mp3") as reader,
        SoundfileDecoder().open(reader, len(mp3)) as samples,
    ):
        for first in (*range(0, FRAMES, RATE), 100_001, 13, 2 * RATE):
            got = samples.read(first, RATE)[0]
            assert np.abs(got - whole[first : first + RATE]).max() < 1e-6


def test_the_hum_of_a_place_does_not_make_two_takes_one(sides: Sides, ffmpeg: Make) -> None:
    """It is 40 dB above all else and the same in both, to the sample."""
    ours, other = (hum(FRAMES, -30) + floor(FRAMES, n, -70) for n in (1, 2))
    options = ("-b:a", "128k")
    found = sides.compare([written(ours)], [ffmpeg(written(ours), *options, ending="mp3")])
    assert found.relation is Relation.REDUCED
    false = sides.compare([written(ours)], [ffmpeg(written(other), *options, ending="mp3")])
    assert false.relation is Relation.DIFFERENT


# -- bit depth

FFMPEG_DITHER = {
    "cut off": (),
    "triangular": ("-af", "aresample=osf=s16:dither_method=triangular"),
    "triangular_hp": ("-af", "aresample=osf=s16:dither_method=triangular_hp"),
    "rectangular": ("-af", "aresample=osf=s16:dither_method=rectangular"),
    "f_weighted": ("-af", "aresample=osf=s16:dither_method=f_weighted"),
    "shibata": ("-af", "aresample=osf=s16:dither_method=shibata"),
    "improved_e_weighted": ("-af", "aresample=osf=s16:dither_method=improved_e_weighted"),
}
SOX_DITHER = {
    "rounded": ((), ("-D",)),
    "dither": ((), ()),
    "f-weighted": (("dither", "-f", "f-weighted"), ()),
    "shibata": (("dither", "-f", "shibata"), ()),
    "improved-e-weighted": (("dither", "-f", "improved-e-weighted"), ()),
    "gesemann": (("dither", "-f", "gesemann"), ()),
}


@pytest.mark.parametrize("level", [-36.0])
@pytest.mark.parametrize("way", [*FFMPEG_DITHER, *(f"sox {way}" for way in SOX_DITHER)])
def test_16_bits_of_24(sides: Sides, ffmpeg: Make, sox: Make, level: float, way: str) -> None:
    """Whatever the dither; another take is not it; a jump of 1/100 of full scale is found."""

    def less(source: Floats) -> bytes:
        if way.startswith("sox "):
            effects, options = SOX_DITHER[way.removeprefix("sox ")]
            return sox(written(source), *effects, options=options)
        return ffmpeg(written(source), *FFMPEG_DITHER[way], "-c:a", "pcm_s16le")

    ours, other = (poly(seed, level)[:, :3] for seed in (1, 1_001))
    found = sides.compare([written(ours)], [less(ours)])
    assert said(found) == (Relation.REDUCED, ())
    assert (found.correlation or 0) > 0.95
    assert sides.compare([written(ours)], [less(other)]).relation is Relation.DIFFERENT
    wrong, _ = soundfile.read(io.BytesIO(less(ours)), dtype="int16")
    wrong[200_001, 2] += 328 if wrong[200_001, 2] < 0 else -328
    found = sides.compare([written(ours)], [written(wrong, "PCM_16")])
    assert (found.frame, found.channels) == (200_001, (3,))


@LEVELS
def test_the_residual_is_what_theory_says(sides: Sides, sox: Make, level: float) -> None:
    """Rounding leaves 1/12 LSB squared, triangular dither 1/4 (textbook values; from memory)."""
    ours = np.rint(TAKES[level][0] * 2**23) / 2**23
    power = float(np.mean(ours**2))
    for options, squared in ((("-D",), 1 / 12), ((), 1 / 4)):
        found = sides.compare([written(ours)], [sox(written(ours), options=options)])
        expected = 10 * np.log10(squared * 2.0**-30 / power)
        assert found.residual_db == pytest.approx(expected, abs=0.3)


def test_float_against_24_bits(sides: Sides, ffmpeg: Make) -> None:
    """A float recording that went over full scale; one that holds what 24 bits can hold."""
    ours = TAKES[-24.0][0]
    exact = ffmpeg(written(ours), "-c:a", "pcm_f32le")
    assert sides.compare([exact], [written(ours)]).relation is Relation.SAME_AUDIO
    hot = ours * (1.5 / np.abs(ours).max())
    float_ = written(hot, "FLOAT")
    found = sides.compare([float_], [ffmpeg(float_, "-c:a", "pcm_s24le")])
    assert said(found) == (Relation.REDUCED, ())


# -- FLAC, and real files


@pytest.mark.parametrize("bits", [16, 24])
def test_flac_is_the_same_or_differs_at_the_frame(sides: Sides, tmp_path: Path, bits: int) -> None:
    """Encoded by flac itself."""

    def flac(samples: NDArray[np.int32]) -> bytes:
        source, out = tmp_path / "in.wav", tmp_path / "out.flac"
        source.write_bytes(written(samples, f"PCM_{bits}"))
        command = ("flac", "-s", "-f", "--channel-map=none", "-o", out, source)
        subprocess.run(command, check=True, capture_output=True, timeout=60)
        return out.read_bytes()

    ours = (np.rint(TAKES[-24.0][0] * 2**23).astype("i4") << 8) >> (32 - bits) << (32 - bits)
    whole = written(ours, f"PCM_{bits}")
    assert sides.compare([whole], [flac(ours)]).relation is Relation.SAME_AUDIO
    other = ours.copy()
    other[123_456, 3] ^= 1 << (32 - bits)
    found = sides.compare([whole], [flac(other)])
    assert said(found) == (Relation.DIFFERENT, (4,))
    assert found.frame == 123_456


@pytest.mark.skipif(not REAL.exists(), reason="the real recordings are not here")
def test_real_recordings(sides: Sides, ffmpeg: Make) -> None:
    """A poly and its real mono split; each real take against MP3s and 16 bits of all of them."""
    folder = REAL / "recorder_A"
    split = [(folder / f"A101_1_{n}.WAV").read_bytes() for n in (1, 2)]
    found = sides.compare([(folder / "A101_1.WAV").read_bytes()], split, blocks=False)
    assert found.relation in (Relation.OTHER_LAYOUT, Relation.SHORT, Relation.DIFFERENT)
    takes = [(folder / f"A101_{n}.WAV").read_bytes() for n in (1, 3, 4)]
    for number, ours in enumerate(takes):
        for other, source in enumerate(takes):
            for options, ending in (
                (("-b:a", "128k"), "mp3"),
                (("-b:a", "256k"), "mp3"),
                (("-c:a", "pcm_s16le"), "wav"),
            ):
                found = sides.compare([ours], [ffmpeg(source, *options, ending=ending)])
                assert (found.relation is Relation.REDUCED) == (number == other), (number, other)
