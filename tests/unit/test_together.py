"""adapters/together: threads at work on small files share a processor, and only then."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable
from pathlib import Path

from makings import root_at
from takehold.adapters.disk import LocalDisk
from takehold.adapters.together import SMALL, for_a_while, keep_together
from takehold.engine.ring import Buffer

ALL = os.sched_getaffinity(0)


def in_thread(does: Callable[[], None]) -> set[int]:
    """The processors that a thread of its own may use after that (sched_getaffinity(2))."""
    found: list[set[int]] = []

    def run() -> None:
        does()
        found.append(os.sched_getaffinity(0))

    thread = threading.Thread(target=run)
    thread.start()
    thread.join(60)
    [processors] = found
    return processors


def test_those_with_small_files_share_one() -> None:
    """The same one for each thread."""
    one = in_thread(lambda: keep_together(SMALL))
    assert len(one) == 1
    assert in_thread(lambda: keep_together(1)) == one


def test_a_large_one_gives_all_of_them_back() -> None:
    """Its checksums and its measure need two."""

    def mixed() -> None:
        for size in (1, 2, SMALL + 1, SMALL + 2, 5, 10**9):
            keep_together(size)

    assert in_thread(mixed) == ALL
    assert in_thread(lambda: keep_together(SMALL + 1)) == ALL


def test_the_main_thread_goes_where_it_likes() -> None:
    """Whom it begins begins with all."""
    keep_together(1)
    assert os.sched_getaffinity(0) == ALL
    assert in_thread(lambda: None) == ALL


def test_reading_and_writing_tell_of_it(tmp_path: Path) -> None:
    """Who opens a small file to read it, or asks for room for one."""
    (tmp_path / "T01.WAV").write_bytes(b"sound")
    (tmp_path / "T02.WAV").write_bytes(bytes(SMALL + 1))
    disk, root, buffer = LocalDisk(), root_at(tmp_path), Buffer(1 << 20)

    def read(name: bytes) -> None:
        with disk.source(root) as card, card.open(name) as reader:
            reader.read_into(buffer.view, 0)

    def write(size: int) -> None:
        with disk.destination(root) as drive:
            part = drive.part(b"day")
            part.reserve(size)
            part.drop()

    for small, large in (
        (lambda: read(b"T01.WAV"), lambda: read(b"T02.WAV")),
        (lambda: write(SMALL), lambda: write(SMALL + 1)),
    ):
        assert len(in_thread(small)) == 1
        assert in_thread(large) == ALL


def test_for_a_while_any_thread_may_join_them() -> None:
    """And is where it was afterwards, also after an error."""
    one = in_thread(lambda: keep_together(1))
    with for_a_while():
        assert os.sched_getaffinity(0) == one
    assert os.sched_getaffinity(0) == ALL
    with contextlib.suppress(KeyError), for_a_while():
        raise KeyError
    assert os.sched_getaffinity(0) == ALL

    def within() -> None:
        keep_together(1)
        with for_a_while():
            pass

    assert in_thread(within) == one
