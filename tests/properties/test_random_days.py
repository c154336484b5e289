"""Random days: whatever comes, no promise is broken, and in the end nothing is owed.

tests/randomdays/run.py goes on by the thousand; a history that breaks here is run again by its
number there. The days and what may happen in them are common practice on a sound cart, no source.
"""

from __future__ import annotations

import pytest

from randomdays.history import EVENTS, run
from randomdays.world import made

HISTORIES = 100
SLICES = 10


@pytest.mark.parametrize("slice_", range(SLICES))
def test_histories(slice_: int) -> None:
    """What must never be so is not, and what must finally be so is."""
    for number in range(1 + slice_, 1 + HISTORIES, SLICES):
        assert run(number) > 3


def test_a_history_is_the_same_each_time() -> None:
    """The same number gives the same facts, in the same order, and the same manifests."""

    def told(number: int) -> tuple[list[str], dict[tuple[str, str], bytes]]:
        with made(number) as world:
            for event in [*EVENTS, *EVENTS]:
                if event.__name__ != "_catalogue_refuses":
                    event(world)
                world.work()
                world.clock.go(400)
            return [repr(fact) for fact in world.book.facts()], dict(world.archive.held)

    assert told(7) == told(7)
    assert told(7)[0] != told(8)[0]
    assert len(told(7)[0]) > 50
