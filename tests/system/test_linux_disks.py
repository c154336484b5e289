"""Which volumes stand on one physical disk (P5), with real file systems on loop devices."""

from __future__ import annotations

import contextlib
import os
import struct
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from loopbench import Bench, attach, attach_at, run
from takehold.adapters.volumes.linux import LinuxVolumes
from takehold.adapters.volumes.patience import Patience
from takehold.model.volume import Root, Volume


@pytest.fixture
def table(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Iterator[LinuxVolumes]:
    monkeypatch.setattr(Patience.ask, "__defaults__", (60.0,))  # a busy machine may answer late
    with contextlib.closing(LinuxVolumes()) as opened:
        yield opened


@pytest.fixture
def image_on(bench: Bench) -> Iterator[Callable[..., Path]]:
    """Mounts a new image that lies in a folder; taken away before what it lies on is."""
    with contextlib.ExitStack() as away:

        def made(folder: Path, name: str, megabytes: int, at: Path | None = None) -> Path:
            image = folder / f"{name}.img"
            run("truncate", "-s", f"{megabytes}M", image)
            run("mkfs.ext4", "-q", "-F", image)
            mount = at or bench.folder / "media" / name
            mount.mkdir(parents=True, exist_ok=True)
            loop = attach(image)
            away.callback(run, "losetup", "-d", loop)
            run("mount", loop, mount)
            away.callback(run, "umount", mount)
            return mount

        yield made


def at(table: LinuxVolumes, mount: Path) -> Volume:
    (found,) = [v for v in table.mounted() if v.mount == os.fsencode(mount)]
    return found


def parted(image: Path) -> Path:
    """An image of two partitions.

    The table is the classic one: four entries of 16 bytes from byte 446 (from memory).
    """
    entries = b"".join(
        struct.pack("<B3sB3sII", 0, b"\0" * 3, 0x83, b"\0" * 3, start, 32768)
        for start in (2048, 34816)
    )
    with image.open("wb") as made:
        made.truncate(40_000_000)
        made.seek(446)
        made.write(entries + b"\0" * 32 + b"\x55\xaa")
    return image


def plug(image: Path) -> str:
    loop = attach(image, "--partscan")
    run("partx", "--update", loop)  # for kernels that do not read partition tables themselves
    return loop


def mounted(bench: Bench, device: str, name: str) -> Path:
    mount = bench.folder / "media" / name
    mount.mkdir(parents=True)
    run("mount", device, mount)
    return mount


def test_a_folder_mounted_again_stands_on_the_same_disk(bench, table):
    disk = bench.disk("drive")
    (disk.mount / "below").mkdir()
    bound = at(table, bench.bind(disk.mount / "below", bench.folder / "media/b"))
    whole = at(table, disk.mount)
    assert bound.disks == whole.disks
    assert bound.identity == f"{whole.identity}:below"


def test_subvolumes_stand_on_the_same_disk(bench, table):
    disk = bench.disk("pool", "btrfs")
    run("btrfs", "subvolume", "create", disk.mount / "one")
    mount = bench.folder / "media/one"
    mount.mkdir()
    run("mount", "-o", "subvol=one", disk.loop, mount)
    whole, part = at(table, disk.mount), at(table, mount)
    assert whole.disks == part.disks == {f"image:{disk.image}"}
    assert whole.identity != part.identity
    assert isinstance(table.folder(os.fsencode(mount), part.identity), Root)


def test_a_pool_stands_on_all_its_disks(bench, table):
    """One that joins while the pool is mounted counts from then on."""
    disk = bench.disk("pool", "btrfs")
    second = bench.disk("spare", "btrfs", mount=False)
    assert at(table, disk.mount).disks == {f"image:{disk.image}"}
    run("wipefs", "-a", second.loop)
    run("btrfs", "device", "add", "-f", second.loop, disk.mount)
    assert at(table, disk.mount).disks == {f"image:{disk.image}", f"image:{second.image}"}


def test_partitions_of_one_disk_are_one_disk(bench, table):
    loop = plug(parted(bench.folder / "parts.img"))
    for part in (1, 2):
        run("mkfs.ext4", "-q", f"{loop}p{part}")
    one, two = (at(table, mounted(bench, f"{loop}p{n}", f"part{n}")) for n in (1, 2))
    assert one.disks == two.disks == {f"image:{bench.folder}/parts.img"}
    assert one.device != two.device
    assert one.identity != two.identity


def test_partitions_used_one_after_the_other_at_other_numbers_are_one_disk(bench, table):
    """The kernel's number belongs to the port and the moment, not to the disk."""
    image = parted(bench.folder / "parts.img")
    loop = plug(image)
    for part in (1, 2):
        run("mkfs.ext4", "-q", f"{loop}p{part}")
    mount = mounted(bench, f"{loop}p1", "part1")
    one = at(table, mount)
    run("umount", mount)
    run("losetup", "-d", loop)
    taken = bench.disk("other", mount=False)  # takes the lowest free number, the first one's
    other = plug(image)
    two = at(table, mounted(bench, f"{other}p2", "part2"))
    assert one.disks == two.disks
    assert at(table, taken.mount_again()).disks.isdisjoint(two.disks)


def test_two_disks_one_after_the_other_at_one_number_are_two(bench, table):
    first = bench.disk("first")
    second = bench.disk("second", mount=False)
    before = at(table, first.mount)
    first.unmount()
    run("losetup", "-d", first.loop)
    run("losetup", "-d", second.loop)
    attach_at(first.loop, second.image)
    second.loop = first.loop
    after = at(table, second.mount_again(at=first.mount))
    assert before.device == after.device
    assert before.disks.isdisjoint(after.disks)


@pytest.mark.parametrize("fs", ["ext4", "exfat", "btrfs"])
def test_an_image_on_a_drive_stands_on_that_drive(bench, table, image_on, fs):
    """It is no second device, at whatever depth; another drive is."""
    drive, other = bench.disk("drive", fs, size_mb=160), bench.disk("other")
    inner = image_on(drive.mount, "inner", 100)
    deep = image_on(inner, "deep", 20)
    stands = at(table, drive.mount).disks
    assert at(table, inner).disks == stands | {f"image:{drive.mount}/inner.img"}
    assert at(table, deep).disks == at(table, inner).disks | {f"image:{inner}/deep.img"}
    assert at(table, other.mount).disks.isdisjoint(at(table, deep).disks)


def test_an_image_mounted_over_its_own_folder_has_an_end(bench, table, image_on):
    drive = bench.disk("drive")
    stands = at(table, drive.mount).disks
    image_on(drive.mount, "inner", 20, at=drive.mount)
    assert at(table, drive.mount).disks == stands | {f"image:{drive.mount}/inner.img"}
