"""engine/ring: a fixed number of buffers, none lost and none given twice."""

from __future__ import annotations

import mmap
import threading

from hypothesis import given
from hypothesis import strategies as st

from takehold.engine.ring import SMALL, SMALL_COUNT, Buffer, Ring

SIZE = 2 * mmap.PAGESIZE


def all_of(ring: Ring) -> list[Buffer]:
    """Every buffer that is free now."""
    taken = []
    while (buffer := ring.take(0)) is not None:
        taken.append(buffer)
    return taken


def test_it_gives_as_many_as_it_has_and_then_none() -> None:
    """An empty ring answers None in time instead of waiting for ever."""
    ring = Ring(3, SIZE)
    taken = all_of(ring)
    assert len({id(buffer) for buffer in taken}) == 3
    assert ring.take(0.01) is None


def test_a_buffer_is_page_aligned_and_of_its_size() -> None:
    """Direct I/O asks for page alignment (open(2), O_DIRECT); mmap grants it."""
    buffer = Buffer(SIZE)
    assert len(buffer.view) == SIZE
    assert mmap.PAGESIZE <= SIZE


def test_it_comes_back_when_the_last_reader_is_done() -> None:
    """Two readers were counted, so one `back` is not enough."""
    ring = Ring(1, SIZE)
    buffer = ring.take(0)
    assert buffer is not None
    ring.send(buffer, 2)
    ring.back(buffer)
    assert ring.take(0) is None
    ring.back(buffer)
    assert ring.take(0) is buffer


def test_without_readers_it_is_free_at_once() -> None:
    """A buffer that nobody wants is not lost."""
    ring = Ring(1, SIZE)
    buffer = ring.take(0)
    assert buffer is not None
    ring.send(buffer, 0)
    assert ring.take(0) is buffer


def test_a_forsaken_buffer_is_replaced_and_never_used_again() -> None:
    """Whoever hangs with it may write from it at any time: nobody else gets it."""
    ring = Ring(1, SIZE)
    lost = ring.take(0)
    assert lost is not None
    ring.send(lost, 2)
    ring.forsake(lost)
    fresh = ring.take(0)
    assert fresh is not None
    assert fresh is not lost
    ring.back(lost)
    ring.back(lost)
    assert ring.take(0) is None


def test_who_waits_is_woken_when_one_comes_back() -> None:
    """The waiting thread gets it without waiting its whole time."""
    ring = Ring(1, SIZE)
    buffer = ring.take(0)
    assert buffer is not None
    got: list[Buffer | None] = []
    waiting = threading.Thread(target=lambda: got.append(ring.take(30)), daemon=True)
    waiting.start()
    ring.send(buffer, 0)
    waiting.join(25)
    assert got == [buffer]


@given(st.lists(st.tuples(st.integers(0, 3), st.booleans()), max_size=30))
def test_no_history_loses_a_buffer(history: list[tuple[int, bool]]) -> None:
    """Whatever was sent to how many readers, and forsaken by one or not: the count stays."""
    ring = Ring(2, SIZE)
    for readers, hangs in history:
        buffer = ring.take(0)
        assert buffer is not None
        ring.send(buffer, readers)
        if readers and hangs:
            ring.forsake(buffer)
            readers -= 1
        for _ in range(readers):
            ring.back(buffer)
    assert len(all_of(ring)) == 2


def test_small_files_take_small_buffers() -> None:
    """Many of them may be on their way, and the large ones stay free."""
    ring = Ring(2, 2 * SMALL)
    small = [ring.take(0.01, n) for n in range(1, SMALL_COUNT + 1)]
    assert all(buffer is not None and len(buffer.view) == SMALL for buffer in small)
    assert ring.take(0.01, SMALL) is None
    large = [ring.take(0.01, SMALL + 1), ring.take(0.01)]
    assert all(buffer is not None and len(buffer.view) == 2 * SMALL for buffer in large)


def test_each_goes_back_to_its_own() -> None:
    """A small buffer that came back, or one in place of a hanging one, is given again as such."""
    ring = Ring(1, 2 * SMALL)
    for give_back in (ring.back, ring.forsake):
        buffer = ring.take(0.01, 1)
        assert buffer is not None
        ring.send(buffer, 1)
        give_back(buffer)
    held = [ring.take(0.01, 1) for _ in range(SMALL_COUNT)]
    assert all(buffer is not None and len(buffer.view) == SMALL for buffer in held)
    assert ring.take(0.01, 1) is None
    assert len(all_of(ring)) == 1
