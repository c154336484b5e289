"""When failed work is tried again."""

from __future__ import annotations

from takehold.decide.backoff import FIRST_WAIT_S, LONGEST_WAIT_S, due, trouble
from takehold.model.errors import VolumeFull
from takehold.model.facts import Trouble

FULL = VolumeFull("No room on shuttle-1.", "Make room.")


def after(failures: int) -> Trouble:
    """What is left by failures that follow each other at once when they are due."""
    found = trouble("land 1 x", FULL, None, 1000)
    for _ in range(failures - 1):
        found = trouble("land 1 x", FULL, found, found.retry_at)
    return found


def test_a_first_failure_waits_a_little() -> None:
    found = after(1)
    assert (found.tries, found.since, found.retry_at) == (1, 1000, 1000 + FIRST_WAIT_S)
    assert (found.key, found.code, found.says, found.do) == (
        "land 1 x",
        "volume-full",
        "No room on shuttle-1.",
        "Make room.",
    )


def test_each_wait_is_twice_the_last_and_bounded() -> None:
    waits = [after(n + 1).retry_at - after(n).retry_at for n in range(1, 9)]
    assert waits == [10, 20, 40, 80, 160, 300, 300, 300]
    assert after(5000).tries == 5000


def test_the_trouble_keeps_when_it_began() -> None:
    assert after(7).since == 1000


def test_work_is_due_at_its_time_and_not_before() -> None:
    found = after(1)
    assert due(None, 0)
    assert not due(found, found.retry_at - 1)
    assert due(found, found.retry_at)
    assert due(found, found.retry_at + 10**6)


def test_a_clock_that_was_set_back_makes_nobody_wait_for_a_day() -> None:
    found = after(9)
    assert not due(found, found.retry_at - LONGEST_WAIT_S)
    assert due(found, found.retry_at - LONGEST_WAIT_S - 1)
    assert due(found, found.retry_at - 86_400)
