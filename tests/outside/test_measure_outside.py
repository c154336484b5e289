"""What is measured of audio, against ffmpeg, xxhsum, soundfile and numpy, and on real recordings.

The made files are written by ffmpeg from its own signal generators. Every expected figure is
ffmpeg's, xxhsum's, or numpy's on what libsndfile decoded; none comes from this program.
"""

import json
import math
import os
import re
import subprocess
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from measuring import meter_of
from takehold.formats.audio import AudioMeter
from takehold.formats.describe import describe
from takehold.model.measured import GAP_FRAMES, Measured
from takehold.model.sound import Coding, Description, Span

SECONDS, RATE = 2, 48_000
# Pink noise, a sine, one that is cut off at full scale and falls silent for a while, silence.
CUT_OFF = "if(between(t,0.5,0.75),0,clip(1.4*sin(2*PI*441*t),-1,1-1/8388608))"
SOURCES = (
    f"anoisesrc=d={SECONDS}:c=pink:r={RATE}:a=0.3:seed=1",
    f"sine=f=997:r={RATE}:d={SECONDS}",
    f"aevalsrc='{CUT_OFF}':s={RATE}:d={SECONDS}",
    f"anullsrc=r={RATE}:d={SECONDS}",
)
# ffmpeg's sample format and codec, and what a channel's decoded samples are called there.
CODECS = {
    "pcm_s16le": "s32le",
    "pcm_s24le": "s32le",
    "pcm_s32le": "s32le",
    "pcm_f32le": "f32le",
    "pcm_f64le": "f64le",
}


def ffmpeg(*words: object) -> subprocess.CompletedProcess[bytes]:
    command = ["ffmpeg", "-hide_banner", "-nostdin", "-nostats", "-y", *map(str, words)]
    done = subprocess.run(command, capture_output=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr.decode()
    return done


def made(folder: Path, codec: str, name: str = "made.wav") -> Path:
    """Four channels, one of each source."""
    path = folder / name
    inputs = [word for source in SOURCES for word in ("-f", "lavfi", "-i", source)]
    order = "0.0-FL|1.0-FR|2.0-FC|3.0-BC"
    joined = f"[0][1][2][3]join=inputs=4:channel_layout=4.0:map={order}"
    ffmpeg(*inputs, "-filter_complex", joined, "-t", SECONDS, "-c:a", codec, path)
    return path


def described(path: Path) -> Description:
    with path.open("rb") as file:
        return describe(
            lambda offset, length: os.pread(file.fileno(), length, offset), path.stat().st_size
        )


def measured(path: Path, step: int = 1 << 16) -> Measured:
    """By our own header reader and meter."""
    ours = described(path)
    assert ours.data is not None
    assert ours.format is not None
    raw = memoryview(path.read_bytes())
    meter = AudioMeter(ours.data, ours.format, ours.metadata.time_reference)
    for at in range(0, len(raw), step):
        meter.feed(raw[at : at + step], at)
    return meter.measured()


def xxhsum(raw: bytes, algorithm: int) -> str:
    """XXH3-64 is 3, XXH3-128 is 2 (xxhsum's manual)."""
    command = ["xxhsum", f"-H{algorithm}", "-"]
    said = subprocess.run(command, input=raw, capture_output=True, check=True, timeout=60).stdout
    found = re.search(r"\b[0-9a-f]{16,32}\b", said.decode())
    assert found
    return found[0]


def channel_of(path: Path, channel: int, sample_format: str) -> bytes:
    """The samples of one channel, taken out and converted by ffmpeg."""
    pan = f"pan=mono|c0=c{channel}"
    codec = f"pcm_{sample_format}"
    return ffmpeg("-i", path, "-af", pan, "-f", sample_format, "-c:a", codec, "-").stdout


@pytest.mark.parametrize(("codec", "sample_format"), CODECS.items())
def test_channel_digests_are_those_of_ffmpegs_channels(
    tmp_path: Path, codec: str, sample_format: str
):
    """Taken out by ffmpeg, hashed by xxhsum."""
    path = made(tmp_path, codec)
    ours = measured(path)
    assert ours.frames == SECONDS * RATE
    assert (
        ours.coding == {"s32le": "integer", "f32le": "float32", "f64le": "float64"}[sample_format]
    )
    for n, channel in enumerate(ours.channels):
        raw = channel_of(path, n, sample_format)
        assert channel.digest == xxhsum(raw, 2)
        half = len(raw) // 2
        assert channel.blocks.hex() == xxhsum(raw[:half], 3) + xxhsum(raw[half:], 3)


def test_blocks_begin_at_whole_counts_since_midnight(tmp_path: Path):
    """With bext TimeReference written by ffmpeg; the blocks cut out of ffmpeg's channel."""
    plain, path = made(tmp_path, "pcm_s24le"), tmp_path / "stamped.wav"
    stamp = ["-write_bext", 1, "-metadata", "time_reference=2160010000"]
    ffmpeg("-i", plain, "-c", "copy", *stamp, path)
    ours = measured(path)
    assert (ours.first_sample, ours.first_block) == (2_160_010_000, 45_000)
    raw = channel_of(plain, 1, "s32le")
    cuts = [0, 38_000 * 4, 86_000 * 4, len(raw)]
    parts = [raw[a:b] for a, b in pairwise(cuts)]
    assert ours.channels[1].blocks.hex() == "".join(xxhsum(part, 3) for part in parts)


def test_a_mono_file_that_ffmpeg_split_off_is_the_channel(tmp_path: Path):
    path = made(tmp_path, "pcm_s24le")
    names = ["FL", "FR", "FC", "BC"]
    pads = "".join(f"[{name}]" for name in names)
    outs = [
        w for n in names for w in ("-map", f"[{n}]", "-c:a", "pcm_s24le", tmp_path / f"{n}.wav")
    ]
    ffmpeg("-i", path, "-filter_complex", f"channelsplit=channel_layout=4.0{pads}", *outs)
    monos = [measured(tmp_path / f"{name}.wav") for name in names]
    assert [m.channels[0] for m in monos] == list(measured(path).channels)


@pytest.mark.parametrize("codec", ["pcm_s16le", "pcm_s24le", "pcm_s32le", "pcm_f32le"])
def test_levels_are_those_of_astats(tmp_path: Path, codec: str):
    """Ffmpeg's astats, which prints six decimals of a dB."""
    path = made(tmp_path, codec)
    said = ffmpeg("-i", path, "-af", "astats=measure_overall=none", "-f", "null", "-").stderr
    peaks = [float(db) for db in re.findall(r"Peak level dB: (\S+)", said.decode())]
    levels = [float(db) for db in re.findall(r"RMS level dB: (\S+)", said.decode())]
    assert len(peaks) == len(levels) == 4
    scale = 1.0 if codec == "pcm_f32le" else 2.0**31
    for channel, peak, level in zip(measured(path).channels, peaks, levels, strict=True):
        assert decibel(channel.peak / scale) == pytest.approx(peak, abs=3e-4)
        assert decibel(channel.rms) == pytest.approx(level, abs=1e-3)


def decibel(ratio: float) -> float:
    return 20 * math.log10(ratio) if ratio else -math.inf


def test_gaps_are_those_of_silencedetect(tmp_path: Path):
    """Ffmpeg's silencedetect, below one step of 24 bits, from GAP_FRAMES on."""
    path = made(tmp_path, "pcm_s24le")
    detect = f"silencedetect=n=0.0000001:d={GAP_FRAMES / RATE}:mono=1"
    said = ffmpeg("-i", path, "-af", detect, "-f", "null", "-").stderr.decode()
    found = re.findall(r"channel: 2 \| silence_end: (\S+) \| silence_duration: (\S+)", said)
    assert [round(float(duration) * RATE) for _, duration in found] == [
        measured(path).channels[2].longest_gap
    ]
    assert [measured(path).channels[n].longest_gap for n in (0, 1, 3)] == [0, 0, 0]


def test_a_zero_filled_tail_is_found_by_ffmpegs_silencedetect(tmp_path: Path):
    """The last quarter of the payload zeroed, as after a lost power."""
    path = made(tmp_path, "pcm_s24le")
    ours, raw = described(path), bytearray(path.read_bytes())
    assert ours.data is not None
    tail = ours.data.length // 4
    end = ours.data.offset + ours.data.length
    raw[end - tail : end] = bytes(tail)
    path.write_bytes(raw)
    said = ffmpeg("-i", path, "-af", "silencedetect=n=0.0000001:d=0.1", "-f", "null", "-").stderr
    start = float(re.findall(r"silence_start: (\S+)", said.decode())[-1])
    assert measured(path).zero_tail == SECONDS * RATE - round(start * RATE)


# Against numpy on what libsndfile decodes.


def numpy_says(path: Path, ours: Measured) -> None:
    """Every figure but the digests, by other means than the meter's."""
    dtype = {"integer": "int32", "float32": "float32", "float64": "float64"}[str(ours.coding)]
    samples, _ = soundfile.read(path, dtype=dtype, always_2d=True)
    assert samples.shape == (ours.frames, len(ours.channels))
    scale = 2.0**31 if ours.coding is Coding.INTEGER else 1.0
    for column, channel in zip(samples.T, ours.channels, strict=True):
        exact = column.astype("f8")
        sounding = np.flatnonzero(exact)
        assert channel.digest == xxhsum(np.ascontiguousarray(column).tobytes(), 2)
        assert channel.peak == (np.abs(exact).max() if len(exact) else 0)
        level = np.sqrt(np.mean(np.square(exact / scale))) if len(exact) else 0
        assert channel.rms == pytest.approx(level, rel=5e-5)
        assert channel.zeros == len(column) - len(sounding)
        assert channel.clipped == clipped(exact / scale)
        if len(sounding):
            assert (channel.first_sound, channel.last_sound) == (sounding[0], sounding[-1])
            gap = int(np.diff(sounding, prepend=sounding[0] - 1).max()) - 1
            assert channel.longest_gap == (gap if gap >= GAP_FRAMES else 0)
    silent = np.cumprod(~samples.any(axis=1)[::-1]).sum()
    assert ours.zero_tail == silent


def clipped(samples: np.ndarray) -> int:
    """A sample counts if it and two neighbours of one sign are at full scale."""
    count = np.zeros(len(samples), bool)
    for at_full in (samples >= 0x7FFF0000 / 2**31, samples <= -0x7FFF0000 / 2**31):
        padded = np.pad(at_full, 2)
        three = padded[:-2] & padded[1:-1] & padded[2:]
        count |= three[:-2] | three[1:-1] | three[2:]
    return int(count.sum())


@pytest.mark.parametrize("codec", CODECS)
def test_all_figures_are_numpys(tmp_path: Path, codec: str):
    path = made(tmp_path, codec)
    ours = measured(path, step=12_345)
    numpy_says(path, ours)
    assert ours.channels[2].clipped > 10_000


# Real recordings: not part of this project, see test_real_recordings.py.


@pytest.fixture(scope="module")
def recordings() -> dict[str, Path]:
    """By path below their folder."""
    folder = Path(__file__).parents[3] / "shared" / "realwav"
    if not folder.is_dir():
        pytest.skip(f"no real recordings in {folder}")
    return {
        str(path.relative_to(folder)): path
        for path in sorted(folder.rglob("*"))
        if path.suffix.lower() == ".wav"
    }


def readable(recordings: dict[str, Path]) -> Iterator[tuple[str, Path, Measured]]:
    """Those of whose samples both we and libsndfile make something."""
    for name, path in recordings.items():
        ours = described(path)
        if ours.format is None or ours.data is None:
            continue
        found = measured(path)
        if not found.channels or not opens(path):
            continue
        yield name, path, found


def opens(path: Path) -> bool:
    try:
        soundfile.info(path)
    except soundfile.LibsndfileError:
        return False
    return True


def test_real_recordings_are_measured_as_numpy_does(recordings: dict[str, Path]):
    names = []
    for name, path, ours in readable(recordings):
        numpy_says(path, ours)
        names.append(name)
    assert len([n for n in names if n.startswith(("recorder_", "daw_"))]) >= 12
    assert len(names) >= 30


def test_real_recordings_have_the_levels_of_astats(recordings: dict[str, Path]):
    agreed = 0
    for name, path, ours in readable(recordings):
        if not name.startswith(("recorder_", "daw_")):
            continue
        said = ffmpeg("-i", path, "-af", "astats=measure_overall=none", "-f", "null", "-").stderr
        levels = [float(db) for db in re.findall(r"RMS level dB: (\S+)", said.decode())]
        for channel, level in zip(ours.channels, levels, strict=True):
            assert decibel(channel.rms) == pytest.approx(level, abs=1e-3), name
            agreed += 1
    assert agreed >= 14


def test_a_real_mono_split_is_the_channels_of_its_poly_file(recordings: dict[str, Path]):
    """A desktop program made it; found by digests alone, other takes left out."""
    takes = {n: measured(p) for n, p in recordings.items() if n.startswith("recorder_A/")}
    polys = {name: m for name, m in takes.items() if len(m.channels) == 2}
    monos = {m.channels[0].digest for m in takes.values() if len(m.channels) == 1}
    assert len(monos) == 2
    met = [n for n, m in polys.items() if {c.digest for c in m.channels} == monos]
    assert len(met) == 1


def test_a_real_re_export_has_equal_channels_and_blocks(recordings: dict[str, Path]):
    """Another file, the same audio and TimeReference: the collection says so."""
    (export,) = [measured(p) for n, p in recordings.items() if n.startswith("daw_1/")]
    originals = [measured(p) for n, p in recordings.items() if n.startswith("recorder_A/")]
    assert originals.count(export) == 1


def test_a_real_mono_set_has_five_different_channels(recordings: dict[str, Path]):
    found = [measured(p) for n, p in recordings.items() if n.startswith("recorder_B/")]
    assert len({m.channels[0].digest for m in found}) == 5
    assert len({(m.frames, m.first_sample) for m in found}) == 1


def test_the_same_rectangle_in_three_depths_is_one_where_it_should_be(
    recordings: dict[str, Path],
):
    """Files of one name in several containers: those that numpy finds equal, and no others."""
    groups: dict[str, Any] = {}
    for name, path, ours in readable(recordings):
        if name.startswith("bw64/") and ours.coding is Coding.INTEGER:
            samples, _ = soundfile.read(path, dtype="int32", always_2d=True)
            groups.setdefault(json.dumps(samples.T.tolist()), set()).add(
                tuple(c.digest for c in ours.channels)
            )
    assert len(groups) >= 2
    assert all(len(digests) == 1 for digests in groups.values())
    assert len(set().union(*groups.values())) == len(groups)


def test_a_span_beyond_the_file_is_what_is_there(tmp_path: Path):
    """A cut file: libsndfile opens it and drops the started frame, so do we."""
    path = made(tmp_path, "pcm_s24le")
    path.write_bytes(path.read_bytes()[:500_003])
    numpy_says(path, measured(path))
    ours = described(path)
    assert ours.data is not None
    assert ours.format is not None
    payload = path.read_bytes()[ours.data.offset :]
    assert meter_of(payload, ours.format).channels == measured(path).channels
    assert Span(ours.data.offset, len(payload)) == ours.data
