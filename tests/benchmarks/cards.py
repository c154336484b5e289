"""Card content by the gigabyte: whole BWF files of noise, the same for the same arguments."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from cardmaker import RATE, today
from takehold.formats.bwf_file import bwf_header
from takehold.model.sound import Metadata, Rate, Track, WaveFormat

PIECE = 3 << 20
# 24 dB below full scale: with room above it, as recorded sound has, and never compressible.
PEAK = 1 << 19
RF64_FROM = 4_000_000_000
TRACKS = ("Mix L", "Mix R", "Boom", "Keeper", "Pilot", "Harbour", "Lamp", "Spare")


@dataclass(frozen=True, slots=True)
class Content:
    """So many files of so many bytes of audio each, 24 bits, `channels` tracks."""

    files: int
    payload: int
    channels: int


def takes(gigabytes: float) -> Content:
    """Poly takes of eight tracks, of 500 MB (7 minutes), or as few as one."""
    count = max(1, round(gigabytes * 2))
    return Content(count, int(gigabytes * 10**9 / count), 8)


def small(files: int, kilobytes: int) -> Content:
    """Short mono files."""
    return Content(files, kilobytes * 1000, 1)


def write(folder: Path, content: Content) -> int:
    """Make the files below `folder`, fifty a folder; their bytes in all."""
    total = 0
    for number in range(content.files):
        path = folder / f"DAY{number // 50:03}" / f"{number // 50 + 1:03}-T{number % 50 + 1:03}.WAV"
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb", buffering=0) as file:
            for piece in _pieces(content, number):
                total += file.write(piece)
    return total


def _pieces(content: Content, number: int) -> Iterator[bytes]:
    fmt = WaveFormat(1, content.channels, RATE, 24, 3 * content.channels)
    length = content.payload // (2 * fmt.block_align) * (2 * fmt.block_align)
    said = Metadata(
        project="Lantern Bay",
        scene=str(number // 50 + 1),
        take=str(number % 50 + 1),
        tape="roll 1",
        date=today(),
        time="10:00:00",
        time_reference=(36_000 + number * 5) * RATE,
        timecode_rate=Rate(25, 1),
        timestamp_sample_rate=RATE,
        file_uid=f"BENCH{number:06}",
        tracks=tuple(Track(i + 1, i + 1, TRACKS[i]) for i in range(content.channels)),
    )
    yield bwf_header(fmt, said, length, rf64=length > RF64_FROM)
    noise = np.random.Generator(np.random.SFC64(number))
    while length:
        piece = min(PIECE, length)
        samples = noise.integers(-PEAK, PEAK, piece // 3, dtype="<i4")
        yield samples.view("u1").reshape(-1, 4)[:, :3].tobytes()
        length -= piece
