"""adapters/whole_file: all of a file or nothing, and what a killed writer left is taken away."""

from __future__ import annotations

import errno
import fcntl
import os
from pathlib import Path

import pytest

from loopbench import Bench
from takehold.adapters import whole_file
from takehold.adapters.whole_file import write_whole

LEFT = ".takehold-0123456789abcdef.part"


def write(folder: Path, name: str = "a") -> None:
    write_whole(os.fsencode(folder / name), b"all of it")


def test_it_is_there_with_all_its_bytes_and_nothing_beside_it(tmp_path: Path) -> None:
    write(tmp_path)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"all of it"}


def test_a_name_that_is_taken_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"mine")
    with pytest.raises(FileExistsError):
        write(tmp_path)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"mine"}


def test_what_a_killed_writer_left_is_taken_away(tmp_path: Path) -> None:
    (tmp_path / LEFT).write_bytes(b"hal")
    (tmp_path / ".takehold-notes.part").write_bytes(b"a person's own")
    write(tmp_path)
    assert sorted(os.listdir(tmp_path)) == [".takehold-notes.part", "a"]


def test_what_another_one_is_writing_stays(tmp_path: Path) -> None:
    """Its writer holds a lock, as the parts of copies do."""
    with (tmp_path / LEFT).open("wb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        write(tmp_path)
        assert sorted(os.listdir(tmp_path)) == [LEFT, "a"]


def test_a_link_under_a_parts_name_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "theirs").write_bytes(b"theirs")
    (tmp_path / LEFT).symlink_to(tmp_path / "theirs")
    write(tmp_path)
    assert (tmp_path / "theirs").read_bytes() == b"theirs"


def test_a_flush_of_the_folder_that_fails_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: bytes) -> None:
        raise OSError(errno.EIO, "it cannot be flushed")

    monkeypatch.setattr(whole_file, "_flush", fail)
    with pytest.raises(OSError, match="flushed"):
        write(tmp_path)
    assert os.listdir(tmp_path) == []


def test_where_there_are_no_links(bench: Bench) -> None:
    """On exFAT through FUSE: it knows neither links nor renaming without replacing."""
    stick = bench.disk("STICK", "exfat").mount
    write(stick)
    with pytest.raises(FileExistsError):
        write(stick)
    assert {p.name: p.read_bytes() for p in stick.iterdir()} == {"a": b"all of it"}
