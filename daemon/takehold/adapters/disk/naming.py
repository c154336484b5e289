"""Giving a final name without ever replacing one (P2)."""

from __future__ import annotations

import ctypes
import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

from takehold.adapters.disk.libc import libc
from takehold.formats.names import same_key

_NOREPLACE = 1  # RENAME_NOREPLACE of linux/fs.h, rename(2)
# The system or the file system does not know the call, or not this flag.
_UNKNOWN_CALL = frozenset({errno.EINVAL, errno.ENOSYS, errno.EOPNOTSUPP})
_NO_LINKS = frozenset({errno.EPERM, errno.ENOSYS, errno.EOPNOTSUPP, errno.EMLINK, errno.EINVAL})

_Moment = tuple[int, int, int, int]


class KnownNames:
    """What names the folders of one destination hold, in any case and Unicode form.

    A folder is listed anew only where somebody else changed it since (its times tell): otherwise
    10,000 files would cost 10,000 listings of up to 10,000 names. What slips through within one
    tick of the file system's clock differs in spelling, and still cannot be overwritten.
    All trees of one root share it, so that two never give one name.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._folders: dict[bytes, tuple[_Moment, set[str]]] = {}

    @contextmanager
    def changing(self, folder: bytes, fd: int) -> Iterator[None]:
        """Around a change of our own that gives or takes only a part's name."""
        with self._lock:
            keys = self._current(folder, fd)
            try:
                yield
            finally:
                if keys is not None:
                    self._folders[folder] = (_moment(fd), keys)

    def rename(self, folder: bytes, fd: int, old: bytes, new: bytes) -> None:
        """Give a name within a folder; FileExistsError if one that meets it is in use."""
        key = same_key(new)
        with self._lock:
            keys = self._current(folder, fd)
            if keys is None:
                keys = _keys(fd)
            if key in keys:
                raise _exists(new)
            _rename(fd, old, new)
            keys.add(key)
            self._folders[folder] = (_moment(fd), keys)

    def _current(self, folder: bytes, fd: int) -> set[str] | None:
        moment, keys = self._folders.get(folder, (None, None))
        return keys if moment == _moment(fd) else None


def _moment(fd: int) -> _Moment:
    about = os.fstat(fd)
    return about.st_dev, about.st_ino, about.st_mtime_ns, about.st_ctime_ns


def _keys(fd: int) -> set[str]:
    return {same_key(os.fsencode(name)) for name in os.listdir(fd)}


def _exists(name: bytes) -> FileExistsError:
    return FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), name)


def _rename(fd: int, old: bytes, new: bytes) -> None:
    """By the first of three ways that the system knows."""
    try:
        _rename_noreplace(fd, old, new)
    except OSError as error:
        if error.errno not in _UNKNOWN_CALL:
            raise
        _rename_by_link(fd, old, new)


def _rename_noreplace(fd: int, old: bytes, new: bytes) -> None:
    call = getattr(libc(), "renameat2", None)
    if call is None:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    if call(fd, old, fd, new, ctypes.c_uint(_NOREPLACE)) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number), new)


def _rename_by_link(fd: int, old: bytes, new: bytes) -> None:
    """A link never replaces. The part's own name goes afterwards, at the latest in a sweep."""
    try:
        os.link(old, new, src_dir_fd=fd, dst_dir_fd=fd, follow_symlinks=False)
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        _rename_after_look(fd, old, new)
    else:
        os.unlink(old, dir_fd=fd)


def _rename_after_look(fd: int, old: bytes, new: bytes) -> None:
    """Where neither exists (exFAT through FUSE): look, under the lock, then rename.

    Another program that makes the same name between the two would lose its file; there is no
    call on such a file system that could prevent it.
    """
    if same_key(new) in _keys(fd):
        raise _exists(new)
    os.rename(old, new, src_dir_fd=fd, dst_dir_fd=fd)
