"""A file that is a disk with faults: put a loop device and any file system upon it.

    python -m faultlab.disk_server IMAGE MOUNTPOINT

The mount holds one file, `disk.img`. It is served without the kernel's cache, so that every
request of the loop device comes here. Faults (see `switchboard`), each a list of spots, where a
spot is {"from": byte, "to": byte} of the image, or {"holds": hex} for whatever block holds these
bytes, wherever a file system puts them:

    read_error   EIO                      write_error  EIO
    flip         one bit is other         drop_writes  acknowledged and not stored
    flip_once    the same, at the first read of each spot only

    stuck        a read hangs there until that is mended

and `hang` (a list of "read", "write", "flush"), `slow` (seconds a read), `flush_error` (a list of
errno names, each given once), `volatile` (what is written stays in memory until the next flush).
The order `cut` is the end of power: it takes null, or a number that picks which of the unflushed
writes reached the medium all the same, as drives do that write in an order of their own.
The order `record` takes [path, number]: from now on every write and flush is added to that
`write_log` under that number, so that any end of power can be played afterwards.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import threading
from typing import Any

import mfusepy

from faultlab.switchboard import Switchboard, fail
from faultlab.write_log import FLUSH, WRITE, Record, WriteLog

NAME = "/disk.img"
Spots = list[dict[str, Any]]


def struck(spots: Spots | None, offset: int, data: bytes) -> int | None:
    """Index into `data` (bytes from `offset`) of the first byte that a spot touches, or None."""
    for spot in spots or ():
        if "holds" in spot:
            at = data.find(bytes.fromhex(spot["holds"]))
            if at >= 0:
                return at
        elif offset < spot["to"] and offset + len(data) > spot["from"]:
            return max(spot["from"] - offset, 0)
    return None


class Image:
    """The medium, and a cache before it that loses what it holds when the power goes."""

    def __init__(self, path: str) -> None:
        self._fd = os.open(path, os.O_RDWR)
        self._held: list[tuple[int, bytes]] = []
        self._lock = threading.Lock()
        self._log: WriteLog | None = None
        self._number = 0
        self.size = os.fstat(self._fd).st_size

    def record(self, where: tuple[str, int]) -> None:
        """Keep a log from now on."""
        with self._lock:
            path, self._number = where
            self._log = WriteLog(path)

    def _note(self, kind: bytes, offset: int = 0, data: bytes = b"") -> None:
        if self._log is not None:
            self._log.add(Record(self._number, kind, offset, data))

    def read(self, offset: int, length: int) -> bytearray:
        """What the disk says now: the medium, and over it what is held."""
        with self._lock:
            data = bytearray(os.pread(self._fd, length, offset))
            for start, held in self._held:
                low, high = max(start, offset), min(start + len(held), offset + len(data))
                if low < high:
                    data[low - offset : high - offset] = held[low - start : high - start]
        return data

    def write(self, offset: int, data: bytes, volatile: bool) -> None:
        """Store, or hold."""
        with self._lock:
            self._note(WRITE, offset, data)
            if volatile:
                self._held.append((offset, data))
            else:
                os.pwrite(self._fd, data, offset)

    def flush(self) -> None:
        """Store all that is held."""
        with self._lock:
            self._note(FLUSH)
            self._store(self._held)
            self._held = []

    def cut(self, luck: int | None) -> None:
        """Lose what is held, but for some of it, and end at once."""
        with self._lock:
            if luck is not None:
                dice = random.Random(luck)
                self._store([held for held in self._held if dice.random() < 0.5])
            os.kill(os.getpid(), signal.SIGKILL)

    def _store(self, writes: list[tuple[int, bytes]]) -> None:
        for offset, data in writes:
            os.pwrite(self._fd, data, offset)


class DiskFile(mfusepy.Operations):  # type: ignore[misc]
    """The file system that holds the disk."""

    use_ns = True

    def __init__(self, image: Image, board: Switchboard) -> None:
        self._image = image
        self._board = board

    def init(self, path: str) -> None:
        self._board.listen()

    def getattr(self, path: str, fh: int | None = None) -> dict[str, Any]:
        if path == "/":
            return {"st_mode": 0o40755, "st_nlink": 2}
        if path != NAME:
            fail("ENOENT")
        return {"st_mode": 0o100600, "st_nlink": 1, "st_size": self._image.size}

    def readdir(self, path: str, fh: int) -> list[str]:
        return [".", "..", NAME[1:]]

    def open(self, path: str, flags: int) -> int:
        return 0

    def truncate(self, path: str, length: int, fh: int | None = None) -> int:
        return 0

    def read(self, path: str, size: int, offset: int, fh: int) -> bytes:
        self._board.delay("read")
        data = self._image.read(offset, size)
        self._board.hold(lambda: struck(self._board.get("stuck"), offset, data) is not None)
        if struck(self._board.get("read_error"), offset, data) is not None:
            fail("EIO")
        passing = self._board.get("flip_once") or []
        for spot in (*self._board.get("flip", ()), *passing):
            at = struck([spot], offset, data)
            if at is not None:
                data[at] ^= 1
                if spot in passing:
                    passing.remove(spot)
        return bytes(data)

    def write(self, path: str, data: bytes, offset: int, fh: int) -> int:
        self._board.delay("write")
        if struck(self._board.get("write_error"), offset, data) is not None:
            fail("EIO")
        if struck(self._board.get("drop_writes"), offset, data) is None:
            self._image.write(offset, data, bool(self._board.get("volatile")))
        return len(data)

    def fsync(self, path: str, datasync: int, fh: int) -> int:
        self._board.delay("flush")
        name = self._board.once("flush_error")
        if name:
            fail(name)
        self._image.flush()
        return 0


if __name__ == "__main__":
    disk = Image(sys.argv[1])
    switches = Switchboard({"cut": disk.cut, "record": disk.record})
    mfusepy.FUSE(
        DiskFile(disk, switches),
        sys.argv[2],
        foreground=True,
        direct_io=True,
        # Each disk is one of its own, the same one whenever its power comes back.
        fsname=f"disk-{os.path.basename(sys.argv[1])}",
    )
