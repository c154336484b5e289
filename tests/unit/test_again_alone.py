"""A take that is marked as recorded again, and replaces nothing, is asked what others are asked."""

from __future__ import annotations

from planworld import cards, ledger, settings, taken, view
from takehold.decide.takes import takes_of_day
from takeworld import HZ, MORNING, monos, wav

NOTE = "Rerec lines later"


def test_a_mark_without_an_original_changes_nothing() -> None:
    """Somebody only noted that it should be done: its set and its numbers count."""
    short = monos(1, "1", "1", MORNING, "Boom", "Lav", note=NOTE, total_files=4)
    (take,) = takes_of_day(view(ledger(cards(), taken(*short))), settings())[1]
    assert (take.rerecorded, take.expected) == (False, 4)


def test_with_an_original_it_stands_beside_that() -> None:
    """The same scene and take."""
    first = wav(1, b"a.wav", "1", "1", MORNING)
    later = wav(2, b"b.wav", "1", "1", MORNING + 60 * HZ, note=NOTE)
    (take,) = takes_of_day(view(ledger(cards(), taken(first, later))), settings())[1]
    assert [again.first for again in take.again] == [2]
    assert take.again[0].rerecorded
