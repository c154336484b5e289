"""adapters/disk: a folder by one call of the system; a small file is read up to its known end."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from makings import root_at
from takehold.adapters.disk import LocalDisk, destination, roots
from takehold.adapters.disk.beneath import open_beneath
from takehold.adapters.disk.reading import DIRECT_FROM
from takehold.adapters.disk.roots import opened
from takehold.engine.ring import Buffer
from takehold.model.errors import FileMissing, NameTaken

FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """Folders, and links to one of them as the last part of a path and within it."""
    (tmp_path / "day" / "card" / "deep").mkdir(parents=True)
    (tmp_path / "day" / "link").symlink_to("card")
    (tmp_path / "day" / "card" / "T01.WAV").write_bytes(b"sound")
    return tmp_path


def test_it_opens_what_stands_there(tree: Path) -> None:
    """The very folder that the path names, and nobody inherits it."""
    above = os.open(tree, FOLDER)
    fd = open_beneath(above, b"day/card/deep", FOLDER)
    assert fd is not None
    assert os.path.samestat(os.fstat(fd), (tree / "day/card/deep").stat())
    assert not os.get_inheritable(fd)
    os.close(fd)
    os.close(above)


@pytest.mark.parametrize("path", [b"day/link", b"day/link/deep", b"none", b"day/card/T01.WAV"])
def test_it_follows_no_link_and_opens_no_file_as_a_folder(tree: Path, path: bytes) -> None:
    """P10: wherever the link stands in the path."""
    above = os.open(tree, FOLDER)
    assert open_beneath(above, path, FOLDER) is None
    os.close(above)


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("path", [b"day/link", b"day/link/deep", b"none", b"day/card/T01.WAV"])
def test_the_refusal_is_the_same_without_the_call(
    tree: Path, path: bytes, known: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a kernel that does not know it, and on one that does."""
    if not known:
        monkeypatch.setattr(roots, "open_beneath", lambda *_: None)
        monkeypatch.setattr(destination, "open_beneath", lambda *_: None)
    disk, root = LocalDisk(), root_at(tree)
    with opened(root) as at, pytest.raises(FileMissing):
        at.open_folder(path)
    with opened(root) as at:
        os.close(at.open_folder(b"day/card/deep"))
    if path == b"none":
        return
    with disk.destination(root) as drive, pytest.raises(NameTaken):
        drive.part(path)


def test_no_descriptor_is_left_open(tree: Path) -> None:
    """Neither of folders nor of files, whatever came of it."""
    before = len(os.listdir("/proc/self/fd"))
    with LocalDisk().source(root_at(tree)) as card:
        for path in (b"day/card/T01.WAV", b"day/card/T02.WAV", b"day/link/T01.WAV"):
            try:
                with card.open(path):
                    pass
            except FileMissing:
                pass
    with LocalDisk().destination(root_at(tree)) as drive:
        drive.check_name(b"day/card/T09.WAV")
        part = drive.part(b"day/card/new/folder")
        part.drop()
    assert len(os.listdir("/proc/self/fd")) == before


@pytest.mark.parametrize("size", [5000, 8192, DIRECT_FROM])
def test_who_grows_while_it_is_read_is_found_out(tree: Path, size: int) -> None:
    """A small file is read up to the end that it had; its stamp tells that it has another."""
    file = tree / "T02.WAV"
    file.write_bytes(b"a" * size)
    buffer = Buffer(1 << 20)
    with LocalDisk().source(root_at(tree)) as card, card.open(b"T02.WAV") as reader:
        before = reader.stamp()
        with file.open("ab") as more:
            more.write(b"b" * 4096)
        count = reader.read_into(buffer.view, 0)
        assert count in {size, size + 4096}
        assert bytes(buffer.view[:size]) == b"a" * size
        assert reader.stamp() != before


def test_a_large_one_is_read_on_as_it_grows(tree: Path) -> None:
    """A part is read back while it is written: a short count is its end at that moment only."""
    file = tree / "T03.WAV"
    file.write_bytes(b"a" * DIRECT_FROM)
    buffer = Buffer(1 << 20)
    with LocalDisk().source(root_at(tree)) as card, card.open(b"T03.WAV") as reader:
        assert reader.read_into(buffer.view[:DIRECT_FROM], 0) == DIRECT_FROM
        with file.open("ab") as more:
            more.write(b"b" * 8192)
        assert reader.read_into(buffer.view, DIRECT_FROM) == 8192
        assert bytes(buffer.view[:8192]) == b"b" * 8192


@pytest.mark.parametrize("size", [DIRECT_FROM, DIRECT_FROM + 100])
def test_a_large_one_that_grows_amid_a_read_has_the_end_that_it_has_now(
    tree: Path, size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it was when it was opened ends nothing: its writer may have come on meanwhile."""
    file = tree / "T03.WAV"
    file.write_bytes(b"a" * size)
    buffer, read, grown = Buffer(1 << 20), os.preadv, []

    def preadv(*about: Any) -> int:
        count = read(*about)
        if not grown:
            with file.open("ab") as more:
                grown.append(more.write(b"b" * 8192))
        return count

    monkeypatch.setattr(os, "preadv", preadv)
    with LocalDisk().source(root_at(tree)) as card, card.open(b"T03.WAV") as reader:
        assert reader.read_into(buffer.view, 0) == size + 8192
    assert bytes(buffer.view[size : size + 8192]) == b"b" * 8192


@pytest.mark.parametrize("size", [1, 4096, 5000, DIRECT_FROM - 1])
def test_a_small_one_that_shrinks_ends_early(tree: Path, size: int) -> None:
    """Cut after it was opened: no byte is made up."""
    file = tree / "T04.WAV"
    file.write_bytes(b"a" * size)
    buffer = Buffer(1 << 20)
    with LocalDisk().source(root_at(tree)) as card, card.open(b"T04.WAV") as reader:
        os.truncate(file, size // 2)
        assert reader.read_into(buffer.view, 0) == size // 2
