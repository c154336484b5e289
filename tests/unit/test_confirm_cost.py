"""Second reads are asked for level by level: a day is matched once for each change of its files.

Calls of the matching are counted, not seconds: the count is the same on every machine.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from dataclasses import replace
from types import FrameType

import pytest

from benchmarks.matching import cards as two_cards
from planworld import (
    DAY,
    NOON,
    cards,
    copy,
    ledger,
    load,
    reading,
    recording,
    settings,
    sight,
    situation,
    taken,
    target,
    trouble,
    unread,
)
from takehold.decide.confirm import second_reads
from takehold.decide.match import left_open, match
from takehold.decide.plan import Wanted, plan
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role
from takehold.model.step import Confirm

BEFORE = "2031-05-05"
FEW, MANY = 10, 40
MATCHING = {match.__code__, left_open.__code__}


def matches_of(work: Callable[[], object]) -> int:
    """How often any day is matched, or what its digests leave open."""
    count = 0

    def told(frame: FrameType, event: str, _arg: object) -> None:
        nonlocal count
        count += event == "call" and frame.f_code in MATCHING

    before = sys.getprofile()
    sys.setprofile(told)
    try:
        work()
    finally:
        sys.setprofile(before)
    return count


def of_card(files: Iterable[Recording], card: int, day: str) -> list[Recording]:
    """These on a card of the production, of that day."""
    home = b"Lantern Bay/%s/%d/" % (day.encode(), card)
    return [
        replace(r, load=card, day=day, place=home + r.path, id=card * 100_000 + r.id) for r in files
    ]


class DayOff:
    """Takes of a primary card that were read; the backup's, of other bytes, have another date."""

    def __init__(self, count: int, day: str = BEFORE) -> None:
        ours, theirs = two_cards("metadata", count)
        self.ours, self.theirs = of_card(ours, 1, DAY), of_card(theirs, 2, day)
        self.known = ledger(cards(), taken(*self.ours), taken(*map(unread, self.theirs)))

    def wanted(self, busy: Iterable[Recording] = ()) -> list[Recording]:
        """Of the primary card."""
        here = [self.known.recordings[r.id] for r in self.ours]
        return second_reads(self.known, here, settings(), {}, NOON, {r.id for r in busy})

    def read(self, one: Recording) -> None:
        """Once more, with the same result."""
        self.known.apply([f.WasRead(one.id, one.readings[0])])

    def read_backup(self) -> None:
        """File by file, and each time it is asked what is wanted."""
        for number, one in enumerate(self.theirs):
            assert not self.wanted(self.theirs[number:])
            self.read(one)

    def confirm(self) -> None:
        """File by file, until nothing is wanted any more."""
        while wanted := self.wanted():
            self.read(wanted[0])


@pytest.mark.parametrize("day", [BEFORE, DAY])
def test_four_times_the_files_are_matched_as_often(day: str) -> None:
    """A match for each read would be a square."""
    counts = []
    for count in (FEW, MANY):
        made = DayOff(count, day)
        assert matches_of(made.read_backup) == 0, "a card that may answer is being read"
        counts.append(matches_of(made.confirm))
        assert all(len(made.known.recordings[r.id].readings) == 2 for r in made.ours)
    assert counts[0] == counts[1] > 0


def test_a_read_that_differs_is_matched_anew() -> None:
    made = DayOff(FEW)
    made.read_backup()
    one = made.wanted()[0]
    assert matches_of(made.wanted) == 0
    made.known.apply([f.WasRead(one.id, reading(b"otherwise"))])
    assert matches_of(made.wanted) > 0
    assert one.id in {r.id for r in made.wanted()}, "the dispute is read on"


def test_what_is_compared_or_seen_further_is_matched_anew() -> None:
    made = DayOff(FEW)
    made.read_backup()
    made.wanted()
    late = replace(made.theirs[0], id=7, path=b"late.WAV", place=made.theirs[0].place + b"x")
    made.known.apply([f.Inventoried(late)])
    assert matches_of(made.wanted) > 0
    sides = (made.ours[0].id,), (made.theirs[0].id,)
    made.known.apply([f.Compared(Comparison(*sides, Relation.DIFFERENT, 1, 0))])
    assert matches_of(made.wanted) > 0


def known_pair(*more: f.Fact) -> tuple[Ledger, Recording]:
    """A take that the backup has in other bytes; and a file of its card that was not read yet."""
    mine, its = recording(1), recording(2, of=2, head=b"other")
    later = recording(3, b"T02.WAV", of=2, audio=b"two", read=False)
    beside = [f.LoadSeen(load(4)), f.LoadSeen(load(3, Role.BODYPACK))]
    return ledger(cards(), beside, taken(mine, its, later), more), mine


def wanted_beside(busy: int, *more: f.Fact, closing: bool = False) -> bool:
    """Whether that take is to be read again while this recording is at work."""
    known, mine = known_pair(*more)
    closed = {DAY: NOON} if closing else {}
    return bool(second_reads(known, [mine], settings(), closed, NOON, {busy}))


def test_the_other_card_is_waited_for_only_while_it_is_read_for_the_first_time() -> None:
    assert not wanted_beside(3), "it may hold the very same bytes further on"
    assert wanted_beside(2), "read again"
    assert wanted_beside(99), "not known"


def test_a_first_read_that_failed_is_not_waited_for() -> None:
    """A card may be read for hours for what can still be had of it."""
    assert wanted_beside(3, trouble("rec 3"))


def test_when_the_day_is_closed_a_card_being_read_is_not_waited_for() -> None:
    assert wanted_beside(3, closing=True)


@pytest.mark.parametrize("card", [3, 4])
def test_a_card_that_answers_nothing_of_it_is_not_waited_for(card: int) -> None:
    """Another primary card, or a transmitter's."""
    other = recording(5, b"T09.WAV", of=card, audio=b"nine", read=False)
    assert wanted_beside(5, f.Inventoried(other))


def test_a_transmitter_waits_for_no_card() -> None:
    known, _ = known_pair()
    pack = recording(6, b"P1.WAV", of=3, audio=b"pack")
    known.apply([f.Inventoried(pack)])
    assert second_reads(known, [pack], settings(), {}, NOON, {3}) == [pack]


def test_the_plan_asks_for_it_when_the_other_card_was_read() -> None:
    """By what runs now, with no memory of what ran: level-triggered."""
    known, mine = known_pair()
    drive = target()
    known.apply([f.Proven(copy(mine, drive))])
    now = situation(sight(1, mine), targets=[drive])

    def confirms(busy: set[int]) -> bool:
        steps = plan(known, now, settings(), Wanted(frozenset(busy)))
        return any(isinstance(step, Confirm) for step in steps)

    assert not confirms({3})
    assert confirms(set())


def test_of_the_reads_only_those_that_tell_something_are_news() -> None:
    """The first, one that differs, and each one after that."""
    same, other = reading(b"one"), reading(b"two")
    known = ledger(cards(), taken(recording(1, read=False)))

    def is_news(one: object) -> bool:
        before = known.news[DAY]
        known.apply([f.WasRead(1, one)])  # type: ignore[arg-type]
        return known.news[DAY] > before

    assert [is_news(one) for one in (same, same, same, other, same)] == [
        True,
        False,
        False,
        True,
        True,
    ]
