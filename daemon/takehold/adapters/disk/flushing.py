"""Flushing to the medium: a file, a folder, or all of a file system at once (P3)."""

from __future__ import annotations

import contextlib
import ctypes
import errno
import fcntl
import os
import platform
import re

from takehold.adapters.disk.libc import libc
from takehold.model.volume import Volume

CANNOT_PROMISE = frozenset({errno.ENOTTY, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EINVAL})
"""Answers of a file system that knows no such call."""

# Asks a drive to empty its own memory too; plain fsync does not, on macOS (fcntl(2) there).
_FULL_FLUSH = getattr(fcntl, "F_FULLFSYNC", None)
# They end a syncfs with a flush of the device. FAT does not (kernel sources, fs/fat).
_FLUSH_AS_A_WHOLE = frozenset({"ext4", "xfs", "btrfs"})
# Before, syncfs(2) did not tell of errors of writing back.
_TELLS_FROM = (5, 8)


def flush_to_medium(fd: int, volume: Volume) -> bool:
    """Flush a file or folder; False where that promises nothing. Other errors are the caller's."""
    try:
        if _FULL_FLUSH is not None:
            with contextlib.suppress(OSError):
                fcntl.fcntl(fd, _FULL_FLUSH)
        os.fsync(fd)
    except OSError as error:
        if error.errno in CANNOT_PROMISE:
            return False
        raise
    return promises(volume)


def promises(volume: Volume) -> bool:
    """Whether a flush there that succeeds says anything.

    For a FUSE server without a block device the kernel answers success also where the server
    knows no flush (ENOSYS is swallowed), so nothing is promised there.
    """
    return volume.keeps and not volume.kind.startswith("fuse.") and volume.kind != "fuse"


def flushes_as_a_whole(volume: Volume) -> bool:
    """Whether one call can flush all of it, and tells every error of writing it."""
    if platform.system() != "Linux" or volume.kind not in _FLUSH_AS_A_WHOLE:
        return False
    release = re.match(r"(\d+)\.(\d+)", platform.release())
    return release is not None and (int(release[1]), int(release[2])) >= _TELLS_FROM


def flush_all(fd: int) -> None:
    """Flush the file system of an open file or folder.

    An error of any file on it since this descriptor was opened, or asked so last, is raised:
    so it must be older than the writes that count (syncfs(2)).
    """
    if libc().syncfs(fd) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
