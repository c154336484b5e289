"""How it is known where the bytes of a read came from.

Two counters of Linux, both open to every user. What a thread has caused to be fetched from storage
(`read_bytes` in proc_pid_io(5)) proves a read from a kernel's own file system. It stays at 0 for
FUSE, whose server reads the device through the device's own cache: there that cache is dropped
too, and the device's count of sectors (kernel documentation, block/stat) must grow by the whole
file. Others who read the device meanwhile raise it, so it can refute a read and only supports one.
"""

from __future__ import annotations

import contextlib
import os
import stat
import threading

from takehold.model.recording import Seen
from takehold.model.volume import Volume

_SECTOR = 512  # the unit of block/stat, whatever the device's own sectors are
# btrfs was measured at 97 %: what is packed into its trees is fetched on another's account.
_NEARLY_ALL = 0.95
# These sit on block devices and have no device number of their own in the mount table.
_MANY_DEVICES = frozenset({"btrfs", "bcachefs"})


def on_block_device(volume: Volume) -> bool:
    """Whether the kernel itself keeps this file system on block devices: no FUSE, no network."""
    real = not volume.device.startswith("0:") or volume.kind in _MANY_DEVICES
    return real and not volume.kind.startswith("fuse")


class _Counters:
    """This thread's own counters, opened once: they are asked before and after each read."""

    def __init__(self) -> None:
        self._fd = os.open("/proc/thread-self/io", os.O_RDONLY)

    def fetched(self) -> int:
        text = os.pread(self._fd, 1024, 0)
        return int(text.split(b"\nread_bytes: ", 1)[1].split(b"\n", 1)[0])

    def __del__(self) -> None:
        with contextlib.suppress(AttributeError, OSError):
            os.close(self._fd)


_mine = threading.local()


def fetched_by_thread() -> int | None:
    """Bytes this thread has caused to be fetched from storage; None where nobody counts."""
    try:
        if not hasattr(_mine, "counters"):
            _mine.counters = _Counters()
        fetched: int = _mine.counters.fetched()
    except (OSError, ValueError, IndexError):
        return None
    return fetched


class Witness:
    """Follows one file from its opening, and says how far its bytes came from the medium."""

    __slots__ = ("_at_opening", "_fetched", "_volume")

    def __init__(self, volume: Volume) -> None:
        self._volume = volume
        self._fetched: int | None = 0 if on_block_device(volume) else None
        self._at_opening: int | None = None
        if volume.kind == "fuseblk" and _drop_device_cache(volume.device):
            self._at_opening = _fetched_from_device(volume.device)

    def before(self) -> int | None:
        """Ask before a read; the answer goes to `after`."""
        return None if self._fetched is None else fetched_by_thread()

    def after(self, before: int | None) -> None:
        """Count a read, on the thread that made it."""
        now = None if before is None else fetched_by_thread()
        if self._fetched is None or before is None or now is None:
            self._fetched = None
        else:
            self._fetched += now - before

    def seen(self, size: int) -> Seen:
        """The verdict on `size` bytes read since opening."""
        if not self._volume.keeps:
            return Seen.CACHE
        if size == 0:
            return Seen.MEDIUM
        if self._at_opening is not None:
            now = _fetched_from_device(self._volume.device)
            proven = now is not None and now - self._at_opening >= size
        else:
            proven = self._fetched is not None and self._fetched >= _NEARLY_ALL * size
        return Seen.MEDIUM if proven else Seen.UNKNOWN


def _fetched_from_device(device: str) -> int | None:
    """Bytes all have read from a block device, "MAJ:MIN", since it is there."""
    try:
        with open(f"/sys/dev/block/{device}/stat", "rb") as counters:
            return int(counters.read().split()[2]) * _SECTOR
    except (OSError, ValueError, IndexError):
        return None


def _drop_device_cache(device: str) -> bool:
    """Drop the cache of a block device; opened for reading only, so nothing can change on it."""
    with contextlib.suppress(OSError, StopIteration):
        with open(f"/sys/dev/block/{device}/uevent", encoding="utf-8") as lines:
            name = next(line[8:].strip() for line in lines if line.startswith("DEVNAME="))
        fd = os.open(f"/dev/{name}", os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW)
        try:
            about = os.fstat(fd)
            number = f"{os.major(about.st_rdev)}:{os.minor(about.st_rdev)}"
            if not stat.S_ISBLK(about.st_mode) or number != device:
                return False
            os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)
            return True
        finally:
            os.close(fd)
    return False
