"""A transmitter's own card whose date is a day off: its timecode says which takes it has."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import DAY, cards, ledger, load, settings, taken, view
from takehold.decide.check import Around, check
from takehold.decide.coverage import Extent, coverage
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role
from takeworld import HOUR, HZ, MORNING, names, wav

BEFORE, LONG_AGO = "2031-05-05", "2031-02-01"
PACK = load(3, Role.BODYPACK, source="pack-a")


def on(day: str, made: Recording) -> Recording:
    return replace(made, day=day, place=made.place.replace(DAY.encode(), day.encode()))


def rec(number: int, start: int, day: str = DAY) -> Recording:
    """A take of the recorder with the tracks Boom and Keeper."""
    tracks: dict[str, Any] = {"channels": 2, "tracks": names("Boom", "Keeper")}
    return on(day, wav(number, b"S1T%d.WAV" % number, "1", "1", start, 10 * HZ, **tracks))


def worn(day: str, start: int = MORNING - HOUR) -> Recording:
    """Three hours of the transmitter that Keeper wears."""
    tracks = names("Keeper")
    return on(day, wav(50, b"P1.WAV", start=start, frames=3 * HOUR, of=3, tracks=tracks))


def known(*files: Recording, came: str = DAY) -> Ledger:
    return ledger(cards(), [f.LoadSeen(replace(PACK, day=came))], taken(*files))


def extents(book: Ledger, day: str = DAY) -> list[Extent]:
    found = coverage(view(book, day=day), book, settings())
    return [cover.extent for take in found.takes for cover in found.of(take)]


def told(book: Ledger, day: str = DAY) -> list[Finding]:
    made = settings()
    found = check(view(book, made, day), book, made, Around())
    return [x for x in found if x.code == "pack-day-off"]


@pytest.mark.parametrize("day", [BEFORE, LONG_AGO])
@pytest.mark.parametrize("its_day", [(), (20 * HOUR,)], ids=["nothing else", "no take of it"])
def test_what_came_in_with_the_takes_that_it_has_is_looked_at(
    day: str, its_day: tuple[int, ...]
) -> None:
    book = known(rec(1, MORNING), worn(day), *(rec(9, start, day) for start in its_day))
    assert extents(book) == [], "yesterday's card looks the same"
    [look] = told(book)
    assert look.severity is Severity.LOOK
    assert f"PACK_1: its files are dated {day}" in look.says
    assert "have 1 take of this day" in look.says


def test_what_has_a_take_of_its_own_date_is_of_that_day() -> None:
    """Yesterday's card is put in today: both days were rolled in the same hours."""
    book = known(rec(1, MORNING), worn(BEFORE), rec(9, MORNING, BEFORE))
    assert (extents(book), told(book)) == ([], [])
    assert extents(book, BEFORE) == [Extent.WHOLE]


def test_what_has_no_take_of_this_day_either_is_not_told() -> None:
    book = known(rec(1, MORNING), worn(BEFORE, 20 * HOUR))
    assert (extents(book), told(book)) == ([], [])


def test_what_came_in_on_another_day_is_none_of_it() -> None:
    book = known(rec(1, MORNING), worn(LONG_AGO), came=LONG_AGO)
    assert (extents(book), told(book)) == ([], [])


def test_what_began_before_the_day_did_names_the_day_before() -> None:
    """Days begin at 06:00 unless set."""
    book = known(rec(1, 7 * HOUR), worn(BEFORE, 5 * HOUR))
    assert (extents(book), told(book)) == ([Extent.WHOLE], [])


def test_a_card_that_holds_files_of_this_day_too_has_the_right_date() -> None:
    later = replace(worn(DAY, 20 * HOUR), id=51, path=b"P2.WAV")
    assert told(known(rec(1, MORNING), worn(BEFORE), later)) == []


def test_a_date_that_is_right_is_not_told() -> None:
    book = known(rec(1, MORNING), worn(DAY))
    assert (extents(book), told(book)) == ([Extent.WHOLE], [])


def test_two_cards_of_each_others_days_end() -> None:
    """Each came in on the day that the other's files name."""
    other = replace(PACK, id=4, source="pack-b", label="PACK_2", identity="uuid:PACK_2", day=BEFORE)
    ahead = replace(worn(DAY, 20 * HOUR), id=51, load=4)
    book = known(rec(1, MORNING), rec(9, 20 * HOUR, BEFORE), worn(BEFORE))
    book.apply([f.LoadSeen(other), *taken(ahead)])
    assert [len(told(book, day)) for day in (DAY, BEFORE)] == [1, 1]
