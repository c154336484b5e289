"""Room and names are looked at before a byte is moved, on the fake and on a real folder."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from fakeworld import CARDS, Site, call_count, take
from makings import root_at
from takehold.adapters.disk import LocalDisk
from takehold.decide.salvage import is_salvage
from takehold.model.errors import FileMissing, NameRefused, VolumeFull

LONG = b"DAY/" + b"T" * 60 + b".WAV"
FILES = {b"DAY/T01.WAV": take(1), LONG: take(2)}


def test_a_name_that_one_drive_cannot_hold_moves_nothing_there() -> None:
    """The other drive gets it in the same read; its neighbours stand on both."""
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", FILES)
    first, second = site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    first.longest_name = 40
    site.work()
    assert len(site.on(first)) == 1
    assert len(site.on(second)) == 2
    assert call_count(first, "write") == 1, "the neighbour's"
    assert {t.code for t in site.engine.ledger.troubles.values()} == {"name-refused"}
    assert call_count(card, "open", LONG) == 3, "described, copied, read a second time"
    site.no_false_word()


def test_a_file_larger_than_the_room_of_every_drive_is_not_even_read() -> None:
    """The look told how much room there is."""
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", FILES)
    drives = [site.drive(name, capacity=100) for name in ("SHUTTLE_1", "SHUTTLE_2")]
    site.work()
    assert [call_count(drive, "part") for drive in drives] == [0, 0]
    assert [call_count(card, "open", path) for path in FILES] == [1, 1], "described only"
    assert any(alarm.code == "volume-full" for alarm in site.engine.now.alarms.values())


def test_room_that_went_since_the_look_is_found_before_a_byte(tmp_path: Path) -> None:
    """statvfs(3) of the moment; nothing is written."""
    with LocalDisk().destination(root_at(tmp_path)) as tree:
        part = tree.part(b"")
        with pytest.raises(VolumeFull, match="no room"):
            part.reserve(1 << 60)
        part.drop()
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("kind", ["vfat", "msdos"])
def test_a_file_that_fat_cannot_hold_is_refused_before_a_byte(tmp_path: Path, kind: str) -> None:
    """DIR_FileSize has 32 bits (Microsoft FAT specification): 2**32 bytes are one too many."""
    root = root_at(tmp_path)
    root = replace(root, volume=replace(root.volume, kind=kind))
    with LocalDisk().destination(root) as tree:
        part = tree.part(b"")
        with pytest.raises(VolumeFull, match="4 GiB"):
            part.reserve(2**32)
        part.drop()
    assert os.listdir(tmp_path) == []


def test_a_real_folder_tells_which_names_it_holds(tmp_path: Path) -> None:
    """NAME_MAX of Linux is 255 bytes (limits.h); a name that is in use is no question here."""
    (tmp_path / "there.wav").write_bytes(b"")
    with LocalDisk().destination(root_at(tmp_path)) as tree:
        tree.check_name(b"T" * 255)
        tree.check_name(b"there.wav")
        with pytest.raises(NameRefused):
            tree.check_name(b"T" * 256)
        with pytest.raises(FileMissing):
            tree.check_name(b"no folder/T.wav")
    assert os.listdir(tmp_path) == ["there.wav"]


@pytest.mark.parametrize(
    ("path", "so"),
    [
        (b"Lantern Bay/2031-05-06.salvage/SND_A1/T01.WAV.PARTS-MISSING", True),
        (b"2031-05-06.salvage/SND_A1/T01.WAV.PARTS-MISSING-2.txt", True),
        (b"Lantern Bay/2031-05-06/SND_A1/T01.WAV.PARTS-MISSING", False),
        (b"Lantern Bay/2031-05-06.salvage/SND_A1/T01.WAV", False),
        (b"2031-05-06.salvage/T.PARTS-MISSING/T02.WAV", False),
    ],
)
def test_what_a_receiver_takes_for_salvage(path: bytes, so: bool) -> None:
    """Nothing under a recording's name, and nothing within a day's folder."""
    assert is_salvage(path) is so
