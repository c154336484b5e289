"""Buffers that are made once, shared by all who need the same bytes, and used again.

A page touched for the first time costs many times one that was touched before, so the buffers
live as long as the program; they are page-aligned, as direct I/O asks.
"""

from __future__ import annotations

import contextlib
import mmap
import threading

SIZE = 4 << 20
COUNT = 8
# A file of so many bytes takes a small buffer: so that many of them are on their way at once.
SMALL = 128 << 10
SMALL_COUNT = 64


class Buffer:
    """Bytes of a file on their way: `view[:length]` begins at `offset` of it."""

    __slots__ = ("length", "memory", "offset", "refs", "view")

    def __init__(self, size: int = SIZE) -> None:
        self.memory = _memory(size)
        self.view = memoryview(self.memory)
        for page in range(0, size, mmap.PAGESIZE):
            self.view[page] = 0
        self.length = 0
        self.offset = 0
        self.refs = 0


def _memory(size: int) -> mmap.mmap:
    """In huge pages where the system has them: direct I/O then pins two pages, not a thousand."""
    if not hasattr(mmap, "MADV_HUGEPAGE"):  # Linux only
        return mmap.mmap(-1, size)
    memory = mmap.mmap(-1, size, flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS)
    with contextlib.suppress(OSError):  # a kernel without them
        memory.madvise(mmap.MADV_HUGEPAGE)
    memory.madvise(mmap.MADV_DONTFORK)  # open(2): no direct I/O into private memory that is forked
    return memory


class Ring:
    """A fixed number of buffers. Whoever was counted in `send` gives its buffer back once."""

    def __init__(self, count: int = COUNT, size: int = SIZE) -> None:
        self.size = size
        self._free: list[Buffer] = []
        self._small: list[Buffer] = []
        self._unmade = {SMALL: SMALL_COUNT, size: count}
        self._lock = threading.Condition()

    def take(self, timeout: float, length: int = SIZE) -> Buffer | None:
        """A free buffer, or None if none came free within `timeout` seconds.

        One for `length` bytes may be a small one. Each is made when it is needed first.
        """
        small = length <= SMALL < self.size
        free, size = (self._small, SMALL) if small else (self._free, self.size)
        with self._lock:
            if not free and self._unmade[size]:
                self._unmade[size] -= 1
                return Buffer(size)
            if not free and not self._lock.wait_for(lambda: free, timeout):
                return None
            return free.pop()

    def send(self, buffer: Buffer, readers: int) -> None:
        """Count who will give it back; with no reader it is free at once."""
        with self._lock:
            buffer.refs = readers
            if not readers:
                self._take_back(buffer)

    def back(self, buffer: Buffer) -> None:
        """One reader is done with it."""
        with self._lock:
            buffer.refs -= 1
            if buffer.refs == 0:
                self._take_back(buffer)

    def forsake(self, buffer: Buffer) -> None:
        """One reader hangs with it: a new buffer takes its place, it is never used again."""
        fresh = Buffer(len(buffer.view))
        with self._lock:
            self._take_back(fresh)
            buffer.refs = 1 << 30

    def _take_back(self, buffer: Buffer) -> None:
        (self._free if len(buffer.view) == self.size else self._small).append(buffer)
        self._lock.notify()
