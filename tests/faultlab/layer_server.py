"""A folder served as it is, with the faults of file systems above a disk.

    python -m faultlab.layer_server FOLDER MOUNTPOINT

Faults (see `switchboard`); `files` limits them all to paths that end so, "" for all:

    short_read, short_write   at most so many bytes a call (read(2) and write(2) allow it)
    full_at                   ENOSPC for bytes of a file from here on, after a short write
    longest_name              ENAMETOOLONG for longer names, wherever they are asked for
    open_error                errno name for every opening to read; listings and stamps go on
    read_error_from           EIO for reads that reach this byte of a file
    fsync_error               errno name for every flush of a file or folder
    fsync_once, close_once    lists of errno names, each given once by fsync(2) or close(2)
    lose_tail                 so many bytes at the end of each write are not stored
    step_ns, shift_ns         times in steps of so many nanoseconds, and so much later
    hang                      a list of "read", "write", "flush", "open", "list"

It counts requests by their word, and bytes read by "bytes <path>".
The mount bypasses the kernel's cache: else a short read would be taken for the end of the file.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from typing import Any

import mfusepy

from faultlab.switchboard import Switchboard, fail

STATS = ("st_mode", "st_nlink", "st_size", "st_uid", "st_gid", "st_ino")
ROOM = (
    "f_bavail", "f_bfree", "f_blocks", "f_bsize", "f_frsize", "f_files", "f_ffree", "f_namemax",
)  # fmt: skip


class Layer(mfusepy.Operations):  # type: ignore[misc]
    """Passes every request on to a folder."""

    use_ns = True

    def __init__(self, folder: str, board: Switchboard) -> None:
        self._folder = folder
        self._board = board

    def _at(self, path: str) -> str:
        return self._folder + path

    def _fault(self, path: str, fault: str) -> Any:
        return self._board.get(fault) if path.endswith(self._board.get("files", "")) else None

    def _once(self, path: str, fault: str) -> Any:
        return self._board.once(fault) if path.endswith(self._board.get("files", "")) else None

    def init(self, path: str) -> None:
        self._board.listen()

    def getattr(self, path: str, fh: int | None = None) -> dict[str, Any]:
        if len(os.path.basename(path)) > self._board.get("longest_name", 255):
            fail("ENAMETOOLONG")
        about = os.lstat(self._at(path))
        found: dict[str, Any] = {name: getattr(about, name) for name in STATS}
        step, shift = self._board.get("step_ns", 1), self._board.get("shift_ns", 0)
        for name in ("st_mtime", "st_atime", "st_ctime"):
            found[name] = getattr(about, f"{name}_ns") // step * step + shift
        return found

    def readdir(self, path: str, fh: int) -> Iterator[str]:
        self._board.delay("list")
        yield from (".", "..", *os.listdir(self._at(path)))

    def open(self, path: str, flags: int) -> int:
        self._board.delay("open")
        if self._fault(path, "open_error") and flags & os.O_ACCMODE == os.O_RDONLY:
            fail(self._fault(path, "open_error"))
        # Opened as asked for the right to it; the kernel says itself where appending goes.
        return os.open(self._at(path), flags & (os.O_ACCMODE | os.O_TRUNC))

    def create(self, path: str, mode: int, fi: int | None = None) -> int:
        return os.open(self._at(path), os.O_RDWR | os.O_CREAT | os.O_EXCL, mode)

    def read(self, path: str, size: int, offset: int, fh: int) -> bytes:
        self._board.delay("read")
        bad = self._fault(path, "read_error_from")
        if bad is not None and offset + size > bad:
            fail("EIO")
        data = os.pread(fh, min(size, self._fault(path, "short_read") or size), offset)
        self._board.counts[f"bytes {path}"] += len(data)
        return data

    def write(self, path: str, data: bytes, offset: int, fh: int) -> int:
        self._board.delay("write")
        room = len(data)
        full_at = self._fault(path, "full_at")
        if full_at is not None:
            room = min(room, full_at - offset)
            if room <= 0:
                fail("ENOSPC")
        room = min(room, self._fault(path, "short_write") or room)
        stored = room - (self._fault(path, "lose_tail") or 0)
        os.pwrite(fh, data[: max(stored, 0)], offset)
        return room

    def flush(self, path: str, fh: int) -> int:
        name = self._once(path, "close_once") if self._is_written(fh) else None
        if name:
            fail(name)
        return 0

    def _is_written(self, fh: int) -> bool:
        with open(f"/proc/self/fdinfo/{fh}", encoding="ascii") as lines:
            flags = next(line.split()[1] for line in lines if line.startswith("flags:"))
        return int(flags, 8) & os.O_ACCMODE != os.O_RDONLY

    def fsync(self, path: str, datasync: int, fh: int) -> int:
        self._board.delay("flush")
        self._board.counts[f"flush {path}"] += 1
        name = self._once(path, "fsync_once") or self._fault(path, "fsync_error")
        if name:
            fail(name)
        os.fsync(fh)
        return 0

    def fsyncdir(self, path: str, datasync: int, fh: int) -> int:
        self._board.delay("flush")
        if self._board.get("fsync_error"):
            fail(self._board.get("fsync_error"))
        return 0

    def release(self, path: str, fh: int) -> int:
        os.close(fh)
        return 0

    def truncate(self, path: str, length: int, fh: int | None = None) -> int:
        os.truncate(self._at(path), length)
        return 0

    def unlink(self, path: str) -> int:
        os.unlink(self._at(path))
        return 0

    def mkdir(self, path: str, mode: int) -> int:
        os.mkdir(self._at(path), mode)
        return 0

    def rename(self, old: str, new: str) -> int:
        """Never over another file: the flag that asks for that does not get here."""
        if os.path.lexists(self._at(new)):
            fail("EEXIST")
        os.rename(self._at(old), self._at(new))
        return 0

    def utimens(self, path: str, times: tuple[int, int] | None = None) -> int:
        os.utime(self._at(path), ns=times)
        return 0

    def statfs(self, path: str) -> dict[str, int]:
        about = os.statvfs(self._at(path))
        return {name: getattr(about, name) for name in ROOM}


if __name__ == "__main__":
    mfusepy.FUSE(
        Layer(sys.argv[1], Switchboard()),
        sys.argv[2],
        foreground=True,
        direct_io=True,
        entry_timeout=0,
        attr_timeout=0,
        negative_timeout=0,
        fsname=f"layer-{os.path.basename(sys.argv[2])}",
    )
