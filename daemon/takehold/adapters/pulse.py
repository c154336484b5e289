"""A sign of life that writes to no disk: a locked byte, whose place is the second of the beat.

The lock lies in the system's memory, is seen by every process of this machine and goes with the
process that holds it (record locks: POSIX fcntl, Windows LockFile). The count of seconds is one for
all processes (Python's time.monotonic) and stands still while the machine sleeps (Linux, macOS).
"""

from __future__ import annotations

import contextlib
import os
import sys
import time

FLAGS = os.O_RDWR | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0)


class Pulse:
    """Beats at one file, which stays empty. One process has one; closed, it is silent."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._fd = -1
        self._at = -1

    def beat(self) -> None:
        """Tell that the loop came round; what cannot be told stops nothing."""
        now = int(time.monotonic())
        if now == self._at:
            return
        with contextlib.suppress(OSError):
            if self._fd < 0:
                self._fd = os.open(self._path, FLAGS | os.O_CREAT, 0o600)
            if not _lock(self._fd, now, 1):  # somebody looks just now
                return
            if self._at >= 0:
                _unlock(self._fd, self._at)
            self._at = now

    def close(self) -> None:
        """Let go of the file."""
        if self._fd >= 0:
            os.close(self._fd)
        self._fd = self._at = -1


def beats(path: str, within_seconds: int) -> bool | None:
    """Whether a beat came within the last seconds; None if that cannot be told."""
    since = max(0, int(time.monotonic()) - within_seconds)
    try:
        fd = os.open(path, FLAGS)
    except OSError:
        return None
    try:
        return not _lock(fd, since, 0)
    except OSError:
        return None
    finally:
        os.close(fd)


if sys.platform == "win32":
    import msvcrt

    def _lock(fd: int, start: int, length: int) -> bool:
        """Take these bytes, 0 for all that follow; whether nobody else has one of them."""
        os.lseek(fd, start, os.SEEK_SET)
        try:
            msvcrt.locking(fd, msvcrt.LK_NBLCK, length or 1 << 30)
        except PermissionError:
            return False
        return True

    def _unlock(fd: int, start: int) -> None:
        os.lseek(fd, start, os.SEEK_SET)
        msvcrt.locking(fd, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _lock(fd: int, start: int, length: int) -> bool:
        """Take these bytes, 0 for all that follow; whether nobody else has one of them."""
        try:
            fcntl.lockf(fd, fcntl.LOCK_EX | fcntl.LOCK_NB, length, start)
        except (BlockingIOError, PermissionError):  # EAGAIN or EACCES (fcntl(2))
            return False
        return True

    def _unlock(fd: int, start: int) -> None:
        fcntl.lockf(fd, fcntl.LOCK_UN, 1, start)
