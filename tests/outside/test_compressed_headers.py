"""FLAC and MP3 headers, as ffprobe and libsndfile read them; files made by ffmpeg, flac and sox."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest
import soundfile

from takehold.adapters.decoder import SoundfileDecoder
from takehold.formats.compressed import FLAC, MP3, told_samples
from takehold.formats.describe import describe
from takehold.model.sound import Description, Kind


def made(folder: Path, ending: str, rate: int, channels: int, *options: str) -> Path:
    """Two seconds of noise by ffmpeg."""
    out = folder / f"T.{ending}"
    noise = f"anoisesrc=r={rate}:d=2:a=0.1"
    layout = ("-ac", str(channels))
    command = ("ffmpeg", "-v", "error", "-y", "-f", "lavfi", "-i", noise, *layout, *options, out)
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    return out


def described(raw: bytes) -> Description:
    return describe(lambda at, length: raw[at : at + length], len(raw))


def probed(path: Path) -> tuple[int, int, int]:
    """Channels, rate and bits, as ffprobe has them."""
    command = ("ffprobe", "-v", "error", "-of", "json", "-show_streams", path)
    done = subprocess.run(command, check=True, capture_output=True, timeout=60)
    [stream] = json.loads(done.stdout)["streams"]
    bits = int(stream.get("bits_per_raw_sample") or 0)
    return int(stream["channels"]), int(stream["sample_rate"]), bits


@pytest.mark.parametrize(("rate", "channels"), [(48_000, 1), (44_100, 2), (96_000, 8)])
@pytest.mark.parametrize("depth", [("-sample_fmt", "s16"), ("-sample_fmt", "s32")])
def test_flac(tmp_path: Path, rate: int, channels: int, depth: tuple[str, str]) -> None:
    """Channels, rate, bits, and the frames that libsndfile counts."""
    path = made(tmp_path, "flac", rate, channels, *depth)
    said = described(path.read_bytes())
    assert (said.kind, said.data, said.complaints) == (Kind.COMPRESSED, None, ())
    form = said.format
    assert form is not None
    assert form.tag == FLAC
    assert (form.channels, form.sample_rate, form.bits) == probed(path)
    assert said.frames == soundfile.info(path).frames


@pytest.mark.parametrize("rate", [48_000, 44_100, 32_000, 24_000, 22_050, 16_000, 11_025, 8_000])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("tag", ["0", "4"])
def test_mp3(tmp_path: Path, rate: int, channels: int, tag: str) -> None:
    """MPEG 1, 2 and 2.5, with an ID3v2 tag and without one; it tells no bits and no frames."""
    path = made(tmp_path, "mp3", rate, channels, "-id3v2_version", tag, "-metadata", "title=T")
    raw = path.read_bytes()
    assert raw.startswith(b"ID3") == (tag == "4")
    said = described(raw)
    assert said.kind is Kind.COMPRESSED
    assert said.format is not None
    assert (said.format.tag, said.format.bits, said.frames) == (MP3, 0, None)
    assert (said.format.channels, said.format.sample_rate, 0) == probed(path)


class Bytes:
    """A file's bytes, as a reader."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw

    def read_at(self, offset: int, length: int) -> bytes:
        return self.raw[offset : offset + length]


@pytest.mark.parametrize("rate", [48_000, 44_100, 32_000, 22_050, 16_000, 8_000])
@pytest.mark.parametrize("options", [("-b:a", "64k"), ("-q:a", "4")], ids=["constant", "variable"])
def test_an_mp3_that_is_cut_off_lacks_what_its_first_frame_tells(
    tmp_path: Path, rate: int, options: tuple[str, ...]
) -> None:
    """The count is ffmpeg's; whole, nothing is missing of it, but what an encoder puts around."""
    raw = made(tmp_path, "mp3", rate, 1, *options).read_bytes()
    told = told_samples(Bytes(raw).read_at)
    assert 2 * rate <= told <= 2 * rate + 4 * 1152
    for length, least in ((len(raw), 0), (len(raw) // 2, rate // 2)):
        with SoundfileDecoder().stream(Bytes(raw[:length]), length) as stream:  # type: ignore[arg-type]
            while len(stream.read(10_000)):
                pass
            assert (stream.lacks == 0) == (least == 0)
            assert stream.lacks >= least
    assert told_samples(Bytes(raw[:30]).read_at) == 0
    assert told_samples(Bytes(b"RIFF" + raw).read_at) == 0


def test_a_constant_rate_of_every_size(tmp_path: Path) -> None:
    """The next frame is found behind the first, whatever its length."""
    for kbits in (32, 40, 56, 112, 160, 224, 320):
        path = made(tmp_path, "mp3", 44_100, 2, "-b:a", f"{kbits}k")
        assert described(path.read_bytes()).kind is Kind.COMPRESSED, kbits


def test_what_only_begins_like_one(tmp_path: Path) -> None:
    """Sync bits alone, a tag alone, a FLAC without its first block: opaque, as before."""
    flac = made(tmp_path, "flac", 48_000, 1).read_bytes()
    mp3 = made(tmp_path, "mp3", 48_000, 1, "-id3v2_version", "0").read_bytes()
    for raw in (
        b"\xff\xfb" * 600,
        b"\xff\xff\xff\xff" * 600,
        mp3[:4] + bytes(2_000),
        b"ID3\x04\x00\x00\x7f\x7f\x7f\x7f" + mp3,
        b"ID3",
        flac[:41],
        b"fLaC\x04" + flac[5:],
        b"fLaC" + bytes(100),
    ):
        assert described(raw) == Description(Kind.OTHER)
