"""Reading a whole file cold, for its checksums alone."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import ExitStack
from mmap import PAGESIZE

import xxhash

from takehold.engine.ring import SMALL, Buffer
from takehold.formats.digest import FileDigest
from takehold.model.errors import FileMissing, TakeholdError, Unreadable, WorldError
from takehold.model.recording import Digests, Seen
from takehold.ports.disk import Part, Reader

_mine = threading.local()


def read_whole(reader: Reader, size: int, moved: Callable[[], None]) -> tuple[Digests | None, Seen]:
    """The checksums of exactly `size` bytes and how they were read.

    None for the checksums if the file is shorter or longer. `moved` is told of every buffer.
    """
    buffer = _buffer()
    digest = FileDigest()
    offset = 0
    while True:
        count = reader.read_into(buffer.view, offset)
        if not count:
            break
        digest.update(buffer.view[:count])
        offset += count
        moved()
        if count < len(buffer.view) or offset > size:
            break
    return (digest.digests() if offset == size else None), reader.seen(size)


class ReadBack:
    """A part's bytes as the medium gives them back, piece by piece, by their XXH3-128 alone.

    What is asked is whether the medium kept what it was given, not whether somebody forged it: of
    2**128 kinds of damage one would pass, and SHA-256 would cost thirty times as much.
    """

    def __init__(self, part: Part) -> None:
        self._part = part
        self._opened = ExitStack()
        self._reader: Reader | None = None
        self._digest = xxhash.xxh3_128()
        self._at = 0

    def up_to(self, end: int, moved: Callable[[], None]) -> None:
        """Go on to `end`, in whole pages or the end of the file."""
        reader = self._open()
        buffer = _small_buffer() if end <= SMALL else _buffer()
        while self._at < end:
            pages = -(-(end - self._at) // PAGESIZE)  # no further: it may not be written yet
            count = reader.read_into(buffer.view[: pages * PAGESIZE], self._at)
            if not count:
                break
            self._digest.update(buffer.view[:count])
            self._at += count
            moved()

    def whole(self, size: int, moved: Callable[[], None]) -> tuple[str | None, Seen, int]:
        """Go on to its end: the checksum, how all of it was read, and its time (ns).

        None for the checksum if the file is shorter or longer. Nothing stays open.
        """
        with self._opened:
            self.up_to(size, moved)
            reader = self._open()
            stamp = reader.stamp()
            same = self._at == size == stamp.size
            return self._digest.hexdigest() if same else None, reader.seen(size), stamp.mtime_ns

    def _open(self) -> Reader:
        if self._reader is None:
            self._reader = self._opened.enter_context(self._part.reader())
        return self._reader

    def close(self) -> None:
        """It is given up; errors of what was only read tell nothing."""
        self._opened.close()


def as_unreadable(error: TakeholdError) -> TakeholdError:
    """A device's error, met while a card's file was read; any other error as it is."""
    if error.code != WorldError.code:
        return error
    do = "Keep the card and do not format it. Try another reader and another cable."
    return Unreadable(error.says, do)


def read_up(reader: Reader, cap: int) -> bytes:
    """A small file's bytes, cold; FileMissing if it is larger than `cap`."""
    buffer = _buffer()
    held = bytearray()
    while count := reader.read_into(buffer.view, len(held)):
        held += buffer.view[:count]
        if len(held) > cap:
            raise FileMissing(f"The file is larger than {cap} bytes.")
        if count < len(buffer.view):
            break
    return bytes(held)


def _small_buffer() -> Buffer:
    if not hasattr(_mine, "small"):
        _mine.small = Buffer(SMALL)
    buffer: Buffer = _mine.small
    return buffer


def _buffer() -> Buffer:
    """This thread's own buffer, made once."""
    if not hasattr(_mine, "buffer"):
        _mine.buffer = Buffer()
    buffer: Buffer = _mine.buffer
    return buffer
