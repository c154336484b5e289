"""One flush for many parts, on real file systems over disks that fail (P3; syncfs(2))."""

from __future__ import annotations

import mmap
import os

import pytest

from faultlab.lab import Lab, faulty_lab, holding  # noqa: F401
from makings import root_at
from takehold.adapters.disk import LocalDisk
from takehold.model.errors import WorldError
from takehold.ports.disk import DestinationTree, Part

SIZE = 50_000
COUNT = 6
TOLD = pytest.mark.parametrize("fs", ["ext4", "xfs", "btrfs"])


def content(number: int) -> bytes:
    return bytes((at * 7 + number * 31 + (at >> 8)) & 0xFF for at in range(SIZE))


def written(tree: DestinationTree) -> list[Part]:
    """Small parts, through the cache, none of them flushed."""
    view = memoryview(mmap.mmap(-1, SIZE))
    parts = []
    for number in range(COUNT):
        part = tree.part(b"day")
        part.reserve(SIZE)
        view[:] = content(number)
        part.write(view, 0)
        parts.append(part)
    return parts


@TOLD
def test_a_write_that_fails_is_told(lab: Lab, fs: str) -> None:
    """An error of any of them is one of the call, and never lost to the flush of each."""
    disk = lab.disk("shuttle", fs=fs)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        parts = written(tree)
        disk.set(write_error=[holding(content(3))])
        with pytest.raises(WorldError) as told:
            tree.flush_together(parts)
        assert "Input/output error" in told.value.says
        for part in parts:
            part.drop()
        disk.mend()


@TOLD
def test_what_was_flushed_together_survives_a_power_cut(lab: Lab, fs: str) -> None:
    """The disk has it all: what it was only holding back is lost with the power."""
    disk = lab.disk("shuttle", fs=fs)
    disk.set(volatile=True)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        parts = written(tree)
        tree.flush_together(parts)
        for number, part in enumerate(parts):
            assert part.flush(SIZE)
            part.keep(b"day/%d.wav" % number)
        assert tree.settle(b"day")
    disk.power_cut()
    disk.come_back()
    for number in range(COUNT):
        assert (disk.mount / "day" / f"{number}.wav").read_bytes() == content(number)
    assert not [name for name in os.listdir(disk.mount / "day") if name.endswith(".part")]


@pytest.mark.parametrize("fs", ["ext4", "exfat"])
def test_each_is_flushed_by_itself_where_one_call_promises_less(lab: Lab, fs: str) -> None:
    """The disk is told to flush once for all, or once for each of them at least."""
    disk = lab.disk("shuttle", fs=fs)
    with LocalDisk().destination(root_at(disk.mount)) as tree:
        parts = written(tree)
        before = disk.counts()["flush"]
        tree.flush_together(parts)
        for part in parts:
            part.flush(SIZE)
        flushes = disk.counts()["flush"] - before
        for part in parts:
            part.drop()
    assert 1 <= flushes <= 3 if fs == "ext4" else flushes >= COUNT
