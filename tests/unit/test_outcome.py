"""Which outcomes one transaction of the catalogue may take."""

from __future__ import annotations

from planworld import copy, reading, recording, target
from takehold.engine.outcome import MOST_TOGETHER, Outcome, together
from takehold.model.errors import WorldError
from takehold.model.facts import Gone, Proven, WasRead


def read(number: int) -> Outcome:
    return Outcome((WasRead(number, reading(b"one")),), f"rec {number}")


def landed(number: int) -> Outcome:
    return Outcome((Proven(copy(recording(number), target())),), f"land {number} here")


FAILED = Outcome(key="rec 9", error=WorldError("It failed."))
GONE = Outcome((Gone(7),), "rec 7")


def test_reads_and_copies_go_together_in_their_order() -> None:
    """A read before the copies of it: the catalogue's rows refer to each other so."""
    told = [read(1), landed(1), read(2), landed(2)]
    assert together(told) == told


def test_nothing_goes_with_what_asks_the_ledger_first() -> None:
    """Errors, and facts that end other troubles, are weighed against what was recorded before."""
    assert together([read(1), FAILED, read(2)]) == [read(1)]
    assert together([FAILED, read(2)]) == [FAILED]
    assert together([GONE, read(2)]) == [GONE]
    assert together([read(1), GONE]) == [read(1)]


def test_two_words_about_one_work_do_not_go_together() -> None:
    """The second may depend on what the first made known."""
    assert together([read(1), read(2), read(1)]) == [read(1), read(2)]


def test_there_is_an_end_to_it() -> None:
    """A person who asks the catalogue waits for one transaction at most."""
    many = [read(number) for number in range(3 * MOST_TOGETHER)]
    assert together(many) == many[:MOST_TOGETHER]
    assert together([]) == []
