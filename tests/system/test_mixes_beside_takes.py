"""Mixes that lie on one card only, beside takes that both cards have: what is told of them."""

from __future__ import annotations

import os
import subprocess
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cardmaker import today
from corpus.wavs import RATE, Said, file_of, packed, voices
from instance import Instance

NAMES = ("Mix", "Boom", "Keeper")
CODES = {
    *("backup-missing", "backup-different", "backup-reduced", "backup-partial", "backup-short"),
    "primary-reduced",
    *("backup-spare", "only-on-backup", "take-twice", "backup-not-comparable"),
}


@pytest.fixture
def day(tmp_path: Path) -> Instance:
    """Two folders as cards, one as a drive."""
    folders = {name: tmp_path / name for name in ("primary_card", "backup_card", "drive")}
    for folder in folders.values():
        folder.mkdir()
    cards = {name: (name, folders[f"{name}_card"]) for name in ("primary", "backup")}
    return Instance(tmp_path / "laptop", cards, {"drive": folders["drive"]}, {"copies_required": 1})


def said(take: int, *names: str, **more: Any) -> Said:
    start = (8 * 3600 + take * 20) * RATE
    return Said(today(), "1", str(take), start, names, uid=f"U{take}{names[0]}", **more)


def put(path: Path, about: Said, content: bytes) -> Path:
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content)
    moment = datetime.fromisoformat(today()) + timedelta(seconds=about.start // RATE)
    os.utime(path, (moment.timestamp(),) * 2)
    return path


def wav(path: Path, about: Said, samples: Any, bits: int = 24) -> Path:
    return put(path, about, file_of(about, packed(samples, bits), samples.shape[1], bits))


def mp3(path: Path, about: Said, samples: Any) -> None:
    """Of all these channels, made by ffmpeg."""
    source = wav(path.parent.parent / "from.wav", about, samples)
    path.parent.mkdir(exist_ok=True)
    words = ["-c:a", "libmp3lame", "-b:a", "192k", str(path)]
    subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", str(source), *words], check=True)
    source.unlink()
    put(path, about, path.read_bytes())


def told(instance: Instance) -> list[tuple[str, str]]:
    once = instance.run("once", timeout=300)
    assert "Traceback" not in once.stderr
    found = instance.facts("day", today())["findings"]
    return sorted((f["code"], f["says"]) for f in found if f["code"] in CODES)


def test_mixes_of_their_own_on_the_primary_card(day: Instance, tmp_path: Path) -> None:
    """Of those whose sound the backup has nothing is said; of one that holds more, it lacks."""
    dice = np.random.default_rng(7)
    cards = tmp_path / "primary_card", tmp_path / "backup_card"
    for take in (1, 2, 3, 4):
        samples = voices(dice, 4 * RATE, 4)
        about = said(take, *NAMES, family=f"F{take}")
        for card in cards:
            wav(card / f"1T{take}.WAV", about, samples[:, :3])
        both = samples[:, [0, 0]].copy()
        if take == 3:
            both[:, 1] = samples[:, 3]  # on no other file
        if take == 4:
            both[len(both) // 2 :, 1] = 0
        mp3(cards[0] / "MP3" / f"1T{take}.MP3", about, both)
        mix = said(take, "M", family=f"M{take}")
        wav(cards[0] / "MIX" / f"1T{take}_MIX.WAV", mix, samples[:, :1])
    says = told(day)
    assert [code for code, _ in says] == ["backup-missing"] * 2
    assert [sentence.split(":")[0] for _, sentence in says] == [
        "primary/MP3/1T3.MP3",
        "primary/MP3/1T4.MP3",
    ]


@pytest.mark.parametrize("swapped", [False, True])
def test_a_mix_beside_isos_and_one_file_of_all(day: Instance, tmp_path: Path, swapped: bool):  # type: ignore[no-untyped-def]
    """One bit of one track of take 1 differs; of takes 2 and 3 the one file has 16 bits."""
    dice = np.random.default_rng(8)
    apart, whole = tmp_path / "primary_card", tmp_path / "backup_card"
    apart, whole = (whole, apart) if swapped else (apart, whole)
    for take, bits in ((1, 24), (2, 16), (3, 16)):
        samples = voices(dice, 2 * RATE, 3)
        wav(whole / f"1T{take}.WAV", said(take, *NAMES, family=f"F{take}"), samples, bits)
        samples[3000, 1] ^= 4 if take == 1 else 0
        for n in (1, 2):
            one = said(take, NAMES[n], family=f"F{take}", files=2, index=str(n))
            one = one.but(first_channel=n + 1)
            wav(apart / f"1T{take}_{n}.WAV", one, samples[:, n : n + 1])
        mix = said(take, "Mix", family=f"F{take}")
        wav(apart / f"1T{take}_MIX.WAV", mix, samples[:, :1])
    if swapped:
        (code, says), *others = told(day)
        assert (code, says.endswith("on track 2 (Boom).")) == ("backup-different", True)
        assert [code for code, _ in others] == ["primary-reduced"] * 2
        return
    (code, says), *others = told(day)
    assert (code, says.split(":")[0]) == ("backup-different", "primary/1T1_1.WAV")
    assert [code for code, _ in others] == ["backup-reduced"]
    assert "6 files of primary at a lower quality" in others[0][1]


def test_of_a_file_of_the_mix_and_fewer_tracks_what_it_lacks_is_told(
    day: Instance, tmp_path: Path
) -> None:
    """The backup's file has 16 bits; of take 2 one bit of a track differs, take 3 begins later."""
    dice = np.random.default_rng(9)
    words = (*NAMES, "Lav")
    for take in (1, 2, 3):
        samples = voices(dice, 2 * RATE, 4)
        isos = said(take, *words[1:], family=f"F{take}").but(first_channel=2)
        wav(tmp_path / "primary_card" / f"1T{take}.WAV", isos, samples[:, 1:])
        mix = said(take, "Mix", family=f"M{take}")
        wav(tmp_path / "primary_card" / f"1T{take}_MIX.WAV", mix, samples[:, :1])
        samples[3000, 1] ^= 1 << 20 if take == 2 else 0
        its, first = said(take, *NAMES, family=f"B{take}"), 4800 if take == 3 else 0
        its = its.but(start=its.start + first)
        wav(tmp_path / "backup_card" / f"1T{take}.WAV", its, samples[first:, :3], 16)
    found = told(day)
    assert [code for code, _ in found] == [
        *("backup-different", "backup-partial", "backup-partial"),
        *("backup-reduced", "backup-reduced", "backup-short", "backup-short"),
    ]
    different, some, one, *_ = [says for _, says in found]
    assert "primary/1T2.WAV" in different
    assert "on track 1 (Boom)" in different
    assert "track 3 (Lav) has no backup" in some
    assert "They are 1T1.WAV, 1T3.WAV" in some
    assert "primary/1T2.WAV: " in one
    assert "track 3 (Lav) has no backup" in one
