"""A file being written under a temporary name, until it is proven (P3)."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager

from takehold.adapters.disk.faults import fault, refuse, where
from takehold.adapters.disk.flushing import CANNOT_PROMISE, flush_to_medium, promises
from takehold.adapters.disk.naming import KnownNames
from takehold.adapters.disk.reading import DIRECT_FROM, PAGE, FileReader, cold_in, direct_again
from takehold.adapters.disk.roots import OpenRoot, close_quietly, split
from takehold.adapters.disk.witness import on_block_device
from takehold.adapters.together import keep_together
from takehold.formats.names import OWN_PREFIX
from takehold.model.errors import WorldError

OWN_PART = re.compile(rb"\.takehold-[0-9a-f]{16}\.part")
"""The whole of a part's name."""

_CLOSED = -1
_RESERVE_FROM = 8 << 20  # bytes; for smaller files it costs more than it saves (measured)
# Elsewhere the C library, or the kernel, reserves by writing zeros.
_RESERVING = frozenset({"ext4", "xfs", "btrfs", "f2fs"})
_FAT = frozenset({"vfat", "msdos"})
_FAT_LARGEST = 0xFFFFFFFF  # bytes: DIR_FileSize has 32 bits (Microsoft FAT specification)


class FilePart:
    """Implements `takehold.ports.disk.Part`; for one thread at a time.

    Takes over `folder_fd`. The lock on a descriptor of its own tells a sweep that it is in use.
    """

    def __init__(self, at: OpenRoot, names: KnownNames, folder: bytes, folder_fd: int) -> None:
        self._at = at
        self._names = names
        self._folder = folder
        self._folder_fd = folder_fd
        self._name, self._fd, self._lock_fd = _create(folder, folder_fd, names)
        self._path = _join(folder, self._name)
        self._direct: int | None = None
        self._flushed = False
        self._on_medium = False
        self._dead = False
        self._open = True

    def reserve(self, size: int) -> None:
        """Ask for room for `size` bytes, and choose how to write them."""
        volume = self._at.root.volume
        keep_together(size)
        with self._fatal():
            about = os.fstatvfs(self._fd)
            if volume.kind in _FAT and size > _FAT_LARGEST:
                raise refuse(errno.EFBIG, self._at.root, self._path)
            if about.f_bavail * about.f_frsize < size:
                raise refuse(errno.ENOSPC, self._at.root, self._path)
            if size >= _RESERVE_FROM and volume.kind in _RESERVING:
                self._allocate(size)
            if size >= DIRECT_FROM and self._direct is None and on_block_device(volume):
                same = os.fstat(self._fd)
                self._direct = direct_again(self._folder_fd, self._name, os.O_WRONLY, same)

    def _allocate(self, size: int) -> None:
        try:
            os.posix_fallocate(self._fd, 0, size)
        except OSError as error:
            if error.errno not in CANNOT_PROMISE:
                raise

    def write(self, buffer: memoryview, offset: int) -> None:
        """Write all of it: past the cache as far as it goes, which leaves less than a page."""
        self._flushed = self._on_medium = False
        with self._fatal():
            done = self._write_blocks(buffer[: len(buffer) - len(buffer) % PAGE], offset)
            while done < len(buffer):
                done += os.pwrite(self._fd, buffer[done:], offset + done)

    def _write_blocks(self, buffer: memoryview, offset: int) -> int:
        done = 0
        try:
            while self._direct is not None and done < len(buffer):
                done += os.pwrite(self._direct, buffer[done:], offset + done)
                if done % PAGE:
                    self._stop_direct()
        except OSError as error:
            if error.errno != errno.EINVAL:
                raise
            self._stop_direct()
        return done

    def _stop_direct(self) -> None:
        """Go on through the cache: the file system grants the opening and refuses the write."""
        if self._direct is not None:
            direct, self._direct = self._direct, None
            os.close(direct)

    def flush_piece(self) -> bool:
        """Flush what is there; what went through the cache is only read back as a whole."""
        with self._fatal():
            if self._direct is None:
                return False
            return flush_to_medium(self._fd, self._at.root.volume)

    def on_medium(self) -> None:
        """It was flushed from outside, with all else on its file system."""
        self._on_medium = True

    def flush(self, size: int) -> bool:
        """Cut to `size` and flush. After an error nothing of this part can be trusted."""
        with self._fatal():
            if self._on_medium and os.fstat(self._fd).st_size == size:
                promised = promises(self._at.root.volume)
            else:
                os.ftruncate(self._fd, size)
                promised = flush_to_medium(self._fd, self._at.root.volume)
            self._flushed = True
            return promised

    @contextmanager
    def reader(self) -> Iterator[FileReader]:
        """Read it back, cold."""
        self._at.check()
        reader = cold_in(self._at, self._folder_fd, self._name, self._path)
        try:
            yield reader
        finally:
            reader.close()

    def keep(self, path: bytes) -> None:
        """Give it its final name in its own folder."""
        folder, name = split(self._at.root, path)
        if folder != self._folder:
            raise ValueError("a part is kept in the folder it was written in")
        if not self._flushed:
            raise WorldError(f"{where(self._at.root, self._path)}: it was not flushed.")
        with self._fatal():
            self._at.check()
            self._close_written()
        try:
            self._names.rename(folder, self._folder_fd, self._name, name)
        except OSError as error:
            raise fault(error, self._at.root, path, naming=self._is_there()) from error
        self._release()

    def _is_there(self) -> bool:
        with contextlib.suppress(OSError):
            os.stat(self._name, dir_fd=self._folder_fd, follow_symlinks=False)
            return True
        return False

    def drop(self) -> None:
        """Close and remove it; whatever fails here is left to a sweep."""
        if not self._open:
            return
        with contextlib.suppress(OSError):
            self._stop_direct()
        with contextlib.suppress(OSError):
            self._close_written()
        changing = self._names.changing(self._folder, self._folder_fd)
        with contextlib.suppress(OSError), changing:
            os.unlink(self._name, dir_fd=self._folder_fd)
        self._release()

    def _close_written(self) -> None:
        """A late error of a write may show only here (close(2)), so it counts."""
        self._stop_direct()
        if self._fd != _CLOSED:
            fd, self._fd = self._fd, _CLOSED
            os.close(fd)

    def _release(self) -> None:
        self._open = False
        close_quietly(self._lock_fd)
        close_quietly(self._folder_fd)

    def _fatal(self) -> _Fatal:
        """Whatever fails within kills this part: it is never tried again on it."""
        if self._dead or not self._open:
            raise WorldError(f"{where(self._at.root, self._path)}: it failed before.")
        return _Fatal(self)

    def _kill(self, error: BaseException) -> None:
        self._dead = True
        if isinstance(error, OSError):
            raise fault(error, self._at.root, self._path) from error


class _Fatal:
    """A block within which any error kills the part."""

    __slots__ = ("_killed",)

    def __init__(self, part: FilePart) -> None:
        self._killed = part._kill  # noqa: SLF001  # one class in two

    def __enter__(self) -> None:
        pass

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        if error is not None:
            self._killed(error)


def _join(folder: bytes, name: bytes) -> bytes:
    return folder + b"/" + name if folder else name


def new_part(at: OpenRoot, names: KnownNames, folder: bytes, folder_fd: int) -> FilePart:
    """Create a part in an open folder, which is the part's from now on, or closed on an error."""
    try:
        return FilePart(at, names, folder, folder_fd)
    except BaseException as error:
        close_quietly(folder_fd)
        if isinstance(error, OSError):
            raise fault(error, at.root, folder) from error
        raise


def _create(folder: bytes, folder_fd: int, names: KnownNames) -> tuple[bytes, int, int]:
    """A new file under a temporary name, and the lock on it.

    Between its creation and its lock another process's sweep may take it: then another is made.
    """
    while True:
        name = f"{OWN_PREFIX}{secrets.token_hex(8)}.part".encode()
        with names.changing(folder, folder_fd):
            flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW
            fd = os.open(name, flags, 0o644, dir_fd=folder_fd)
        lock_fd = None
        try:
            lock_fd = os.open(name, os.O_RDONLY | os.O_NOFOLLOW, dir_fd=folder_fd)
            if _locked(lock_fd):
                os.stat(name, dir_fd=folder_fd, follow_symlinks=False)
                return name, fd, lock_fd
        except FileNotFoundError:
            pass
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(name, dir_fd=folder_fd)
            _close_all(fd, lock_fd)
            raise
        _close_all(fd, lock_fd)


def _close_all(*fds: int | None) -> None:
    for fd in fds:
        if fd is not None:
            close_quietly(fd)


def _locked(fd: int) -> bool:
    """Lock it. Where there are no locks it is used without: a sweep then never takes it."""
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True


def in_use(fd: int) -> bool:
    """Whether a part belongs to somebody who lives, or that cannot be told."""
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    return False
