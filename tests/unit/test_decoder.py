"""adapters/decoder: what libsndfile says of files that are whole, and of some that are not."""

from __future__ import annotations

import io
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

from takehold.adapters import decoder
from takehold.adapters.decoder import SoundfileDecoder
from takehold.model.errors import Malformed, VolumeGone
from takehold.model.recording import Seen, Stamp
from takehold.ports.disk import Reader


class Bytes:
    """A Reader over bytes; counts what is read, and is pulled out after `lasts` reads."""

    def __init__(self, content: bytes, lasts: int = 1 << 30) -> None:
        self.content = content
        self.lasts = lasts
        self.got = 0

    def stamp(self) -> Stamp:
        return Stamp(len(self.content), 0)

    def read_at(self, offset: int, length: int) -> bytes:
        self.lasts -= 1
        if self.lasts < 0:
            raise VolumeGone("The card was pulled.")
        got = self.content[offset : offset + length]
        self.got += len(got)
        return got

    def read_into(self, buffer: memoryview, offset: int) -> int:
        raise AssertionError("a decoder reads through the cache")

    def seen(self, size: int) -> Seen:
        return Seen.UNKNOWN


def complaint(content: bytes, frames: int) -> str | None:
    reader: Reader = Bytes(content)
    return SoundfileDecoder().complaint(reader, len(content), frames)


def wave(frames: int, channels: int = 2, rate: int = 48_000, bits: int = 24) -> bytes:
    """PCM WAVE after "Multimedia Programming Interface and Data Specifications 1.0" (1991)."""
    align = channels * bits // 8
    per_second = rate * align & 0xFFFFFFFF
    fmt = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, channels, rate, per_second, align, bits)
    data = struct.pack("<4sI", b"data", frames * align) + bytes(frames * align)
    return struct.pack("<4sI4s", b"RIFF", 4 + len(fmt) + len(data), b"WAVE") + fmt + data


def made_by_ffmpeg(folder: Path, *options: str) -> bytes:
    """Two seconds of a tone, written by ffmpeg."""
    target = folder / "tone.wav"
    source = ["-f", "lavfi", "-i", "sine=frequency=440:sample_rate=48000:duration=2"]
    command = ["ffmpeg", "-v", "error", "-y", *source, *options, str(target)]
    subprocess.run(command, check=True, timeout=60, stdin=subprocess.DEVNULL)
    return target.read_bytes()


@pytest.mark.parametrize("frames", [0, 1, 47_999, 48_000, 48_001, 200_000])
def test_a_whole_file_is_fine(frames: int) -> None:
    """Shorter than a second, just a second, longer; also with no frame at all."""
    assert complaint(wave(frames), frames) is None


@pytest.mark.parametrize(
    "options",
    [
        ("-c:a", "pcm_s24le"),
        ("-c:a", "pcm_f32le"),
        ("-c:a", "pcm_s16le", "-ac", "8"),
        ("-c:a", "pcm_s24le", "-rf64", "always"),
    ],
)
def test_files_of_another_program(tmp_path: Path, options: tuple[str, ...]) -> None:
    """WAVE, float, EXTENSIBLE and RF64 as ffmpeg writes them."""
    content = made_by_ffmpeg(tmp_path, *options)
    assert complaint(content, 96_000) is None
    assert "96000" in str(complaint(content, 96_001))


def test_another_count_is_said() -> None:
    """It names both numbers."""
    assert complaint(wave(1000), 999) == "the decoder counts 1000 frames, not 999"


def test_a_cut_file_is_said() -> None:
    """The header promises more than there is."""
    assert complaint(wave(100_000)[:300_000], 100_000) is not None


@pytest.mark.parametrize(
    "content", [b"", b"RIFF", b"\xff" * 400, b"RIFF\x10\0\0\0WAVEjunk\4\0\0\0abcd"]
)
def test_what_it_cannot_open_is_said(content: bytes) -> None:
    """Never an exception for bad bytes."""
    assert complaint(content, 10)


@pytest.mark.parametrize("form", ["RF64", "RIFF"])
def test_an_odd_chunk_that_it_does_not_step_over_is_no_complaint(form: str, tmp_path: Path) -> None:
    """RF64 with a pad byte (EBU Tech 3306; ffmpeg reads it), RIFF without one: both are whole."""
    plain = wave(1000)
    odd = struct.pack("<4sI", b"iXML", 5) + b"<a/>\n" + (b"\0" if form == "RF64" else b"")
    content = plain[:12] + odd + plain[12:]
    if form == "RF64":
        ds64 = struct.pack("<4sIQQQI", b"ds64", 28, len(content) + 28, 6000, 1000, 0)
        content = b"RF64\xff\xff\xff\xffWAVE" + ds64 + content[12:]
        target = tmp_path / "odd.wav"
        target.write_bytes(content)
        command = ["ffmpeg", "-v", "error", "-i", str(target), "-f", "s24le", "-"]
        made = subprocess.run(command, check=True, capture_output=True, timeout=60)
        assert (len(made.stdout), made.stderr) == (6000, b"")
    with pytest.raises(soundfile.LibsndfileError):
        soundfile.info(io.BytesIO(content))
    assert complaint(content, 1000) is None


def test_a_form_it_does_not_know_is_no_complaint() -> None:
    """BW64 (ITU-R BS.2088) is refused by libsndfile 1.2, and is no fault of the file."""
    content = wave(1000).replace(b"RIFF", b"BW64", 1)
    assert complaint(content, 1000) is None


def test_a_short_ds64_is_no_complaint() -> None:
    """RF64 whose ds64 has 24 bytes, no table length: libsndfile 1.2 finds no data in it."""
    riff = wave(1000)
    ds64 = struct.pack("<4sIQQQ", b"ds64", 24, len(riff) + 24, 6000, 1000)
    content = b"RF64\xff\xff\xff\xffWAVE" + ds64 + riff[12:]
    assert complaint(content, 1000) is None


def test_only_both_ends_are_read() -> None:
    """Ten minutes of audio, and no more is read than the header and two seconds."""
    content = wave(48_000 * 60 * 10)
    reader = Bytes(content)
    assert SoundfileDecoder().complaint(reader, len(content), 48_000 * 60 * 10) is None
    assert reader.got < 3 * 48_000 * 6


def test_no_claim_allocates() -> None:
    """A header with 4 GHz and 1000 channels asks for no more than is decoded of others."""
    content = wave(10, channels=1000, rate=4_000_000_000, bits=8)
    reader = Bytes(content)
    SoundfileDecoder().complaint(reader, len(content), 10)
    assert reader.got < 3 * len(content)


def flac(frames: int, tells: int) -> bytes:
    """A FLAC file by libsndfile that tells another length (RFC 9639, 8.2)."""
    made = io.BytesIO()
    noise = np.random.default_rng(1).integers(-(2**20), 2**20, frames, dtype="i4")
    soundfile.write(made, noise << 8, 48_000, subtype="PCM_24", format="FLAC")
    raw = made.getvalue()
    packed = int.from_bytes(raw[18:26], "big") >> 36 << 36 | tells
    return raw[:18] + packed.to_bytes(8, "big") + raw[26:]


def test_a_length_that_the_bytes_cannot_hold_is_refused_when_it_is_opened() -> None:
    """Unless it is known how many there are: then each place is found."""
    raw = flac(100_000, (1 << 36) - 1)
    reader: Reader = Bytes(raw)
    opened = SoundfileDecoder().open(reader, len(raw))
    with pytest.raises(Malformed, match="cannot hold the 68719476735 frames"), opened:
        pass
    with SoundfileDecoder().open(reader, len(raw), 100_000) as samples:
        assert samples.frames == 100_000
        whole = [samples.read(start, 10).tolist() for start in (99_990, 5, 50_000)]
    good = flac(100_000, 100_000)
    with SoundfileDecoder().open(Bytes(good), len(good)) as samples:
        assert [samples.read(start, 10).tolist() for start in (99_990, 5, 50_000)] == whole


def test_a_stream_says_what_its_header_tells_beyond_its_end() -> None:
    for tells, lacks in ((1_000, 0), (1_500, 500), ((1 << 36) - 1, (1 << 36) - 1_001), (0, 0)):
        assert streamed(flac(1_000, tells)) == (1_000, lacks)


@pytest.mark.parametrize("tells", [1, 50_000, 99_999])
def test_a_stream_has_what_the_header_does_not_tell(tells: int) -> None:
    """A decoder stops at the count in the header; the last frame tells how many there are."""
    assert streamed(flac(100_000, tells)) == (100_000, tells - 100_000)


def test_what_stands_behind_the_last_frame_is_no_more_of_it() -> None:
    """Its end is not where the file's is: then the header's count is believed."""
    assert streamed(flac(100_000, 99_000) + b"TAG" + bytes(125)) == (99_000, 0)


def streamed(raw: bytes) -> tuple[int, int]:
    """How many frames a stream has, and lacks."""
    got = 0
    with SoundfileDecoder().stream(Bytes(raw), len(raw)) as stream:
        while count := len(stream.read(300)):
            got += count
        return got, stream.lacks


@pytest.mark.parametrize("lasts", range(12))
def test_a_pulled_card_is_told_as_such(
    lasts: int, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A failing reader raises its own error through the decoder, with nothing on the terminal."""
    content = wave(200_000)
    if lasts > 1:  # a small file is read at once
        monkeypatch.setattr(decoder, "_IN_MEMORY", 0)
    reader = Bytes(content, lasts)
    with pytest.raises(VolumeGone, match="pulled"):
        SoundfileDecoder().complaint(reader, len(content), 200_000)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("cut", [None, 1, 43, 44, 45, 3000])
@pytest.mark.parametrize("counted", [1000, 999, 1001])
def test_in_memory_it_says_the_same(
    cut: int | None, counted: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether libsndfile is given a small file whole or asks for its pieces; one after another."""
    content = wave(1000)
    several = content[:cut], content, content[:44] + b"\xff" * 50, b"RIFF" + content[:9] + content
    whole = [complaint(c, counted) for c in several]
    monkeypatch.setattr(decoder, "_IN_MEMORY", 0)
    assert whole == [complaint(c, counted) for c in several]
