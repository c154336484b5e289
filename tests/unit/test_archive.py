"""adapters/archive: written once, never replaced."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from loopbench import Bench
from takehold.adapters.archive import FolderArchive
from takehold.model.errors import FileMissing, NameRefused, NameTaken, VolumeFull, VolumeReadOnly

DAY = "2031-03-14"
FILES = {f"{DAY}.r1.manifest.json": b"{}", f"{DAY}.r1.sha256": b"\x00\xff" * 5000}


def everything(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    """Bytes, names and days, sorted; no temporary file is left."""
    archive = FolderArchive(str(tmp_path / "archive"))
    assert archive.days() == ()
    archive.keep(DAY, FILES)
    archive.keep("2031-03-13", {"b": b"", "a": b"1"})
    assert archive.days() == ("2031-03-13", DAY)
    assert archive.names("2031-03-13") == ("a", "b")
    assert archive.names("2000-01-01") == ()
    assert {name: archive.read(DAY, name) for name in archive.names(DAY)} == FILES
    assert len(everything(tmp_path)) == 4


def test_coreutils_find_the_same_bytes(tmp_path: Path) -> None:
    """The tool cmp (diffutils) agrees with what was asked to be kept."""
    FolderArchive(str(tmp_path)).keep(DAY, FILES)
    for name, content in FILES.items():
        command = ["cmp", "-", str(tmp_path / DAY / name)]
        assert subprocess.run(command, input=content, timeout=10, check=False).returncode == 0


def test_the_same_bytes_again_are_fine(tmp_path: Path) -> None:
    """A second try after a crash keeps what stands and adds what lacks."""
    archive = FolderArchive(str(tmp_path))
    archive.keep(DAY, FILES)
    before = (tmp_path / DAY / f"{DAY}.r1.sha256").stat()
    archive.keep(DAY, FILES | {"more": b"m"})
    after = (tmp_path / DAY / f"{DAY}.r1.sha256").stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)
    assert archive.read(DAY, "more") == b"m"


def test_other_bytes_are_refused_before_anything_is_written(tmp_path: Path) -> None:
    """One name with other content: nothing of the batch is written, nothing is changed."""
    archive = FolderArchive(str(tmp_path))
    archive.keep(DAY, FILES)
    before = everything(tmp_path)
    with pytest.raises(NameTaken):
        archive.keep(DAY, {"new": b"1", f"{DAY}.r1.sha256": b"other"})
    assert everything(tmp_path) == before


def test_a_missing_file_is_said(tmp_path: Path) -> None:
    """FileMissing for a name and for a day that are not there."""
    archive = FolderArchive(str(tmp_path))
    archive.keep(DAY, FILES)
    for day, name in ((DAY, "none"), ("2000-01-01", "none")):
        with pytest.raises(FileMissing):
            archive.read(day, name)


@pytest.mark.parametrize("name", ["", ".", "..", "../x", "/etc/passwd", "a/b", "a\\b", "a\0", ".x"])
def test_no_path_leaves_the_archive(tmp_path: Path, name: str) -> None:
    """A name that is more than a name is refused, as a day and as a file."""
    archive = FolderArchive(str(tmp_path / "archive"))
    for call in (
        lambda: archive.read(DAY, name),
        lambda: archive.keep(DAY, {name: b""}),
        lambda: archive.keep(name, {"a": b""}),
        lambda: archive.names(name),
    ):
        with pytest.raises(NameRefused):
            call()
    assert everything(tmp_path) == {}


def test_a_leftover_of_a_crash_does_not_count(tmp_path: Path) -> None:
    """A part that was being written is no name of the archive, and no obstacle."""
    archive = FolderArchive(str(tmp_path))
    (tmp_path / DAY).mkdir()
    (tmp_path / DAY / ".takehold-00.part").write_bytes(b"half")
    assert archive.days() == ()
    archive.keep(DAY, FILES)
    assert archive.names(DAY) == tuple(sorted(FILES))


def test_a_full_disk_leaves_no_half_file(bench: Bench) -> None:
    """VolumeFull, and no final name holds less than all of its bytes."""
    disk = bench.disk("small", "tmpfs", size_mb=1)
    archive = FolderArchive(str(disk.mount))
    with pytest.raises(VolumeFull):
        archive.keep(DAY, {"a": b"a" * 400_000, "b": b"b" * 900_000})
    assert everything(disk.mount) == {f"{DAY}/a": b"a" * 400_000}


def test_a_read_only_disk_is_said(bench: Bench) -> None:
    """VolumeReadOnly from a file system that takes no writes."""
    disk = bench.disk("small", "tmpfs", size_mb=1)
    disk.unmount()
    disk.mount_again(options="ro,size=1m")
    with pytest.raises(VolumeReadOnly):
        FolderArchive(str(disk.mount)).keep(DAY, FILES)
