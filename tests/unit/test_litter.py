"""What a computer leaves on a card is ignored by a closed list, counted and named (P7).

The names are those that current systems write: common practice, no source.
"""

from __future__ import annotations

import pytest

from takehold.decide.litter import holds_audio, litter_name, matters, sort_litter
from takehold.model.facts import Skip
from takehold.model.recording import Stamp

STAMP = Stamp(1, 1)


@pytest.mark.parametrize(
    ("path", "pattern"),
    [
        (b".Spotlight-V100/Store-V2/x", ".spotlight-v100/"),
        (b".fseventsd/0000000001", ".fseventsd/"),
        (b".Trashes/501/T01.WAV", ".trashes/"),
        (b".Trash-1000/files/T01.WAV", ".trash-*/"),
        (b"System Volume Information/WPSettings.dat", "system volume information/"),
        (b"$RECYCLE.BIN/S-1-5/T01.WAV", "$recycle.bin/"),
        (b"DAY01/lost+found/#12", "lost+found/"),
        (b"DAY01/._T01.WAV", "._*"),
        (b".DS_Store", ".ds_store"),
        (b"DAY01/Thumbs.db", "thumbs.db"),
        (b"DESKTOP.INI", "desktop.ini"),
    ],
)
def test_litter_is_told_by_name_in_any_case(path: bytes, pattern: str) -> None:
    assert litter_name(path) == pattern


@pytest.mark.parametrize(
    "path",
    [
        b"T01.WAV",
        b"Trashes/T01.WAV",
        b".hidden/T01.WAV",
        b"lost+found",
        b".Trashes",
        b"_.T01.WAV",
        b"DS_Store",
        b"desktop.ini.wav",
        b"\xff\xfe.wav",
        b"RECYCLER.WAV",
        b".",
    ],
)
def test_any_other_name_is_a_file_to_copy(path: bytes) -> None:
    """Hidden folders, odd bytes, names that only look like litter: all of it is copied."""
    assert litter_name(path) is None


def test_a_listing_is_parted_counted_and_its_hidden_audio_named() -> None:
    paths = (b"T01.WAV", b"._T01.WAV", b"._T02.WAV", b".Trashes/T03.wav", b".Trashes/._T03.wav")
    parted = sort_litter((path, STAMP) for path in paths)
    assert parted.files == ((b"T01.WAV", STAMP),)
    assert parted.litter == (("._*", 2), (".trashes/", 2))
    assert parted.hidden_audio == (b".Trashes/T03.wav",)


def test_every_listed_file_is_kept_or_counted() -> None:
    """Nothing falls between the two."""
    paths = [b"a", b"b/c", b"._b", b".DS_Store", b".fseventsd/x", b"b/.fseventsd/y/z"]
    parted = sort_litter((path, STAMP) for path in paths)
    assert len(parted.files) + sum(n for _, n in parted.litter) == len(paths)


@pytest.mark.parametrize(
    ("path", "is_audio"),
    [(b"A/T01.WAV", True), (b"t.bwf", True), (b"A.WAV/note.txt", False), (b"._T01.WAV", False)],
)
def test_audio_is_told_by_its_ending(path: bytes, is_audio: bool) -> None:
    assert holds_audio(path) is is_audio


@pytest.mark.parametrize(
    ("path", "unknown"),
    [
        (b"DAY01", True),
        (b"", True),
        (b"._link", True),
        (b".Trashes", False),
        (b".Trashes/501", False),
        (b"System Volume Information", False),
    ],
)
def test_an_unread_folder_matters_unless_it_is_litter(path: bytes, unknown: bool) -> None:
    assert matters(Skip(path, "unreadable folder")) is unknown
