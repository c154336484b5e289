"""A recorder's date that was corrected on a card: each take is a recording of one day only."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from planworld import (
    DAY,
    NOON,
    cards,
    copied,
    ledger,
    reading,
    recording,
    revised,
    settings,
    taken,
    target,
    view,
)
from takehold.decide.check import Around
from takehold.decide.judge import judge
from takehold.decide.manifest import Writer, document, revision
from takehold.decide.rebuild import facts_of_manifests
from takehold.engine.neighbours import Neighbours
from takehold.formats.canonical import canonical
from takehold.model import facts as f
from takehold.model.finding import Finding, Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording

DRIVES = (target("shuttle-1"), target("shuttle-2"))
BEFORE = "2031-05-05"
AUDIO = bytes(range(1, 251)) * 800
START = 48_000 * 3600


def rolled(number: int, day: str, of: int, version: int = 1, **changes: Any) -> Recording:
    """A take of that date, read twice; its date is in its bytes."""
    audio, clock = changes.pop("audio", AUDIO), changes.pop("clock", "11:00:00")
    said = {"scene": "1", "take": "1", "time_reference": changes.pop("start", START)}
    made = recording(number, b"T1.WAV", of=of, audio=audio, said=said, version=version, **changes)
    about = replace(made.description.metadata, date=day, time=clock)
    return replace(
        made,
        day=day,
        place=made.place.replace(DAY.encode(), day.encode()),
        description=replace(made.description, metadata=about),
        readings=(reading(audio, day.encode()),) * 2,
    )


OLD, ITS_OLD = rolled(1, BEFORE, 1), rolled(2, BEFORE, 2)
NEW, ITS_NEW = rolled(3, DAY, 1, version=2), rolled(4, DAY, 2, version=2)


def known(*recordings: Recording) -> Ledger:
    book = ledger(cards(), taken(*recordings))
    for each in recordings:
        book.apply(copied(each, *DRIVES))
    return book


def judged(book: Ledger, day: str) -> tuple[list[tuple[str, str]], tuple[Finding, ...]]:
    """The primary card's takes of a day, and what is said of it."""
    found = judge(book, day, settings(), Around())
    return [(t.scene, t.take) for t in found.takes if t.load == 1], found.findings


def test_corrected_on_both_cards_it_counts_once() -> None:
    """The day that it had is told by a note; the copies are as they were."""
    book = known(OLD, ITS_OLD, NEW, ITS_NEW)
    takes, found = judged(book, BEFORE)
    assert takes == []
    told = [one for one in found if one.code == "edited"]
    assert [one.recording for one in told] == [OLD.id, ITS_OLD.id]
    assert all(f"a recording of {DAY}" in one.says for one in told)
    assert all(standing.owes_copies for standing in view(book, day=BEFORE).files)
    takes, found = judged(book, DAY)
    assert takes == [("1", "1")]
    assert {"backup-missing", "files-of-other-days"}.isdisjoint(one.code for one in found)


@pytest.mark.parametrize(
    ("there", "day"), [((OLD, ITS_OLD, NEW), DAY), ((OLD, ITS_OLD, ITS_NEW), BEFORE)]
)
def test_corrected_on_one_card_what_answered_it_answers_it_still(
    there: tuple[Recording, ...], day: str
) -> None:
    """The backup's date is that of another day then, and nothing is missing."""
    book = known(*there)
    takes, found = judged(book, day)
    assert takes == [("1", "1")]
    codes = {one.code for one in found}
    assert "backup-day-off" in codes
    assert codes.isdisjoint({"backup-missing", "only-on-backup"})
    [mine] = [s for s in view(book, day=day).files if s.load.id == 1 and s.current]
    assert mine.answer is not None
    assert mine.answer.relation is Relation.SAME_AUDIO


def test_what_was_asked_before_is_not_told_for_what_is_so_now() -> None:
    """What the day before leaves open is kept, and changes with a file of the day after."""
    book = known(OLD, ITS_OLD)
    view(book, day=BEFORE)
    book.apply([f.Inventoried(replace(NEW, readings=())), f.WasRead(NEW.id, NEW.readings[0])])
    [mine] = view(book, day=DAY).files
    assert mine.answer is not None
    assert mine.answer.relation is Relation.SAME_AUDIO


@pytest.mark.parametrize(
    "change", [{"start": START + 48_000}, {"audio": AUDIO[::-1]}], ids=["other time", "other audio"]
)
def test_another_recording_of_that_name_is_none_of_it(change: dict[str, Any]) -> None:
    """A line-up tone has the same samples each day; its timecode tells, and both are recordings."""
    book = known(OLD, ITS_OLD, rolled(3, DAY, 1, version=2, **change))
    assert judged(book, BEFORE)[0] == [("1", "1")]
    assert judged(book, DAY)[0] == [("1", "1")]


@pytest.mark.parametrize(("clock", "days"), [("11:00:00", 1), ("12:30:00", 2)])
def test_without_timecode_the_recorders_clock_tells_them_apart(clock: str, days: int) -> None:
    """A recorder without timecode writes 0 for each take (common practice, no source)."""
    book = known(rolled(1, BEFORE, 1, start=0), rolled(3, DAY, 1, 2, start=0, clock=clock))
    takes = [judged(book, day)[0] for day in (BEFORE, DAY)]
    assert sum(map(len, takes)) == days


def test_of_several_corrections_the_last_counts() -> None:
    """Back to the date that it had; a catalogue that was rebuilt numbers its files day by day."""
    back = replace(OLD, id=2, version=3, place=OLD.place + b".edit-2")
    book = known(OLD, back, NEW)
    assert (judged(book, BEFORE)[0], judged(book, DAY)[0]) == ([("1", "1")], [])


def test_the_closed_day_that_it_had_is_looked_at_again() -> None:
    book = ledger(cards(), taken(OLD, ITS_OLD), [revised(1, BEFORE)])
    facts = [*taken(NEW), *taken(ITS_NEW)]
    book.apply(facts)
    assert set(Neighbours().touched(book, settings(), facts)) == {BEFORE}
    late = NEW.readings[0]._replace(at=revised(1).at + 60)
    for reads, days in (((late,), {BEFORE}), (NEW.readings, set())):
        anew = ledger(cards(), taken(OLD, replace(NEW, readings=reads)), [revised(1, BEFORE)])
        assert Neighbours().remember(anew, settings()) == days, "after the program stopped"


def test_a_lost_catalogue_comes_to_the_same() -> None:
    """From the signed manifests of both days."""
    book = known(OLD, ITS_OLD, NEW, ITS_NEW)
    made, pages = settings(), []
    for day in (BEFORE, DAY):
        doc = document(judge(book, day, made), book, made, (), Writer("cart", "takehold 0"))
        raw = canonical(revision(doc, 1, NOON + 9000, None))
        pages.append((raw, json.loads(raw)))
    again = ledger(facts_of_manifests(pages))
    for day in (BEFORE, DAY):
        told = [
            {(s.recording.place, s.current, s.renamed and s.renamed.day) for s in it.files}
            for it in (view(book, day=day), view(again, day=day))
        ]
        assert told[0] == told[1]
