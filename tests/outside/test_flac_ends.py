"""The samples of a FLAC by its last frame, as metaflac and ffmpeg count them."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from takehold.formats.flac_end import held_frames

NOISE = "anoisesrc=r=48000:d=2.3:a=0.1:seed=7"


def made(out: Path, *options: str) -> bytes:
    """Noise as FLAC, by ffmpeg."""
    command = ("ffmpeg", "-v", "error", "-y", "-f", "lavfi", "-i", NOISE, *options, out)
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    return out.read_bytes()


def held(raw: bytes) -> int | None:
    return held_frames(lambda at, length: raw[at : at + length], len(raw))


def counted(path: Path) -> int:
    """As the flac project's own tool has it."""
    command = ("metaflac", "--show-total-samples", path)
    done = subprocess.run(command, check=True, capture_output=True, timeout=60)
    return int(done.stdout)


@pytest.mark.parametrize(
    "options",
    [
        ("-compression_level", "0"),
        ("-compression_level", "12"),
        ("-frame_size", "1152"),
        ("-frame_size", "5000"),
        ("-ac", "8", "-sample_fmt", "s32"),
        ("-ar", "44100", "-ac", "1"),
        ("-ar", "50000"),
        ("-ar", "12345"),
        ("-t", "0.001"),
    ],
)
def test_whole_files(tmp_path: Path, options: tuple[str, ...]) -> None:
    """Sizes of blocks and rates with a code of their own, and such as follow in bytes (9.1)."""
    raw = made(tmp_path / "T.flac", *options)
    assert held(raw) == counted(tmp_path / "T.flac")


@pytest.mark.parametrize("level", ["-0", "-8"])
def test_files_of_the_flac_tool(tmp_path: Path, level: str) -> None:
    """With seek points, padding and comments before the first frame."""
    subprocess.run(
        ("ffmpeg", "-v", "error", "-f", "lavfi", "-i", NOISE, tmp_path / "T.wav"),
        check=True,
        capture_output=True,
        timeout=60,
    )
    command = ("flac", "-s", level, "--lax", "-b", "700", "-S", "10x", "-P", "9999", "-T", "A=b")
    subprocess.run((*command, tmp_path / "T.wav"), check=True, capture_output=True, timeout=60)
    raw = (tmp_path / "T.flac").read_bytes()
    assert held(raw) == counted(tmp_path / "T.flac") == 110_400


def test_a_cut_or_damaged_end_tells_nothing(tmp_path: Path) -> None:
    """Each frame has a checksum of its own (RFC 9639, 9.3)."""
    raw = made(tmp_path / "T.flac")
    assert held(raw[:-1]) is None
    assert held(raw + b"TAG") is None
    assert held(raw[:-300] + bytes([raw[-300] ^ 1]) + raw[-299:]) is None
    for cut in (0, 3, 4, 41, 42, 60):
        assert held(raw[:cut]) is None


def test_the_count_in_the_header_says_nothing(tmp_path: Path) -> None:
    """STREAMINFO's is passed over (RFC 9639, 8.2: the last 36 of these bits)."""
    raw = made(tmp_path / "T.flac")
    packed = int.from_bytes(raw[18:26], "big") >> 36 << 36 | 5
    assert held(raw[:18] + packed.to_bytes(8, "big") + raw[26:]) == 110_400
