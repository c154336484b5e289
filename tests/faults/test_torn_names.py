"""A file under both its names after a power cut, on file systems without a journal (P2, P3).

Layouts: exFAT file system specification, 6.3.3 (SetChecksum), 7.4 (file), 7.6 (stream extension)
and 7.7 (file name entries).
"""

from __future__ import annotations

import os

import pytest

from fakeworld import DAY, Site, take
from loopbench import Bench, Disk, run
from makings import root_at
from takehold.adapters.disk import LocalDisk

LEFT = ".takehold-0123456789abcdef.part"
NAME = "S01T01.WAV"
TAKE = b"harbour wall " * 900
ENTRY, NAME_CHARACTERS = 32, 15
FIRST_CLUSTER = slice(20, 24)
AT = (1_700_000_000, 1_700_000_000)


def entries_of(image: bytes, name: str) -> slice:
    """Where a file's set of directory entries lies, found by its first name entry."""
    start = image.index(b"\xc1\x00" + name[:NAME_CHARACTERS].encode("utf-16-le")) - 2 * ENTRY
    assert (image[start], image[start + ENTRY]) == (0x85, 0xC0)
    return slice(start, start + ENTRY * (1 + image[start + 1]))


def set_checksum(entries: bytes) -> bytes:
    """Over all bytes of the set but its own two, rotated to the right by one before each."""
    total = 0
    for at, byte in enumerate(entries):
        if at not in (2, 3):
            total = ((total << 15 | total >> 1) + byte) & 0xFFFF
    return total.to_bytes(2, "little")


def tear(disk: Disk) -> None:
    """Let the part begin at the cluster of the named file, as a rename that was cut does."""
    disk.unmount()
    image = bytearray(disk.image.read_bytes())
    named, left = entries_of(image, NAME), entries_of(image, LEFT)
    entries = bytearray(image[left])
    stream, theirs = memoryview(entries)[ENTRY:], image[named][ENTRY:]
    stream[FIRST_CLUSTER] = theirs[FIRST_CLUSTER]
    entries[2:4] = set_checksum(entries)
    image[left] = entries
    with disk.image.open("r+b") as file:
        file.write(image)
    run("blockdev", "--flushbufs", disk.loop)
    disk.mount_again()


def test_a_part_that_shares_its_clusters_with_a_named_file_is_left(bench: Bench) -> None:
    """Its removal would free them, and the next file would be written over the take."""
    disk = bench.disk("shuttle", fs="exfat")
    for name in (NAME, LEFT):
        (disk.mount / name).write_bytes(TAKE)
        os.utime(disk.mount / name, AT)
    tear(disk)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        assert tree.sweep() == 0
    (disk.mount / "next").write_bytes(b"\xa5" * 3 * len(TAKE))
    disk.unmount()
    disk.mount_again()
    assert (disk.mount / NAME).read_bytes() == TAKE


@pytest.mark.parametrize(
    ("left", "later"), [(TAKE[:-1], 0), (TAKE[:-1] + b"x", 0), (b"", 0), (TAKE, 2)]
)
def test_a_part_unlike_any_named_file_is_removed(bench: Bench, left: bytes, later: int) -> None:
    """Of another length, of the same length with other bytes, empty, or written later."""
    disk = bench.disk("shuttle", fs="exfat")
    (disk.mount / NAME).write_bytes(TAKE)
    (disk.mount / "empty").touch()
    (disk.mount / LEFT).write_bytes(left)
    for name in (NAME, "empty", LEFT):
        os.utime(disk.mount / name, (AT[0], AT[1] + later * (name == LEFT)))
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        assert tree.sweep() == 1
    assert not (disk.mount / LEFT).exists()


def test_where_names_cannot_tear_every_part_is_removed(bench: Bench) -> None:
    """ext4 has a journal: a rename is done or not."""
    disk = bench.disk("shuttle")
    for name in (NAME, LEFT):
        (disk.mount / name).write_bytes(TAKE)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        assert tree.sweep() == 1


@pytest.mark.parametrize("there", [b"", b"other words\n"], ids=["emptied", "altered"])
def test_a_list_that_was_spoiled_is_not_taken_for_published(there: bytes) -> None:
    """It is left alone (P2), and the day gets a revision with lists that say something."""
    site = Site()
    site.card("SND_A1", {b"T01.WAV": take(1)})
    drive = site.drive("SHUTTLE_1")
    path = f"Lantern Bay/{DAY}/{DAY}".encode()
    site.work()
    site.wrap()
    drive.remove(path + b".r1.manifest.json.sig")  # so that all of it is put there again
    drive.put(path + b".r1.sha256", there)
    site.wrap()
    newest = site.engine.ledger.newest(DAY)
    assert newest is not None
    assert newest.number == 2
    assert drive.files[path + b".r1.sha256"] == there
    assert drive.files[path + b".r2.sha256"]
