"""Salvage and weak promises, pure: when they are due, the pieces, the names, the words."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planworld import (
    DAY,
    NOON,
    copied,
    copy,
    ledger,
    load,
    recording,
    sight,
    situation,
    target,
    trouble,
    unread,
)
from planworld import settings as made
from takehold.decide.backoff import (
    MOST_READS_OF_A_CARD,
    READS_AT_ONCE,
    anew,
    due,
    given_up,
)
from takehold.decide.backoff import trouble as failed
from takehold.decide.check import Around, check
from takehold.decide.durable import promised, read_again, wants_read
from takehold.decide.plan import Wanted, plan
from takehold.decide.salvage import (
    BLOCK,
    PAGE,
    halves,
    joined,
    pieces,
    place_of_salvage,
    said_beside,
)
from takehold.decide.standing import day_standing
from takehold.model import facts as f
from takehold.model.errors import Unreadable, WorldError
from takehold.model.finding import Severity
from takehold.model.recording import Proof, Seen, Stamp
from takehold.model.sound import Complaint, Description, Kind, Metadata, Rate, Span, WaveFormat
from takehold.model.step import CatchUp, Prove, Salvage, TakeStock, Transfer
from takehold.model.volume import Volume

DRIVES = (target("shuttle-1"), target("shuttle-2"))
ALONE = made(sources=made().sources[:1])
BAD = unread(recording(1, b"T01.WAV"))
NEXT = unread(recording(2, b"T02.WAV"))
ERROR = Unreadable("It cannot be read.", "Keep the card.")
CARD = f.LoadSeen(load(1))


def tried(times: int, key: str = "rec 1", now: int = NOON) -> f.Trouble:
    """The trouble that so many failed reads leave."""
    found = None
    for _ in range(times):
        found = failed(key, ERROR, found, now)
    assert found is not None
    return found


def steps(facts: list[f.Fact], *files: Any, now: int = NOON, watched: bool = False) -> list[Any]:
    """What is due with these files lying on the card, and both drives there."""
    there = situation(sight(1, *files, watched=watched), targets=DRIVES, now=now)
    return list(plan(ledger(CARD, facts), there, ALONE, Wanted()))


def salvaged(missing: tuple[tuple[int, int], ...] = ((0, 2),), **about: Any) -> f.Salvaged:
    kept = (("shuttle-1", DRIVES[0].root.identity, b"L/d.salvage/T.PARTS-MISSING"),)
    return f.Salvaged(1, "", missing, kept, NOON)._replace(**about)


# -- when


def test_the_first_tries_wait_for_nobody_and_the_next_ones_do() -> None:
    """Three reads at the end of the queue, then the ordinary waits."""
    waits = [tried(n).retry_at - NOON for n in range(1, 6)]
    assert waits == [0, 0, 20, 40, 80]
    assert due(tried(1), NOON)
    other = failed("rec 1", WorldError("Another fault."), None, NOON)
    assert other.retry_at == NOON + 5


def test_a_cards_file_is_given_up_after_ten_reads_and_a_shares_never() -> None:
    often = tried(MOST_READS_OF_A_CARD)
    assert given_up(often, watched=False)
    assert not given_up(often, watched=True)
    assert not given_up(tried(MOST_READS_OF_A_CARD - 1), watched=False)
    assert not given_up(trouble("land 1 x", tries=99), watched=False)
    late = NOON + 10**6
    assert not steps([f.Inventoried(BAD), often, salvaged()], BAD, now=late)
    [again] = steps([f.Inventoried(BAD), often, salvaged()], BAD, now=late, watched=True)
    assert isinstance(again, Transfer)


def test_who_comes_lets_it_be_tried_from_the_start() -> None:
    again = anew(tried(MOST_READS_OF_A_CARD), NOON + 7)
    assert (again.tries, again.retry_at, again.since) == (0, NOON + 7, NOON)
    other = trouble("land 1 x", retry_at=NOON + 60, tries=4)
    assert anew(other, NOON) == other._replace(retry_at=NOON)
    assert anew(other, NOON + 99) == other


def test_neighbours_are_copied_before_it_is_tried_again() -> None:
    """It lies first on the card and comes last."""
    [step] = steps([f.Inventoried(BAD), f.Inventoried(NEXT), tried(1)], BAD, NEXT)
    assert [o.recording.id for o in step.owed] == [2, 1]


def test_a_header_that_cannot_be_read_waits_for_the_neighbours_too() -> None:
    blind = replace(BAD, description=Description(Kind.OTHER, complaints=(_not_described(),)))
    key = f"stock 1 {BAD.path.hex()}"
    facts: list[f.Fact] = [f.Inventoried(blind), f.Inventoried(NEXT), tried(1, key)]
    assert [type(s) for s in steps(facts, BAD, NEXT)] == [Transfer]
    facts += copied(replace(NEXT, readings=recording(2).readings), *DRIVES)
    facts.append(f.WasRead(2, recording(2).readings[0]))
    assert [type(s) for s in steps(facts, BAD, NEXT)] == [TakeStock]


def _not_described() -> Any:
    return Complaint("not-described", "")


def test_it_is_salvaged_after_three_tries_and_last_of_all() -> None:
    """The neighbour is owed: first that, then what can be saved."""
    facts: list[f.Fact] = [f.Inventoried(BAD), f.Inventoried(NEXT), tried(READS_AT_ONCE)]
    assert [type(s) for s in steps(facts, BAD, NEXT)] == [Transfer]
    facts += [f.WasRead(2, recording(2).readings[0]), f.WasRead(2, recording(2).readings[0])]
    facts += copied(recording(2), *DRIVES)
    [step] = steps(facts, BAD, NEXT)
    assert isinstance(step, Salvage)
    assert (step.recording.id, step.targets, step.best) == (1, DRIVES, ())
    assert not any(isinstance(s, Salvage) for s in steps([f.Inventoried(BAD), tried(2)], BAD))


def test_a_bad_header_is_salvaged_as_well() -> None:
    key = f"stock 1 {BAD.path.hex()}"
    blind = replace(BAD, description=Description(Kind.OTHER, complaints=(_not_described(),)))
    [step] = steps([f.Inventoried(blind), tried(READS_AT_ONCE, key)], BAD)
    assert isinstance(step, Salvage)


@pytest.mark.parametrize(
    "beside",
    [
        pytest.param([salvaged()], id="salvaged on this appearance of the card"),
        pytest.param([f.Proven(copy(BAD, target("away")))], id="a copy stands elsewhere"),
        pytest.param([trouble("salvage 1")], id="the last try failed just now"),
    ],
)
def test_it_is_not_salvaged_where(beside: list[f.Fact]) -> None:
    facts: list[f.Fact] = [f.Inventoried(BAD), tried(READS_AT_ONCE), *beside]
    assert not any(isinstance(s, Salvage) for s in steps(facts, BAD))


def test_it_is_not_salvaged_without_room_or_where_it_may_not_be_read() -> None:
    facts: list[f.Fact] = [f.Inventoried(BAD), tried(READS_AT_ONCE)]
    full = situation(sight(1, BAD), targets=[target("shuttle-1", free=1)])
    assert not plan(ledger(CARD, facts), full, ALONE, Wanted())
    refused = trouble("rec 1", "no-rights", tries=9)
    assert not steps([f.Inventoried(BAD), refused], BAD)


def test_another_reader_may_read_more() -> None:
    """The card came back: it is salvaged again, and what is there is told."""
    before = salvaged(appearance="an earlier one")
    [step] = steps([f.Inventoried(BAD), tried(READS_AT_ONCE), before], BAD)
    assert isinstance(step, Salvage)
    assert step.best == ((DRIVES[0].root.identity, 2),)


# -- pieces


@given(st.integers(1, 5 * BLOCK))
def test_pieces_cover_a_file_once(size: int) -> None:
    found = list(pieces(size))
    assert (found[0][0], found[-1][1]) == (0, size)
    assert all(one[1] == other[0] for one, other in pairwise(found))
    assert all(0 < end - first <= BLOCK and first % PAGE == 0 for first, end in found)


@given(st.integers(0, 9), st.integers(1, BLOCK))
def test_halves_cover_a_piece_begin_at_pages_and_end(page: int, length: int) -> None:
    """Whatever fails, the halving comes to an end, at a page or less."""
    todo, seen = [(page * PAGE, page * PAGE + length)], []
    while todo:
        piece = todo.pop()
        parts = halves(piece)
        if not parts:
            seen.append(piece)
            continue
        assert (parts[0][0], parts[-1][1]) == piece
        assert parts[0][1] == parts[1][0]
        assert all(first < end and first % PAGE == 0 for first, end in parts)
        todo += parts
    assert joined(seen) == ((page * PAGE, page * PAGE + length),)
    assert all(end - first <= PAGE for first, end in seen)


def test_joined_ranges_are_in_order_and_apart() -> None:
    assert joined([(8, 9), (0, 4), (4, 6)]) == ((0, 6), (8, 9))
    assert joined([]) == ()


# -- names and words


def test_its_name_is_plain_and_no_recordings() -> None:
    place = b"Lantern Bay/2031-05-06/SND_A1/DAY/T01.WAV"
    first, second = place_of_salvage(place), place_of_salvage(place, 2)
    assert first == b"Lantern Bay/2031-05-06.salvage/SND_A1/DAY/T01.WAV.PARTS-MISSING"
    assert second == first + b"-2"
    assert not first.lower().endswith(b".wav")
    assert not first.startswith(b"Lantern Bay/2031-05-06/")


HOUR = Description(
    Kind.WAVE,
    WaveFormat(1, 1, 48_000, 16, 2),
    Span(1000, 960_000),
    480_000,
    Metadata(time_reference=48_000 * 3600, timecode_rate=Rate(25, 1)),
)
LONG = replace(BAD, description=HOUR, stamp=Stamp(961_000, 1))


def held(*facts: f.Fact) -> Any:
    """The finding on it in a day of these facts."""
    known = ledger(CARD, f.Inventoried(LONG), facts)
    view = day_standing(known, DAY, ALONE)
    found = check(view, known, ALONE, Around())
    return [x for x in found if x.code in ("unreadable", "salvage-left")]


def test_the_finding_names_bytes_and_timecode() -> None:
    """Byte 97,000 is sample 48,000: one second in.

    At 25 frames a second a frame is 1920 samples (labels as in SMPTE ST 12-1, counted by hand).
    """
    [found] = held(tried(3), salvaged(((97_000, 193_000), (960_999, 961_000))))
    assert found.severity is Severity.HOLD
    assert "SND_A1/T01.WAV cannot be read at bytes 97000-192999 (01:00:01:00 to 01:00:01:24)" in (
        found.says
    )
    assert "960999-960999 (01:00:09:24 to 01:00:09:24): 96001 of 961000 bytes" in found.says
    assert "is no copy: shuttle-1: L/d.salvage/T.PARTS-MISSING" in found.says
    assert "do not format" in found.do


def test_many_places_are_counted_and_not_listed() -> None:
    [found] = held(salvaged(tuple((n * 8192, n * 8192 + 4096) for n in range(50))))
    assert "and 42 more places" in found.says
    assert len(found.says) < 900


def test_a_file_that_gives_nothing_says_so() -> None:
    [found] = held(tried(3), salvaged(((0, 961_000),), kept=()))
    assert found.says == "SND_A1/T01.WAV cannot be read at all."


def test_once_copied_it_holds_no_more_and_what_is_left_is_said() -> None:
    copies = [f.Proven(copy(LONG, at)) for at in DRIVES]
    reading = f.WasRead(1, recording(1).readings[0])
    [found] = held(salvaged(), reading, *copies)
    assert (found.code, found.severity) == ("salvage-left", Severity.NOTE)
    assert "T.PARTS-MISSING" in found.says
    assert held(salvaged(kept=()), reading, *copies) == []


def test_the_text_beside_it_tells_all_without_the_manifest() -> None:
    hostile = replace(LONG, path=b"T\x1b[31m.WAV")
    text = said_beside(hostile, "SND_A1", ((97_000, 193_000),)).decode()
    assert text.startswith("This is NO COPY.")
    assert "97000-192999 (01:00:01:00 to 01:00:01:24)" in text
    assert "saved:    865000 bytes" in text
    assert "\x1b" not in text
    silent = replace(LONG, description=replace(HOUR, metadata=Metadata()))
    assert (
        "97000-192999 (1.000 s to 2.000 s)"
        in said_beside(silent, "A", ((97_000, 193_000),)).decode()
    )
    assert "0-999\n" in said_beside(silent, "A", ((0, 1000),)).decode(), "the header has no time"


# -- a flush that promises nothing


def volume(appearance: str, kind: str = "fuse") -> Volume:
    return Volume(b"/m", "1", "0:5", "S", "id", kind, frozenset({"d"}), appearance=appearance)


WEAK = promised(Proof(NOON, Seen.UNKNOWN, True), volume("one"), durable=False)


def test_a_weak_promise_notes_where_it_was_written() -> None:
    assert (WEAK.durable, WEAK.written_on, WEAK.remounted) == (False, "one", False)
    strong = promised(Proof(NOON, Seen.MEDIUM, True), volume("one"), durable=True)
    assert (strong.durable, strong.written_on) == (True, "")


@pytest.mark.parametrize(
    ("proof", "on", "wanted"),
    [
        (WEAK, volume("one"), False),
        (WEAK, volume("two"), True),
        (WEAK, volume(""), False),
        (WEAK, volume("two", "tmpfs"), False),
        (WEAK._replace(written_on=""), volume("two"), True),
        (WEAK._replace(remounted=True), volume("two"), False),
        (WEAK._replace(durable=True), volume("two"), False),
    ],
)
def test_it_is_read_again_once_its_volume_came_back(proof: Proof, on: Volume, wanted: bool) -> None:
    assert wants_read(proof, on) is wanted


def test_a_read_after_the_volume_came_back_is_noted() -> None:
    again = read_again(WEAK, volume("two"), NOON + 9, Seen.UNKNOWN, 7)
    assert (again.durable, again.remounted, again.at, again.mtime_ns) == (False, True, NOON + 9, 7)
    assert not wants_read(again, volume("three"))
    still = read_again(WEAK, volume("one"), NOON + 9, Seen.UNKNOWN, 7)
    assert (still.durable, still.remounted, still.written_on) == (False, False, "one")


def test_where_it_is_not_known_where_it_was_written_the_read_notes_that() -> None:
    """A rebuilt catalogue: nothing is claimed, and the next absence counts."""
    once = read_again(WEAK._replace(written_on=""), volume("two"), NOON, Seen.UNKNOWN, 7)
    assert (once.remounted, once.written_on) == (False, "two")
    assert not wants_read(once, volume("two"))
    assert wants_read(once, volume("three"))


def test_a_read_from_the_medium_settles_it() -> None:
    sure = read_again(WEAK, volume("one"), NOON, Seen.MEDIUM, 7)
    assert (sure.durable, sure.written_on, sure.remounted) == (True, "", False)


def test_the_plan_reads_it_again_and_only_then() -> None:
    """Level-triggered: as long as it was not read on another appearance."""
    there = replace(DRIVES[0].root, volume=replace(DRIVES[0].root.volume, appearance="two"))
    back = replace(DRIVES[0], root=there)
    read = recording(1)
    facts = [CARD, f.Inventoried(read), f.Proven(copy(read, back, durable=False, written_on="one"))]
    now = situation(targets=[back])
    [step] = plan(ledger(facts), now, ALONE, Wanted())
    assert isinstance(step, Prove)
    facts.append(f.Proven(copy(read, back, durable=False, written_on="one", remounted=True)))
    assert plan(ledger(facts), now, ALONE, Wanted()) == ()
    assert not isinstance(step, CatchUp)


@pytest.mark.parametrize(
    ("proof", "says", "do"),
    [
        ({"written_on": "one"}, "cannot promise", "put it in again"),
        ({}, "cannot promise", "takehold recheck"),
        ({"written_on": "one", "remounted": True}, "read whole again after", ""),
    ],
)
def test_the_note_asks_and_later_tells(proof: dict[str, Any], says: str, do: str) -> None:
    read = recording(1)
    known = ledger(
        CARD, f.Inventoried(read), f.Proven(copy(read, DRIVES[0], durable=False, **proof))
    )
    found = check(day_standing(known, DAY, ALONE), known, ALONE, Around())
    [note] = [x for x in found if x.code == "not-durable"]
    assert note.severity is Severity.NOTE
    assert says in note.says
    assert do in note.do
