"""FLAC and MP3 measured through the whole step, against general-purpose tools.

Files are made by flac, sox and ffmpeg (libmp3lame), never by this project. What they hold is then
said by ffmpeg's `astats`, by numpy on what ffmpeg decoded, and by xxhsum on what flac decoded.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest

from decoding import Decoding, ffmpeg
from takehold.formats.audio import AudioMeter
from takehold.formats.compressed import untold
from takehold.formats.describe import describe
from takehold.formats.levels import channels_of
from takehold.model.sound import Coding, Sound

HZ = 48_000
# Pink noise, a tone that clips, silence, then four more tones.
SOURCES = (
    "anoisesrc=c=pink:r=48000:seed=7:amplitude=0.4:d=3.1",
    "sine=frequency=300:sample_rate=48000:d=3.1,volume=30dB",
    "anullsrc=r=48000:cl=mono,atrim=duration=3.1",
    *(f"sine=frequency={hz}:sample_rate=48000:d=3.1" for hz in (200, 500, 900, 1500, 2500)),
)
FRAMES = 148_800


def run(*words: str | Path) -> bytes:
    done = subprocess.run(
        list(map(str, words)), check=True, timeout=60, capture_output=True, stdin=subprocess.DEVNULL
    )
    return done.stdout


def wave(folder: Path, channels: int, bits: int) -> Path:
    """A WAVE file of the first sources, by ffmpeg."""
    path = folder / "made.wav"
    inputs = [word for one in SOURCES[:channels] for word in ("-f", "lavfi", "-i", one)]
    join = ("-filter_complex", f"amerge=inputs={channels}") if channels > 1 else ()
    ffmpeg(*inputs, *join, "-c:a", f"pcm_s{bits}le", "-fflags", "+bitexact", path)
    return path


def sound_of(folder: Path, name: str) -> Sound:
    fact = Decoding(folder).measure(name)
    assert fact.sound is not None, fact.description.complaints
    assert fact.description.frames == fact.sound.frames
    return fact.sound


def decoded(path: Path) -> np.ndarray:
    """What ffmpeg decodes, of shape (frames, channels), full scale 1.0."""
    width = int(run("ffprobe", "-v", "error", "-show_entries", "stream=channels", "-of",
                    "csv=p=0", path))  # fmt: skip
    raw = ffmpeg("-i", path, "-f", "f64le", "-c:a", "pcm_f64le", "-")
    return np.frombuffer(raw, "<f8").reshape(-1, width)


def astats(path: Path) -> list[tuple[float, float]]:
    """Peak and RMS of each channel in dB, by ffmpeg's `astats`."""
    command = ["ffmpeg", "-i", path, "-af", "astats=measure_overall=none", "-f", "null", "-"]
    done = subprocess.run(command, check=True, timeout=60, capture_output=True, text=True)
    peaks = re.findall(r"Peak level dB: (\S+)", done.stderr)
    powers = re.findall(r"RMS level dB: (\S+)", done.stderr)
    return [(float(a), float(b)) for a, b in zip(peaks, powers, strict=True)]


def in_db(level: float) -> float:
    return float("-inf") if not level else float(20 * np.log10(level))


def clipped(row: np.ndarray, full: float) -> int:
    """Samples at full scale in runs of three or more of one sign."""
    count = np.zeros(len(row), bool)
    for at_full in (row >= full, row <= -full):
        padded = np.pad(at_full, 2)
        three = padded[:-2] & padded[1:-1] & padded[2:]
        count |= three[:-2] | three[1:-1] | three[2:]
    return int(count.sum())


def agrees(path: Path, sound: Sound, full: float) -> None:
    """Every figure is that of ffmpeg, or of numpy on what ffmpeg decoded."""
    rows, scale = decoded(path).T, 2.0**31 if sound.coding is Coding.INTEGER else 1.0
    assert sound.frames == rows.shape[1]
    found = channels_of(sound)
    assert len(found) == len(rows)
    for channel, row, (peak, power) in zip(found, rows, astats(path), strict=True):
        assert channel.peak / scale == pytest.approx(np.abs(row).max(), abs=2e-6)
        assert channel.rms == pytest.approx(np.sqrt(np.mean(row**2)), rel=5e-5, abs=1e-9)
        assert in_db(channel.peak / scale) == pytest.approx(peak, abs=0.001)
        assert in_db(channel.rms) == pytest.approx(power, abs=0.001)
        if scale != 1.0:  # another decoder's floats are not the same to the last bit
            sounding = np.flatnonzero(row)
            assert channel.zeros == int((row == 0).sum())
            assert channel.clipped == clipped(row, full)
            edges = (sounding[0], sounding[-1]) if len(sounding) else (None, None)
            assert (channel.first_sound, channel.last_sound) == edges


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("channels", [1, 2, 3, 8])
def test_a_flac_is_measured_as_other_tools_do(tmp_path: Path, channels: int, bits: int) -> None:
    """Made by the reference encoder; a silent channel is silent, a clipped one is counted."""
    path = wave(tmp_path, channels, bits)
    run("flac", "-s", "-f", "--channel-map=none", path, "-o", tmp_path / "made.flac")
    sound = sound_of(tmp_path, "made.flac")
    agrees(tmp_path / "made.flac", sound, 0x7FFF0000 / 2**31)
    assert sound.frames == FRAMES
    found = channels_of(sound)
    assert [n for n, c in enumerate(found) if c.first_sound is None] == [2][: channels - 2]
    assert (channels == 1) or found[1].clipped > 10_000


@pytest.mark.parametrize("bits", [16, 24])
def test_a_flac_has_the_digests_of_the_wave_that_it_was_made_of(tmp_path: Path, bits: int) -> None:
    """So they are known as the same audio without a sample being compared."""
    path = wave(tmp_path, 2, bits)
    run("flac", "-s", "-f", path, "-o", tmp_path / "made.flac")
    bench = Decoding(tmp_path)
    sound = bench.measure("made.flac").sound
    raw = path.read_bytes()
    said = describe(lambda at, n: raw[at : at + n], len(raw))
    assert said.data is not None
    assert said.format is not None
    meter = AudioMeter(said.data, said.format)
    meter.feed(raw, 0)
    assert meter.sound() == sound
    [blocks] = bench.blocks
    assert blocks.blocks == tuple(channel.blocks for channel in meter.measured().channels)


@pytest.mark.parametrize("bits", [8, 16, 24])
def test_the_digest_is_that_of_what_flac_decodes(tmp_path: Path, bits: int) -> None:
    """Encoded by sox, decoded raw by flac, XXH3-128 by xxhsum: nothing of this project's."""
    sign = "unsigned" if bits == 8 else "signed"
    run("sox", wave(tmp_path, 2, 24), "-b", str(bits), tmp_path / "made.flac")
    raw = ("--force-raw-format", "--endian=little", f"--sign={sign}")
    run("flac", "-s", "-f", "-d", *raw, tmp_path / "made.flac", "-o", tmp_path / "made.raw")
    theirs = run("xxhsum", "-H2", tmp_path / "made.raw").split()[0].decode()
    assert sound_of(tmp_path, "made.flac").digest == theirs


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize(
    "how",
    [
        ("-b:a", "192k"),
        ("-q:a", "5"),
        ("-b:a", "128k", "-write_xing", "0"),
        ("-q:a", "3", "-write_xing", "0"),
        ("-q:a", "3", "-write_xing", "0", "-id3v2_version", "0"),
        ("-ar", "44100", "-b:a", "96k", "-write_xing", "0"),
        ("-ar", "22050", "-q:a", "4", "-write_xing", "0"),
        ("-ar", "8000", "-q:a", "4", "-write_xing", "0"),
    ],
    ids=" ".join,
)
def test_an_mp3_is_measured_as_other_tools_do(
    tmp_path: Path, channels: int, how: tuple[str, ...]
) -> None:
    """With and without the frame that tells its length; the count is that of ffmpeg."""
    path = tmp_path / "made.mp3"
    ffmpeg("-i", wave(tmp_path, channels, 24), "-c:a", "libmp3lame", *how, path)
    agrees(path, sound_of(tmp_path, "made.mp3"), 0x7FFF0000 / 2**31)


def test_an_mp3_that_is_quiet_at_first_is_measured_to_its_end(tmp_path: Path) -> None:
    """Its first frames are small; libsndfile, left alone, guesses a third or three times."""
    for name, parts in (("low", (2, 0)), ("high", (0, 2))):
        inputs = [word for n in parts for word in ("-f", "lavfi", "-i", SOURCES[n])]
        join = ("-filter_complex", "concat=n=2:v=0:a=1")
        path = tmp_path / f"{name}.mp3"
        ffmpeg(*inputs, *join, "-c:a", "libmp3lame", "-q:a", "2", "-write_xing", "0", path)
        assert sound_of(tmp_path, path.name).frames == len(decoded(path))


def test_a_tag_before_an_mp3_is_no_sound(tmp_path: Path) -> None:
    """ID3v2.4.0, 3.1: a size of four times seven bits; here a picture of 300,000 bytes."""
    ffmpeg("-i", wave(tmp_path, 1, 16), "-c:a", "libmp3lame", "-q:a", "3", "-write_xing", "0",
           "-id3v2_version", "0", tmp_path / "bare.mp3")  # fmt: skip
    bare, size = (tmp_path / "bare.mp3").read_bytes(), 300_000
    tag = b"ID3\x04\0\0" + bytes(size >> shift & 0x7F for shift in (21, 14, 7, 0)) + bytes(size)
    (tmp_path / "tagged.mp3").write_bytes(tag + bare)
    assert sound_of(tmp_path, "tagged.mp3") == sound_of(tmp_path, "bare.mp3")


def test_frames_of_an_mp3_are_counted_through_what_is_none() -> None:
    """Noise between frames is passed over; ISO/IEC 11172-3, 2.4.1.3: 417 bytes at 128 kbit/s."""
    frame = bytes.fromhex("fffb9000").ljust(417, b"\0")
    content = frame * 5 + bytes(1000) + b"\xff" * 9 + frame * 3
    found = untold(lambda at, n: content[at : at + n], len(content))
    assert found is not None
    assert (found.span.offset, found.span.length) == (0, len(content))
    assert found.told == 8 * 144 * 128_000 // 44_100 + 1
    told = frame[:36] + b"Xing" + frame[40:] + content
    assert untold(lambda at, n: told[at : at + n], len(told)) is None


def test_a_flac_whose_header_was_never_finished(tmp_path: Path) -> None:
    """As a recorder leaves it that lost power: no length, no digest. ffmpeg writes such to a pipe.

    RFC 9639, 8.2: a total of 0 says that it is not known.
    """
    content = ffmpeg("-i", wave(tmp_path, 2, 24), "-f", "flac", "-")
    (tmp_path / "made.flac").write_bytes(content)
    assert int.from_bytes(content[21:26], "big") & (1 << 36) - 1 == 0
    assert sound_of(tmp_path, "made.flac").frames == FRAMES
