"""One takehold for one catalogue: a lock that the system drops with the process that holds it."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
import time
from types import TracebackType

from takehold.model.errors import AnotherInstance, NoRights, WorldError

RETRY_S = 0.02
# Who only looks whether one runs holds the lock for a moment.
STARTS_WITHIN_S = 1.0
_BUSY = (errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK)


class InstanceLock:
    """Held inside the `with` block. The file stays: its text says since when, and is no claim.

    Raises AnotherInstance if another process, or another lock of this one, holds it, and goes on
    to do so for `wait_seconds`. A child made by fork without exec would hold it too, so start
    children with spawn or exec.
    """

    def __init__(self, path: str, wait_seconds: float = 0.0) -> None:
        self._path = path
        self._wait_seconds = wait_seconds
        self._fd = -1

    def __enter__(self) -> InstanceLock:
        fd = _open(self._path)
        try:
            end = time.monotonic() + self._wait_seconds
            while not _lock(fd):
                if time.monotonic() >= end:
                    raise _another(fd)
                time.sleep(RETRY_S)
            _note(fd)
        except OSError as error:
            os.close(fd)
            raise WorldError(
                f"The lock {self._path} could not be taken: {error.strerror}.",
                "Keep takehold's state folder on the internal disk.",
            ) from error
        except AnotherInstance:
            os.close(fd)
            raise
        self._fd = fd
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        os.close(self._fd)

    def is_lost(self) -> bool:
        """Whether others would lock another file: the folder was replaced, or another disk's.

        A folder that is away is waited for.
        """
        try:
            there = os.stat(self._path)
        except FileNotFoundError:
            return os.path.isdir(os.path.dirname(self._path) or ".")
        except OSError:
            return False
        return not os.path.samestat(there, os.fstat(self._fd))


def _note(fd: int) -> None:
    """Since when it is held; a full or read-only disk takes no such text, and holds the lock."""
    with contextlib.suppress(OSError):
        os.ftruncate(fd, 0)
        os.lseek(fd, 0, os.SEEK_SET)
        os.write(fd, time.strftime("%Y-%m-%d %H:%M:%S %z\n").encode())


def _open(path: str) -> int:
    flags = getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0)
    try:
        os.makedirs(os.path.dirname(path) or ".", mode=0o700, exist_ok=True)
        try:
            return os.open(path, flags | os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as error:
            if error.errno != errno.EROFS:
                raise
            return os.open(path, flags | os.O_RDONLY)  # who looks only must know who holds it
    except PermissionError as error:
        raise NoRights(
            f"The lock {path} cannot be opened: {error.strerror}.",
            "Run takehold as the user who owns its state folder.",
        ) from error
    except OSError as error:
        raise WorldError(
            f"The lock {path} cannot be opened: {error.strerror}.",
            "Look at takehold's state folder.",
        ) from error


def _another(fd: int) -> AnotherInstance:
    os.lseek(fd, 0, os.SEEK_SET)
    text = os.read(fd, 40).decode("ascii", "ignore").strip()
    since = f" since {text}" if text.isprintable() and text else ""
    return AnotherInstance(
        f"Another takehold works with this catalogue{since}.",
        "Nothing is wrong: ask it with `takehold status`. To run this one, stop the other first.",
    )


if sys.platform == "win32":
    import msvcrt

    def _lock(fd: int) -> bool:
        os.lseek(fd, 1 << 30, os.SEEK_SET)  # far from the text: a locked byte cannot be read
        try:
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in _BUSY:
                return False
            raise
        return True

else:
    import fcntl

    def _lock(fd: int) -> bool:
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno in _BUSY:
                return False
            raise
        return True
