"""Cards' worth of recordings for tests: short BWF takes of an invented production.

The same arguments give the same bytes on the same day, so that a backup card matches.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path

from takehold.formats.bwf_file import bwf
from takehold.model.sound import Metadata, Rate, Track, WaveFormat

RATE = 48_000
TIMECODE = Rate(25, 1)
TRACKS = ("Boom", "Keeper", "Pilot", "Harbour")


def today() -> str:
    """The shooting day of now; it starts at 06:00 unless the config says otherwise (design)."""
    return (datetime.now() - timedelta(hours=6)).date().isoformat()


def take(
    scene: int,
    number: int,
    *,
    seconds: float = 0.3,
    channels: int = 2,
    note: str = "",
    day: str | None = None,
    sound: int = 0,
) -> bytes:
    """One whole file, 24 bits at 48 kHz, timecode 25; another `sound` is other audio."""
    fmt = WaveFormat(1, channels, RATE, 24, 3 * channels)
    length = int(seconds * RATE) * fmt.block_align
    dice = random.Random(f"{scene} {number} {sound}")
    start = 10 * 3600 + scene * 600 + number * 60
    metadata = Metadata(
        project="Lantern Bay",
        scene=str(scene),
        take=str(number),
        tape="roll 1",
        note=note,
        originator="test recorder",
        date=day or today(),
        time=f"{start // 3600:02}:{start // 60 % 60:02}:00",
        time_reference=start * RATE,
        timecode_rate=TIMECODE,
        timestamp_sample_rate=RATE,
        file_uid=f"TEST{scene:03}{number:03}",
        tracks=tuple(Track(i + 1, i + 1, TRACKS[i]) for i in range(channels)),
    )
    return bwf(fmt, metadata, dice.randbytes(length))


def name_of(scene: int, number: int) -> str:
    """A take's path on its card."""
    return f"DAY01/S{scene:02}T{number:02}.WAV"


def fill(
    card: Path,
    takes: Iterable[tuple[int, int]] = ((1, 1), (1, 2), (2, 1)),
    *,
    seconds: float = 0.3,
    channels: int = 2,
    note: str = "",
    sound: int = 0,
) -> dict[str, bytes]:
    """Put takes on a card and give back what was put there, by path."""
    made = {}
    for scene, number in takes:
        content = take(scene, number, seconds=seconds, channels=channels, note=note, sound=sound)
        put(card, name_of(scene, number), content)
        made[name_of(scene, number)] = content
    return made


def put(card: Path, path: str, content: bytes) -> Path:
    """Write one file and its folders."""
    place = card / path
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(content)
    return place


def put_bytes(card: Path, path: bytes, content: bytes) -> bytes:
    """The same for a name that is no UTF-8."""
    place = os.path.join(os.fsencode(card), path)
    os.makedirs(os.path.dirname(place), exist_ok=True)
    with open(place, "wb") as file:
        file.write(content)
    return place
