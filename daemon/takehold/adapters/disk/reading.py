"""A file opened for a cold read: past the cache where the system allows it."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager

from takehold.adapters.disk.faults import refuse, told
from takehold.adapters.disk.roots import OpenRoot, close_quietly, is_plain, open_sparing, split
from takehold.adapters.disk.witness import Witness
from takehold.adapters.together import keep_together
from takehold.model.recording import Seen, Stamp

PAGE = 4096
"""Offsets, lengths and buffers of a direct read or write are multiples of it."""

DIRECT_FROM = 1 << 19
"""Below this size in bytes a direct read or write costs more than it saves (measured)."""

_WINDOW = 2 * PAGE
_DIRECT = getattr(os, "O_DIRECT", 0)  # Linux only
# O_NONBLOCK: should a pipe take the file's place after the look, its opening does not hang.
_FILE = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK


def stamp_of(about: os.stat_result) -> Stamp:
    """What the system says of a file, as far as a change would show in it."""
    return Stamp(about.st_size, about.st_mtime_ns, about.st_ctime_ns)


def direct_again(folder: int, name: bytes, flags: int, same: os.stat_result) -> int | None:
    """A second, uncached descriptor of a file that is open already; None where there is none."""
    if not _DIRECT:
        return None
    try:
        fd = open_sparing(name, flags | os.O_NOFOLLOW | os.O_NONBLOCK | _DIRECT, folder)
    except OSError:
        return None
    if os.path.samestat(os.fstat(fd), same):
        return fd
    os.close(fd)
    return None


class FileReader:
    """Implements `takehold.ports.disk.Reader`; for one thread at a time."""

    def __init__(self, at: OpenRoot, path: bytes, fd: int, direct: int | None, size: int) -> None:
        """`size` is what the file had when it was opened."""
        self._at = at
        self._path = path
        self._fd = fd
        self._direct = direct
        # A large part may be read while it grows.
        self._small_end = size if size < DIRECT_FROM else 0
        self._window, self._window_at = b"", 0
        self._drop_cache()
        # Headers are read through the cache, and nothing beyond them.
        self._at_random = False
        self._witness = Witness(at.root.volume)

    def stamp(self) -> Stamp:
        """The opened file's stamp, now."""
        with told(self._at.root, self._path):
            return stamp_of(os.fstat(self._fd))

    def read_at(self, offset: int, length: int) -> bytes:
        """Through the cache. What a later whole read finds there was fetched now, so it counts."""
        with told(self._at.root, self._path):
            read = self._in_window(offset, length)
            return self._pread(offset, length) if read is None else read

    def _in_window(self, offset: int, length: int) -> bytes | None:
        """A header is asked for in dozens of small pieces: out of a few pages, read once."""
        if length > _WINDOW:
            return None
        if not 0 <= offset - self._window_at <= len(self._window) - length:
            start = offset - offset % PAGE
            try:
                self._window, self._window_at = self._pread(start, _WINDOW), start
            except OSError:  # what was asked for may be readable all the same
                return None
        begin = offset - self._window_at
        held = self._window[begin : begin + length]
        return held if len(held) == length else None

    def _pread(self, offset: int, length: int) -> bytes:
        if not self._at_random:
            self._at_random = True
            self._advise("POSIX_FADV_RANDOM")
        if self._direct is not None:
            return os.pread(self._fd, length, offset)
        before = self._witness.before()
        read = os.pread(self._fd, length, offset)
        self._witness.after(before)
        return read

    def read_into(self, buffer: memoryview, offset: int) -> int:
        """Fill the buffer; a short count is the end of the file."""
        with told(self._at.root, self._path):
            self._read_on()
            before = self._witness.before()
            got = self._read_direct(buffer, offset)
            # A small file's end is not asked for: one that has grown since has another stamp.
            while got < len(buffer) and not (got and offset + got == self._small_end):
                more = os.preadv(self._fd, [buffer[got:]], offset + got)
                if not more:
                    break
                got += more
            self._witness.after(before)
            return got

    def seen(self, size: int) -> Seen:
        """How far these bytes are known to have come from the medium."""
        return self._witness.seen(size)

    def _read_direct(self, buffer: memoryview, offset: int) -> int:
        """Read uncached as far as it goes: up to the unaligned end, or not at all."""
        if self._direct is None or offset % PAGE or len(buffer) % PAGE:
            return 0
        got = 0
        try:
            while got < len(buffer) and got % PAGE == 0:
                more = os.preadv(self._direct, [buffer[got:]], offset + got)
                if not more:
                    break
                got += more
        except OSError as error:
            # Some file systems grant the opening and refuse the read (tmpfs of old, odd blocks).
            if error.errno != errno.EINVAL:
                raise
            self._fall_back()
        return got

    def _read_on(self) -> None:
        """All of it is wanted now: where it goes through the cache, it may be fetched ahead."""
        if self._at_random and self._direct is None:
            self._at_random = False
            self._advise("POSIX_FADV_SEQUENTIAL")

    def _fall_back(self) -> None:
        if self._direct is not None:
            close_quietly(self._direct)
        self._direct = None
        self._drop_cache()
        self._advise("POSIX_FADV_SEQUENTIAL")

    def _drop_cache(self) -> None:
        self._advise("POSIX_FADV_DONTNEED")

    def _advise(self, advice: str) -> None:
        """Advice may be refused; the witness tells what came of it."""
        if hasattr(os, "posix_fadvise"):
            try:
                os.posix_fadvise(self._fd, 0, 0, getattr(os, advice))
            except OSError:
                return

    def close(self) -> None:
        """Close what this reader opened itself."""
        if self._direct is not None:
            close_quietly(self._direct)
        close_quietly(self._fd)


@contextmanager
def cold(at: OpenRoot, path: bytes) -> Iterator[FileReader]:
    """Open a regular file of the root's own volume; FileMissing for anything else."""
    folder, name = split(at.root, path)
    fd = at.open_folder(folder, path)
    try:
        reader = cold_in(at, fd, name, path)
    finally:
        close_quietly(fd)
    try:
        yield reader
    finally:
        reader.close()


def cold_in(at: OpenRoot, folder: int, name: bytes, path: bytes) -> FileReader:
    """The same in an open folder; the caller closes the reader."""
    with told(at.root, path):
        # Asked before the opening: to open a device can already do something to it.
        _must_be_plain(at, os.stat(name, dir_fd=folder, follow_symlinks=False), path)
        fd = open_sparing(name, _FILE, folder)
        try:
            about = os.fstat(fd)
            _must_be_plain(at, about, path)
            os.set_blocking(fd, True)
            keep_together(about.st_size)
            large = about.st_size >= DIRECT_FROM
            direct = direct_again(folder, name, os.O_RDONLY, about) if large else None
            return FileReader(at, path, fd, direct, about.st_size)
        except BaseException:
            close_quietly(fd)
            raise


def _must_be_plain(at: OpenRoot, about: os.stat_result, path: bytes) -> None:
    if not is_plain(about) or about.st_dev != at.device:
        raise refuse(errno.ENOENT, at.root, path)
