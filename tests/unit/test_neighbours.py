"""A closed day is looked at again once a card of another day says something of it."""

from __future__ import annotations

from dataclasses import replace

from planworld import DAY, NOON, cards, ledger, recording, revised, settings, taken
from takehold.engine.neighbours import Neighbours
from takehold.model import facts as f
from takehold.model.recording import Recording

BEFORE = "2031-05-05"
LONG = bytes(range(1, 251)) * 800
MINE = recording(1, audio=LONG, head=b"a")


def its(audio: bytes = LONG, at: int = NOON) -> Recording:
    """A file of the backup card, dated a day before."""
    made = recording(101, of=2, audio=audio, head=b"b")
    place = made.place.replace(DAY.encode(), BEFORE.encode())
    (read,) = made.readings
    return replace(made, day=BEFORE, place=place, readings=(read._replace(at=at),))


def test_a_backup_that_was_read_touches_the_day_that_it_answers() -> None:
    known = ledger(cards(), taken(MINE), [revised(1)])
    neighbours, facts = Neighbours(), taken(its())
    known.apply(facts)
    assert set(neighbours.touched(known, settings(), facts)) == {DAY}
    assert set(neighbours.touched(known, settings(), facts)) == set(), "nothing changed since"


def test_a_day_that_was_not_closed_is_left() -> None:
    known, facts = ledger(cards(), taken(MINE)), taken(its())
    known.apply(facts)
    assert set(Neighbours().touched(known, settings(), facts)) == set()


def test_a_file_that_answers_nothing_touches_no_other_day() -> None:
    known, facts = ledger(cards(), taken(MINE), [revised(1)]), taken(its(LONG[::-1]))
    known.apply(facts)
    assert set(Neighbours().touched(known, settings(), facts)) == set()


def test_what_was_read_before_the_program_stopped_is_remembered() -> None:
    """The manifest is older than the backup's read."""
    late, early = its(at=revised(1).at + 60), its(at=NOON)
    for file, days in ((late, {DAY}), (early, set())):
        known = ledger(cards(), taken(MINE, file), [revised(1)])
        assert Neighbours().remember(known, settings()) == days


def test_other_facts_touch_none() -> None:
    known = ledger(cards(), taken(MINE, its()), [revised(1)])
    assert set(Neighbours().touched(known, settings(), [f.TroubleOver("rec 1")])) == set()
