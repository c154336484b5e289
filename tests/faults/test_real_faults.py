"""Faults of real volumes: loop devices with real file systems that fill up, vanish or lie."""

from __future__ import annotations

import errno
import mmap
import os
import re
import socket
import stat
import subprocess
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from loopbench import Bench, Disk, run
from makings import root_at
from takehold.adapters.disk import LocalDisk
from takehold.adapters.disk.faults import fault
from takehold.adapters.disk.naming import _rename_after_look, _rename_by_link
from takehold.adapters.disk.reading import DIRECT_FROM
from takehold.model.errors import (
    FileMissing,
    NameRefused,
    NameTaken,
    NoRights,
    VolumeFull,
    VolumeGone,
    VolumeReadOnly,
    WorldError,
)
from takehold.model.recording import Seen
from takehold.ports.disk import DestinationTree, Part, Reader

BLOCK = 1 << 20
LARGE = 3 * BLOCK + 100
SMALL = 50_000
assert SMALL < DIRECT_FROM < LARGE


@pytest.fixture
def buffer() -> memoryview:
    """A page-aligned buffer, as the contract asks for."""
    return memoryview(mmap.mmap(-1, 4 * BLOCK))


def read_whole(reader: Reader, buffer: memoryview) -> bytes:
    return bytes(buffer[: reader.read_into(buffer, 0)])


def written(tree: DestinationTree, folder: bytes, data: bytes, buffer: memoryview) -> Part:
    part = tree.part(folder)
    part.reserve(len(data))
    buffer[: len(data)] = data
    part.write(buffer[: len(data)], 0)
    part.flush(len(data))
    return part


def open_files() -> set[str]:
    """What this process has open, but for the listing itself."""
    found = set()
    for number in os.listdir("/proc/self/fd"):
        try:
            found.add(os.readlink(f"/proc/self/fd/{number}"))
        except FileNotFoundError:
            continue
    return found


def write_without_end(part: Part, buffer: memoryview) -> None:
    """Four times what the disks of these tests hold."""
    for number in range(16):
        part.write(buffer, number * len(buffer))


# Full, read-only, gone


def test_a_full_disk_is_told_and_what_stands_there_stays(bench: Bench, buffer: memoryview) -> None:
    """Written to the last byte: VolumeFull; the earlier file stands and the part goes."""
    disk = bench.disk("shuttle", size_mb=16)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        written(tree, b"", b"first", buffer).keep(b"first.wav")
        part = tree.part(b"")
        with pytest.raises(VolumeFull) as told:
            write_without_end(part, buffer)
        assert os.fsdecode(disk.mount) in told.value.says
        with pytest.raises(WorldError):
            part.flush(0)
        part.drop()
        assert tree.taken(b"") == {b"first.wav", b"lost+found"}
        written(tree, b"", b"second", buffer).keep(b"second.wav")


def test_a_full_exfat_disk_is_told(bench: Bench, buffer: memoryview) -> None:
    """The same through FUSE."""
    disk = bench.disk("shuttle", fs="exfat", size_mb=16)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        part = tree.part(b"")
        with pytest.raises(VolumeFull):
            write_without_end(part, buffer)
        part.drop()
        assert tree.taken(b"") == frozenset()


@pytest.mark.parametrize("fs", ["ext4", "exfat", "btrfs"])
def test_a_yanked_volume_is_never_written_to_again(
    bench: Bench, buffer: memoryview, fs: str
) -> None:
    """After `umount -l` the folder is there and takes writes; each call says VolumeGone."""
    disk = bench.disk("shuttle", fs=fs)
    root = root_at(disk.mount)
    local = LocalDisk()
    with local.destination(root) as tree:
        part = written(tree, b"day", b"sound", buffer)
        disk.yank()
        assert disk.mount.is_dir()
        for call in (
            lambda: tree.part(b"day"),
            lambda: part.keep(b"day/T.wav"),
            lambda: tree.settle(b"day"),
            lambda: tree.taken(b"day"),
            lambda: tree.stamp_of(b"day/T.wav"),
            lambda: tree.open(b"day/T.wav"),
            tree.free_bytes,
            tree.sweep,
        ):
            with pytest.raises(VolumeGone) as told:
                call()
            assert "but not the volume" in told.value.says
        part.drop()
    with pytest.raises(VolumeGone), local.destination(root):
        pass
    with pytest.raises(VolumeGone), local.source(root):
        pass
    assert list(disk.mount.iterdir()) == []


def test_a_volume_mounted_over_another_is_not_taken_for_it(bench: Bench) -> None:
    """The path leads elsewhere, though the first volume still answers."""
    disk = bench.disk("shuttle")
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        bench.disk("other", mount=False).mount_again(disk.mount)
        with pytest.raises(VolumeGone):
            tree.part(b"")


def test_a_root_whose_folder_is_gone_is_gone(bench: Bench) -> None:
    """Also when the mount point itself went away."""
    disk = bench.disk("shuttle")
    root = root_at(disk.mount)
    disk.unmount()
    disk.mount.rmdir()
    with pytest.raises(VolumeGone, match="the folder is not there"), LocalDisk().source(root):
        pass


def test_a_root_that_is_a_link_is_not_followed(bench: Bench) -> None:
    """Even a link to the right folder."""
    disk = bench.disk("shuttle")
    (disk.mount / "real").mkdir()
    root = root_at(disk.mount / "real")
    (disk.mount / "real").rename(disk.mount / "moved")
    (disk.mount / "real").symlink_to("moved")
    with pytest.raises(VolumeGone), LocalDisk().destination(root):
        pass


@pytest.mark.parametrize("fs", ["ext4", "btrfs"])
def test_a_volume_that_turned_read_only_takes_nothing(
    bench: Bench, buffer: memoryview, fs: str
) -> None:
    """VolumeReadOnly for a new part and for a name; reading goes on."""
    disk = bench.disk("shuttle", fs=fs)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        written(tree, b"", b"first", buffer).keep(b"first.wav")
        run("mount", "-o", "remount,ro", disk.mount)
        with pytest.raises(VolumeReadOnly):
            tree.part(b"")
        with pytest.raises(VolumeReadOnly):
            tree.part(b"new/folder")
        with tree.open(b"first.wav") as reader:
            assert read_whole(reader, buffer) == b"first"
        assert tree.sweep() == 0


def test_a_dead_fuse_server_is_a_gone_volume(bench: Bench) -> None:
    """ENOTCONN is the volume's end, not a missing file."""
    disk = bench.disk("card", fs="exfat")
    (disk.mount / "T.wav").write_bytes(b"sound")
    with LocalDisk().source(root_at(disk.mount)) as tree:
        assert disk.server is not None
        disk.server.kill()
        disk.server.wait(60)
        with pytest.raises(VolumeGone), tree.open(b"T.wav"):
            pass
        with pytest.raises(VolumeGone):
            tree.listing()


def test_a_subvolume_of_btrfs_is_on_its_volume(bench: Bench, buffer: memoryview) -> None:
    """Its files have another number than the mount table tells; it is the same volume."""
    disk = bench.disk("shuttle", fs="btrfs")
    run("btrfs", "subvolume", "create", disk.mount / "sub")
    root = root_at(disk.mount / "sub")
    assert root.volume.device != _number(disk.mount / "sub")
    with LocalDisk().destination(root) as tree:
        written(tree, b"day", b"sound", buffer).keep(b"day/T.wav")
    with LocalDisk().source(root_at(disk.mount)) as card:
        found = card.listing()
    assert [(skip.path, skip.why) for skip in found.skipped] == [(b"sub", "other volume")]


def _number(path: Path) -> str:
    device = os.stat(path).st_dev
    return f"{os.major(device)}:{os.minor(device)}"


# Names


def test_another_case_on_exfat_is_not_overwritten(bench: Bench, buffer: memoryview) -> None:
    """The file system would take SCENE1.WAV for scene1.wav and lose one of two recordings."""
    disk = bench.disk("shuttle", fs="exfat")
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        written(tree, b"day", b"one", buffer).keep(b"day/scene1.wav")
        second = written(tree, b"day", b"two", buffer)
        with pytest.raises(NameTaken):
            second.keep(b"day/SCENE1.WAV")
        second.drop()
        assert tree.taken(b"day") == {b"scene1.wav"}
    assert (disk.mount / "day/scene1.wav").read_bytes() == b"one"


@pytest.mark.parametrize("name", [b"a:b.wav", b"a?.wav", b"a\n.wav", b"\xff.wav", b"x" * 256])
def test_a_name_that_exfat_cannot_hold_is_refused(
    bench: Bench, buffer: memoryview, name: bytes
) -> None:
    """NameRefused for files and folders, shown escaped; the part can have another name."""
    disk = bench.disk("shuttle", fs="exfat")
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        part = written(tree, b"", b"sound", buffer)
        with pytest.raises(NameRefused) as told:
            part.keep(name)
        assert told.value.says.isprintable()
        with pytest.raises(NameRefused):
            tree.part(b"day/" + name)
        part.keep(b"T.wav")
        assert tree.taken(b"") == {b"T.wav", b"day"}


@pytest.mark.parametrize("way", [_rename_by_link, _rename_after_look])
def test_every_way_of_naming_refuses_a_taken_name(
    tmp_path: Path, way: Callable[[int, bytes, bytes], None]
) -> None:
    """The ways for systems without renameat2 neither replace nor leave the old name."""
    (tmp_path / "old").write_bytes(b"new bytes")
    (tmp_path / "taken").write_bytes(b"theirs")
    fd = os.open(tmp_path, os.O_RDONLY)
    try:
        with pytest.raises(FileExistsError):
            way(fd, b"old", b"taken")
        assert (tmp_path / "old").read_bytes() == b"new bytes"
        way(fd, b"old", b"free")
    finally:
        os.close(fd)
    assert (tmp_path / "taken").read_bytes() == b"theirs"
    assert (tmp_path / "free").read_bytes() == b"new bytes"
    assert not (tmp_path / "old").exists()


# Links, pipes, what is no file


def odd_card(disk: Disk) -> None:
    """A card with one of everything that is no file to copy."""
    mount = disk.mount
    (mount / "day").mkdir()
    (mount / "day/T1.wav").write_bytes(b"sound")
    (mount / "day/T2.wav").symlink_to("T1.wav")
    (mount / "way_out").symlink_to("/etc")
    os.mkfifo(mount / "day/T3.wav")
    os.mknod(mount / "day/T4.wav", 0o600 | stat.S_IFBLK, os.makedev(7, 0))
    os.mknod(mount / "day/T5.wav", 0o600 | stat.S_IFCHR, os.makedev(1, 3))
    here = os.open(mount / "day", os.O_RDONLY)
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(f"/proc/self/fd/{here}/T6.wav")  # a socket's path has 108 bytes at most
    os.close(here)
    (mount / "lost+found").rmdir()


def test_what_is_no_file_is_listed_as_skipped_and_never_opened(bench: Bench) -> None:
    """A pipe does not hang, a device is not touched, a link is not followed (P10)."""
    disk = bench.disk("card")
    odd_card(disk)
    other = bench.disk("other", size_mb=16)
    bench.bind(other.mount, disk.mount / "mounted")
    with LocalDisk().source(root_at(disk.mount)) as tree:
        found = tree.listing()
        for path in (b"day/T2.wav", b"day/T3.wav", b"day/T4.wav", b"day/T5.wav", b"day/T6.wav"):
            with pytest.raises(FileMissing), tree.open(path):
                pass
        with pytest.raises(FileMissing), tree.open(b"way_out/hostname"):
            pass
    assert found.complete
    assert [path for path, _ in found.files] == [b"day/T1.wav"]
    assert {skip.path: skip.why for skip in found.skipped} == {
        b"day/T2.wav": "link",
        b"way_out": "link",
        b"day/T3.wav": "pipe",
        b"day/T4.wav": "device",
        b"day/T5.wav": "device",
        b"day/T6.wav": "socket",
        b"mounted": "other volume",
    }


def test_a_file_of_another_volume_is_not_opened(bench: Bench) -> None:
    """A folder that is another mount is not the card's."""
    disk = bench.disk("card")
    other = bench.disk("other", size_mb=16)
    (other.mount / "T.wav").write_bytes(b"x")
    bench.bind(other.mount, disk.mount / "mounted")
    with LocalDisk().source(root_at(disk.mount)) as tree, pytest.raises(FileMissing):
        tree.open(b"mounted/T.wav").__enter__()


def test_a_link_swapped_in_for_a_folder_is_not_followed(bench: Bench, buffer: memoryview) -> None:
    """Neither when reading nor when writing: nothing appears outside of the root."""
    disk = bench.disk("shuttle")
    outside = disk.mount.parent / "outside"
    outside.mkdir()
    (outside / "T.wav").write_bytes(b"outside")
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        part = written(tree, b"day", b"sound", buffer)
        (disk.mount / "day").rename(disk.mount / "moved")
        (disk.mount / "day").symlink_to(outside)
        with pytest.raises(FileMissing), tree.open(b"day/T.wav"):
            pass
        with pytest.raises(NameTaken):
            tree.part(b"day")
        with pytest.raises(FileMissing):
            tree.settle(b"day")
        part.keep(b"day/T.wav")
    assert (disk.mount / "moved/T.wav").read_bytes() == b"sound"
    assert os.listdir(outside) == ["T.wav"]


def test_folders_within_folders_without_end_are_cut(tmp_path: Path) -> None:
    """Deeper than any card: said as unreadable, and the listing is not complete."""
    deep = tmp_path
    for _ in range(70):
        deep /= "d"
    deep.mkdir(parents=True)
    (tmp_path / "T.wav").write_bytes(b"x")
    with LocalDisk().source(root_at(tmp_path)) as tree:
        found = tree.listing()
    assert not found.complete
    assert [path for path, _ in found.files] == [b"T.wav"]
    assert [skip.why for skip in found.skipped] == ["unreadable folder"]


def test_an_unreadable_folder_does_not_hide_its_neighbours(bench: Bench) -> None:
    """A folder whose block is damaged: the rest is listed, and the listing is not complete."""
    disk = bench.disk("card", options="noatime")
    (disk.mount / "bad").mkdir()
    (disk.mount / "bad/T1.wav").write_bytes(b"x")
    (disk.mount / "good").mkdir()
    (disk.mount / "good/T2.wav").write_bytes(b"x")
    os.sync()
    said = run("debugfs", "-R", "blocks bad", disk.loop)
    [block] = map(int, re.findall(r"^(\d+) *$", said, re.MULTILINE))
    size = os.statvfs(disk.mount).f_bsize
    disk.unmount()
    with disk.image.open("r+b") as image:
        image.seek(block * size)
        image.write(b"\xff" * size)
    disk.mount_again()
    with LocalDisk().source(root_at(disk.mount)) as tree:
        found = tree.listing()
    assert not found.complete
    assert [path for path, _ in found.files] == [b"good/T2.wav"]
    assert [(skip.path, skip.why) for skip in found.skipped] == [(b"bad", "unreadable folder")]


# The card is never written to (P1)


@pytest.mark.parametrize("fs", ["ext4", "exfat", "xfs", "btrfs"])
def test_listing_and_reading_leave_the_image_as_it_was(
    bench: Bench, buffer: memoryview, fs: str
) -> None:
    """Bit for bit, mounted read-write, and with access times on wherever the kernel keeps them."""
    disk = bench.disk("card", fs=fs, options="" if fs == "exfat" else "strictatime")
    (disk.mount / "day").mkdir()
    (disk.mount / "day/T1.wav").write_bytes(os.urandom(LARGE))
    (disk.mount / "day/T2.wav").write_bytes(os.urandom(SMALL))
    os.sync()
    paths = [disk.mount, disk.mount / "day", disk.mount / "day/T1.wav", disk.mount / "day/T2.wav"]
    times = [os.stat(path).st_atime_ns for path in paths]
    before = disk.image_bytes_sha256()
    with LocalDisk().source(root_at(disk.mount)) as tree:
        for path, stamp in tree.listing().files:
            with tree.open(path) as reader:
                reader.read_at(0, 4096)
                assert len(read_whole(reader, buffer)) == stamp.size
                reader.seen(stamp.size)
    assert [os.stat(path).st_atime_ns for path in paths] == times
    os.sync()
    assert disk.image_bytes_sha256() == before


def test_access_times_would_show(bench: Bench) -> None:
    """The check above can fail: a plain read under strictatime changes the time."""
    disk = bench.disk("card", options="strictatime")
    path = disk.mount / "T.wav"
    path.write_bytes(b"x")
    os.utime(path, ns=(0, 0))
    path.read_bytes()
    assert os.stat(path).st_atime_ns != 0


@pytest.mark.parametrize("fs", ["ext4", "exfat"])
def test_a_card_can_be_ejected_after_use(bench: Bench, buffer: memoryview, fs: str) -> None:
    """Nothing stays open: a plain umount succeeds, and no descriptor is left."""
    disk = bench.disk("card", fs=fs)
    (disk.mount / "T.wav").write_bytes(os.urandom(LARGE))
    before = open_files()
    with LocalDisk().source(root_at(disk.mount)) as tree:
        tree.listing()
        with pytest.raises(FileMissing), tree.open(b"none/T.wav"):
            pass
        with tree.open(b"T.wav") as reader:
            read_whole(reader, buffer)
    assert open_files() <= before
    disk.unmount()


def test_a_destination_can_be_ejected_after_use(bench: Bench, buffer: memoryview) -> None:
    """Also after parts that were refused, dropped, swept or could not be made."""
    disk = bench.disk("shuttle")
    before = open_files()
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        written(tree, b"day", os.urandom(LARGE), buffer).keep(b"day/T.wav")
        part = written(tree, b"day", os.urandom(LARGE), buffer)
        with pytest.raises(NameTaken):
            part.keep(b"day/t.wav")
        part.drop()
        with pytest.raises(NameTaken):
            tree.part(b"day/T.wav")
        tree.settle(b"day")
        tree.sweep()
    assert open_files() <= before
    disk.unmount()


# The read comes from the medium (P3, P4)


@pytest.mark.parametrize("fs", ["ext4", "xfs", "btrfs", "exfat"])
@pytest.mark.parametrize("size", [SMALL, LARGE])
def test_a_cold_read_says_that_it_came_from_the_medium(
    bench: Bench, buffer: memoryview, fs: str, size: int
) -> None:
    """Read back right after writing, with all pages in the cache: MEDIUM on each of them."""
    disk = bench.disk("shuttle", fs=fs)
    data = os.urandom(size)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        part = written(tree, b"", data, buffer)
        with part.reader() as reader:
            assert reader.seen(size) is Seen.UNKNOWN  # nothing was read yet
            assert read_whole(reader, buffer) == data
            assert reader.seen(size) is Seen.MEDIUM
        part.drop()


@pytest.mark.parametrize("fs", ["ext4", "xfs", "exfat"])
@pytest.mark.parametrize(("size", "at"), [(SMALL, 20_000), (LARGE, 20_000), (LARGE, LARGE - 64)])
def test_a_byte_that_flipped_behind_the_cache_is_seen(
    bench: Bench, buffer: memoryview, fs: str, size: int, at: int
) -> None:
    """Changed on the image itself, while the kernel has the right bytes in its cache.

    The last bytes of a large part went through that cache, the others past it.
    """
    disk = bench.disk("shuttle", fs=fs)
    data = os.urandom(size)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        written(tree, b"", data, buffer).keep(b"T.wav")
        path = disk.mount / "T.wav"
        assert path.read_bytes() == data
        flip_on_image(disk, data, at)
        if fs != "exfat":
            assert path.read_bytes() == data, "the cache hides it from a plain read"
        with tree.open(b"T.wav") as reader:
            found = read_whole(reader, buffer)
            assert reader.seen(size) is Seen.MEDIUM
    assert [n for n in range(size) if found[n] != data[n]] == [at]


def test_a_flip_under_btrfs_is_an_error_of_the_device(bench: Bench, buffer: memoryview) -> None:
    """It has checksums of its own: the cold read fails rather than to give wrong bytes."""
    disk = bench.disk("shuttle", fs="btrfs")
    data = os.urandom(LARGE)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        written(tree, b"", data, buffer).keep(b"T.wav")
        assert (disk.mount / "T.wav").read_bytes() == data
        flip_on_image(disk, data, 20_000)
        with tree.open(b"T.wav") as reader, pytest.raises(WorldError) as told:
            read_whole(reader, buffer)
    assert told.value.code == "device-failed"


def flip_on_image(disk: Disk, data: bytes, at: int) -> None:
    """Change one bit of one byte of a file, found on the image by its bytes.

    The loop device's own cache is dropped too: it stands for the card's electronics here.
    """
    os.sync()
    start = disk.image.read_bytes().find(data[at : at + 64])
    assert start >= 0
    with disk.image.open("r+b") as image:
        image.seek(start)
        image.write(bytes([data[at] ^ 1]))
    if disk.fs != "exfat":
        run("blockdev", "--flushbufs", disk.loop)


def test_pages_that_another_program_holds_do_not_hide_a_flip(
    bench: Bench, buffer: memoryview
) -> None:
    """Mapped pages survive every drop of the cache; the direct read goes past them."""
    disk = bench.disk("shuttle")
    data = os.urandom(LARGE)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        written(tree, b"", data, buffer).keep(b"T.wav")
        fd = os.open(disk.mount / "T.wav", os.O_RDONLY)
        with mmap.mmap(fd, 0, access=mmap.ACCESS_READ) as mapped:
            os.close(fd)
            assert mapped[:] == data
            flip_on_image(disk, data, 20_000)
            with tree.open(b"T.wav") as reader:
                assert read_whole(reader, buffer)[20_000] == data[20_000] ^ 1
                assert reader.seen(LARGE) is Seen.MEDIUM
            assert mapped[20_000] == data[20_000]


def test_a_large_part_leaves_its_last_page_in_the_cache_at_most(
    bench: Bench, buffer: memoryview
) -> None:
    """All else is written past it: fincore(1) of util-linux counts the pages."""
    disk = bench.disk("shuttle")
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        written(tree, b"", os.urandom(LARGE), buffer).keep(b"T.wav")
        pages = run("fincore", "--noheadings", "--output", "PAGES", disk.mount / "T.wav")
    assert int(pages) <= 1


def test_settling_flushes_new_names_once(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, buffer: memoryview
) -> None:
    """The folder each time; a parent the first time, and again when it got a new folder."""
    disk = bench.disk("shuttle")
    flushed: list[str] = []
    fsync = os.fsync

    def noted(fd: int) -> None:
        flushed.append(os.path.relpath(os.readlink(f"/proc/self/fd/{fd}"), disk.mount))
        fsync(fd)

    with LocalDisk().destination(root_at(disk.mount)) as tree:
        for folder, expected in [
            (b"day/A", ["day/A", "day", "."]),
            (b"day/A", ["day/A"]),
            (b"day/B", ["day/B", "day"]),
            (b"day/B", ["day/B"]),
        ]:
            part = written(tree, folder, b"sound", buffer)
            with monkeypatch.context() as watched:
                watched.setattr(os, "fsync", noted)
                assert tree.settle(folder) is True
            part.drop()
            assert flushed == expected
            flushed.clear()


def test_memory_is_no_medium(bench: Bench, buffer: memoryview) -> None:
    """tmpfs: a read is CACHE, and no flush is a promise."""
    disk = bench.disk("ram", fs="tmpfs")
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        part = tree.part(b"")
        buffer[:LARGE] = bytes(LARGE)
        part.reserve(LARGE)
        part.write(buffer[:LARGE], 0)
        assert part.flush(LARGE) is False
        with part.reader() as reader:
            assert len(read_whole(reader, buffer)) == LARGE
            assert reader.seen(LARGE) is Seen.CACHE
        part.keep(b"T.wav")
        assert tree.settle(b"") is False


# Parts in use


def test_a_sweep_leaves_the_parts_of_another_process(bench: Bench) -> None:
    """The lock tells, not the memory of this process; once its holder is gone, the part goes."""
    disk = bench.disk("shuttle")
    path = disk.mount / ".takehold-0123456789abcdef.part"
    path.write_bytes(b"x")
    # flock(1) of util-linux holds the lock while its command runs: cat, until its input ends.
    pipe = subprocess.PIPE
    with subprocess.Popen(["flock", "-x", path, "cat"], stdin=pipe, stdout=pipe) as holder:
        assert holder.stdin is not None
        assert holder.stdout is not None
        holder.stdin.write(b"x\n")
        holder.stdin.flush()
        assert holder.stdout.readline() == b"x\n"
        with LocalDisk().destination(root_at(disk.mount)) as tree:
            assert tree.sweep() == 0
            holder.communicate(timeout=60)
            assert tree.sweep() == 1
    assert not path.exists()


def test_sweeps_and_new_parts_do_not_meet(tmp_path: Path) -> None:
    """A sweep without end beside 300 new parts: none is lost, and all are kept."""
    stop = threading.Event()

    def sweep() -> None:
        with LocalDisk().destination(root_at(tmp_path)) as tree:
            while not stop.is_set():
                tree.sweep()

    sweeper = threading.Thread(target=sweep)
    sweeper.start()
    try:
        with LocalDisk().destination(root_at(tmp_path)) as tree:
            for number in range(300):
                part = tree.part(b"")
                part.flush(0)
                part.keep(b"T%d.wav" % number)
    finally:
        stop.set()
        sweeper.join(60)
    assert len(os.listdir(tmp_path)) == 300


def test_a_leftover_that_is_a_link_is_left_alone(tmp_path: Path) -> None:
    """A link with a part's name is not ours."""
    (tmp_path / "T.wav").write_bytes(b"sound")
    (tmp_path / ".takehold-0123456789abcdef.part").symlink_to("T.wav")
    with LocalDisk().destination(root_at(tmp_path)) as tree:
        assert tree.sweep() == 0
    assert len(os.listdir(tmp_path)) == 2


# The system's errors


@pytest.mark.parametrize(
    ("number", "naming", "kind"),
    [
        (errno.ENOSPC, False, VolumeFull),
        (errno.EDQUOT, False, VolumeFull),
        (errno.EFBIG, False, VolumeFull),
        (errno.EROFS, False, VolumeReadOnly),
        (errno.EACCES, False, NoRights),
        (errno.EPERM, True, NoRights),
        (errno.ENOENT, False, FileMissing),
        (errno.ENOENT, True, NameRefused),
        (errno.EINVAL, True, NameRefused),
        (errno.EINVAL, False, WorldError),
        (errno.ENAMETOOLONG, True, NameRefused),
        (errno.ENAMETOOLONG, False, FileMissing),
        (errno.EEXIST, True, NameTaken),
        (errno.ENODEV, False, VolumeGone),
        (errno.ENXIO, False, VolumeGone),
        (errno.ENOTCONN, False, VolumeGone),
        (errno.ESTALE, False, VolumeGone),
        (errno.EIO, False, WorldError),
    ],
)
def test_each_error_has_its_meaning(
    tmp_path: Path, number: int, naming: bool, kind: type[WorldError]
) -> None:
    """Kind, file and root in one printable sentence, and something to do."""
    root = root_at(tmp_path)
    told = fault(OSError(number, os.strerror(number)), root, b"day/\x1b[2J.wav", naming=naming)
    assert type(told) is kind
    assert "day/" in told.says
    assert os.fsdecode(tmp_path) in told.says
    assert told.says.isprintable()
    assert told.do


def test_too_large_for_fat_says_so(tmp_path: Path) -> None:
    """The limit is named: a person can do something about it."""
    told = fault(OSError(errno.EFBIG, "File too large"), root_at(tmp_path), b"T.wav")
    assert "4 GiB" in told.says
