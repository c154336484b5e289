"""A day recorded as FLAC and MP3: its audio is measured from the proven copies.

The files are made by ffmpeg; what they hold is known from how they were made.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from cardmaker import today
from instance import Instance

TONE = "sine=frequency=440:sample_rate=48000:duration=4"
NOTHING = "anullsrc=r=48000:cl=mono,atrim=duration=4"
SECONDS = 4
FRAMES = SECONDS * 48_000
# An MP3 without an information frame is whole frames of 1152 samples (ISO/IEC 11172-3), here with
# an encoder's delay of 1105, as ffmpeg's wrapper of libmp3lame has it.
MP3_FRAMES = -(-(FRAMES + 1105) // 1152) * 1152


def ffmpeg(*words: str | Path) -> None:
    command = ["ffmpeg", "-v", "error", "-y", *map(str, words)]
    subprocess.run(command, check=True, timeout=60, stdin=subprocess.DEVNULL)


def source(*filters: str) -> list[str]:
    return [word for one in filters for word in ("-f", "lavfi", "-i", one)]


def overstated(flac: bytes) -> bytes:
    """The same file, its header telling a second more (RFC 9639, 8.2)."""
    more = int.from_bytes(flac[18:26], "big") + 48_000
    return flac[:18] + more.to_bytes(8, "big") + flac[26:]


@pytest.fixture
def instance(tmp_path: Path) -> Instance:
    """Two folders as cards that hold the same, two as drives."""
    folders = {name: tmp_path / name for name in ("SND_A1", "SND_B1", "one", "two")}
    for folder in folders.values():
        folder.mkdir()
    card = folders["SND_A1"]
    both = "[0][1]amerge=inputs=2"
    flac = ("-c:a", "flac", "-sample_fmt", "s32")
    ffmpeg(*source(TONE, NOTHING), "-filter_complex", both, *flac, card / "S01T01.flac")
    ffmpeg(*source(TONE), "-q:a", "6", "-write_xing", "0", card / "S01T02.mp3")
    ffmpeg(*source(TONE), *flac, tmp_path / "whole.flac")
    whole = (tmp_path / "whole.flac").read_bytes()
    (card / "S01T03.flac").write_bytes(whole[: len(whole) // 2])
    (card / "S01T05.flac").write_bytes(overstated(whole))
    ffmpeg(*source(TONE + ",volume=40dB"), *flac, card / "S01T04.flac")
    shutil.copytree(card, folders["SND_B1"], dirs_exist_ok=True)
    return Instance(
        tmp_path / "laptop",
        {"primary": ("primary", folders["SND_A1"]), "backup": ("backup", folders["SND_B1"])},
        {"one": folders["one"], "two": folders["two"]},
        {"copies_required": 1},
    )


def about(facts: Any, code: str) -> set[str]:
    """The names of the primary files that a finding of that code is about."""
    found = (f["says"].split(":")[0] for f in facts["findings"] if f["code"] == code)
    return {name.rpartition("/")[2] for name in found if "SND_A1" in name or "primary" in name}


def audio_of(folder: Path) -> dict[str, Any]:
    """What the newest manifest of a day says of the primary card's audio, by the files' names."""
    [*_, path] = sorted((folder / "Lantern Bay" / today()).glob("*.manifest.json"))
    doc = json.loads(path.read_bytes())
    first = min(load["id"] for load in doc["loads"] if load["role"] == "primary")
    return {f["path"]: f["audio"] for f in doc["files"] if f["load"] == first}


def check(facts: Any) -> None:
    """The day's checks say of these files what they would of WAVE files."""
    [silent] = (f for f in facts["findings"] if f["code"] == "track-silent")
    assert "S01T01.flac" in silent["says"]
    assert "channel 2" in silent["says"]
    [broken] = {f["path"] for f in facts["findings"] if f["code"] == "not-decoded"}
    assert broken.endswith("S01T03.flac")
    assert about(facts, "header-untrue") == {"S01T05.flac"}
    assert any("S01T04.flac" in f["says"] for f in facts["findings"] if f["code"] == "clipped")
    assert not [f for f in facts["findings"] if f["code"] == "sound-unmeasured"]
    seconds = {f["path"]: f.get("seconds") for f in facts["files"] if f["role"] == "primary"}
    assert seconds["S01T01.flac"] == seconds["S01T05.flac"] == SECONDS
    assert seconds["S01T02.mp3"] == round(MP3_FRAMES / 48_000, 3)


def test_a_day_of_compressed_recordings(instance: Instance, tmp_path: Path) -> None:
    """`once` measures them before it ends, and the manifest tells it; so does a new catalogue."""
    once = instance.run("once")
    assert "Traceback" not in once.stderr
    check(instance.facts("day", today()))
    for folder in ("SND_A1", "SND_B1"):  # the cards are gone, and all is known
        shutil.rmtree(tmp_path / folder)
        (tmp_path / folder).mkdir()
    instance.run("wrap", today())
    audio = audio_of(tmp_path / "one")
    assert audio["S01T03.flac"] is None
    first, mp3 = audio["S01T01.flac"], audio["S01T02.mp3"]
    assert (first["encoding"], first["frames"], first["coding"]) == ("FLAC", FRAMES, "integer")
    assert [level["peak"] > 0 for level in first["levels"]] == [True, False]
    assert (mp3["encoding"], mp3["frames"], mp3["coding"]) == ("MP3", MP3_FRAMES, "float32")
    shutil.rmtree(instance.state)
    assert "is rebuilt from signed manifests" in instance.run("once").stderr
    check(instance.facts("day", today()))
