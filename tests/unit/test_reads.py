"""What the reads of one recording come to (P8)."""

from __future__ import annotations

import pytest

from planworld import reading, recording
from takehold.decide.reads import MOST_READS, Reads, other_digests, reads_of

RESULTS = {name: reading(name.encode()) for name in "ABCDE"}


def read(word: str):
    """A recording whose reads gave these results, the oldest first."""
    return recording(readings=tuple(RESULTS[letter] for letter in word))


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        ("", Reads.NONE),
        ("A", Reads.ONCE),
        ("AA", Reads.AGREED),
        ("AB", Reads.DISPUTED),
        ("ABC", Reads.DISPUTED),
        ("ABA", Reads.AGREED),
        ("ABB", Reads.FIRST_WRONG),
        ("ABCC", Reads.FIRST_WRONG),
        ("AAAB", Reads.AGREED),
        ("ABBA", Reads.DISPUTED),
        ("AABB", Reads.DISPUTED),
        ("ABBAA", Reads.AGREED),
        ("ABBAB", Reads.FIRST_WRONG),
        ("ABCBC", Reads.DISPUTED),
        ("ABCDE", Reads.DISPUTED),
    ],
)
def test_two_reads_that_agree_settle_it_and_a_tie_does_not(word: str, expected: Reads) -> None:
    assert reads_of(read(word)) is expected


def test_a_tie_is_left_to_one_more_read() -> None:
    """The card is read again up to a bound that is odd, so that two results cannot stay equal."""
    assert MOST_READS % 2 == 1


def test_the_result_that_differs_is_named() -> None:
    assert other_digests(read("AAB")) == RESULTS["B"].digests
    assert other_digests(read("AA")) is None
    assert other_digests(read("")) is None
