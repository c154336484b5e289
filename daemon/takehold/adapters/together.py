"""Threads at work on small files, kept on one processor.

Each call of the system lets another thread have the interpreter. Small files are nothing but such
calls: on two processors the threads wake each other at every one of them. That was measured to be a
quarter of all processor time, and a sixth of the wall time.
"""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Iterator

SMALL = 128 << 10
"""Bytes: a larger file gives more to compute than to hand over."""

_mine = threading.local()


def keep_together(size: int) -> None:
    """The calling thread works on a file of `size` bytes from now on.

    Never the main thread: those that it begins would stay where it is.
    """
    small = size <= SMALL
    apart: set[int] | None = getattr(_mine, "apart", None)
    if small is (apart is not None) or not hasattr(os, "sched_setaffinity"):  # Linux only
        return
    if threading.current_thread() is threading.main_thread():
        return
    with contextlib.suppress(OSError):
        if apart is None:
            apart = os.sched_getaffinity(0)
            os.sched_setaffinity(0, {min(apart)})
            _mine.apart = apart
        else:
            _mine.apart = None
            os.sched_setaffinity(0, apart)


@contextlib.contextmanager
def for_a_while() -> Iterator[None]:
    """Any thread, the main one too, that makes many small calls beside those; it begins none."""
    before: set[int] = set()
    with contextlib.suppress(AttributeError, OSError):  # Linux only
        before = os.sched_getaffinity(0)
        os.sched_setaffinity(0, {min(before)})
    try:
        yield
    finally:
        with contextlib.suppress(AttributeError, OSError):
            os.sched_setaffinity(0, before)
