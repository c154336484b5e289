"""The ledger: facts folded one after the other; the same facts, the same ledger."""

from __future__ import annotations

from dataclasses import fields, replace

from planworld import (
    DAY,
    NOON,
    cards,
    copied,
    copy,
    good_day,
    ledger,
    load,
    reading,
    receipt,
    recording,
    revised,
    taken,
    target,
    trouble,
)
from takehold.model import facts as f
from takehold.model.ledger import Ledger
from takehold.model.recording import Stamp

ONE = recording(1)
D1, D2 = target("shuttle-1"), target("shuttle-2")


def test_an_empty_ledger_knows_nothing() -> None:
    book = Ledger()
    assert (book.day(DAY), book.copies_of(1), book.versions(1, b"x")) == ([], (), [])
    assert (book.current(1, b"x"), book.newest(DAY), book.last_revision()) == (None, None, None)
    assert book.next_id == 1


def test_recordings_are_found_by_load_path_and_day() -> None:
    two = recording(2, version=2, audio=b"two")
    book = ledger(cards(), taken(ONE, two, recording(3, of=2, day="2031-05-07")))
    assert [r.id for r in book.versions(1, b"T01.WAV")] == [1, 2]
    current = book.current(1, b"T01.WAV")
    assert current is not None
    assert current.id == 2
    assert [r.id for r in book.day(DAY)] == [1, 2]
    assert [r.id for r in book.day("2031-05-07")] == [3]


def test_numbers_of_loads_and_recordings_never_come_twice() -> None:
    book = ledger([f.LoadSeen(load(7))])
    assert book.next_id == 8
    book.apply(taken(recording(11)))
    assert book.next_id == 12
    book.apply([f.Gone(11)])
    assert book.next_id == 12


def test_reads_are_kept_in_order_and_the_first_one_made_the_copies() -> None:
    a, b = reading(b"A"), reading(b"B")
    book = ledger(cards(), taken(recording(1, read=False)), [f.WasRead(1, a), f.WasRead(1, b)])
    mine = book.recordings[1]
    assert mine.readings == (a, b)
    assert (mine.reading, mine.digests, mine.sound) == (a, a.digests, a.sound)


def test_the_same_bytes_under_a_new_stamp_change_the_stamp_only() -> None:
    book = ledger(cards(), taken(ONE), [f.SameBytes(1, Stamp(3, 9))])
    assert book.recordings[1] == replace(ONE, stamp=Stamp(3, 9))


def test_a_file_that_is_gone_leaves_no_trace_in_any_index() -> None:
    book = ledger(cards(), taken(ONE), [f.Gone(1), f.Gone(1), f.Gone(99)])
    assert (book.recordings, book.day(DAY), book.of_load[1]) == ({}, [], {})


def test_a_recording_that_is_told_again_is_in_each_index_once() -> None:
    moved = replace(ONE, day="2031-05-07", path=b"X")
    book = ledger(cards(), taken(ONE, ONE, moved))
    assert (book.day(DAY), book.day("2031-05-07")) == ([], [moved])
    assert (book.versions(1, b"T01.WAV"), book.versions(1, b"X")) == ([], [moved])


def test_a_copy_exists_as_its_newest_proof_only() -> None:
    later = copy(ONE, D1, at=NOON + 999)
    book = ledger(cards(), taken(ONE), copied(ONE, D1, D2), [f.Proven(later)])
    assert later in book.copies_of(1)
    assert len(book.copies_of(1)) == 2


def test_a_broken_copy_is_none_and_may_be_proven_anew() -> None:
    broken = f.Broken(1, "shuttle-1", D1.root.identity, ONE.place, "missing", NOON)
    book = ledger(cards(), taken(ONE), copied(ONE, D1, D2), [broken])
    assert [c.destination for c in book.copies_of(1)] == ["shuttle-2"]
    assert book.broken[1] == [broken]
    book.apply(copied(ONE, D1))
    assert len(book.copies_of(1)) == 2
    assert book.broken[1] == [broken]


def test_a_broken_copy_that_nobody_knew_harms_nothing() -> None:
    book = ledger([f.Broken(1, "d", "r", b"p", "missing", NOON)])
    assert book.copies_of(1) == ()


def test_the_chain_ends_at_the_revision_that_was_written_last_whatever_the_clock_said() -> None:
    """The next manifest names it (P11); a clock that was set back must not fork the chain."""
    first, second = revised(1, at=NOON + 500), revised(1, day="2031-05-05", at=NOON)
    book = ledger([first, second])
    assert book.last_revision() == second
    book.apply([revised(2, at=NOON - 9)])
    assert book.last_revision() == revised(2, at=NOON - 9)
    assert book.newest(DAY) == revised(2, at=NOON - 9)
    assert book.newest("2031-05-05") == second


def test_troubles_come_and_go_by_their_key() -> None:
    book = ledger([trouble("a"), trouble("b"), trouble("a", tries=2), f.TroubleOver("b")])
    assert [(t.key, t.tries) for t in book.troubles.values()] == [("a", 2)]
    book.apply([f.TroubleOver("never was")])


def test_questions_and_answers() -> None:
    asked, answered = f.Asked(1, "wrap", DAY, NOON), f.Answered(1, "done", NOON + 1)
    book = ledger([asked])
    assert book.asked == {1: asked}
    book.apply([answered])
    assert (book.asked, book.answers) == ({}, {1: answered})


def test_the_rest_is_kept_as_it_comes() -> None:
    listed, newer = f.Listed(1, NOON, 3, (), ()), f.Listed(1, NOON, 4, (), ())
    acked, answer = f.Acked("x", "fine", NOON), receipt(revised())
    published = f.Published(DAY, 1, "shuttle-1", "uuid:shuttle-1", NOON)
    book = ledger([*cards(), listed, newer, acked, answer, published])
    assert book.listings == {1: newer}
    assert book.acks == {"x": acked}
    assert book.receipts == [answer]
    assert book.published == {(DAY, 1, "uuid:shuttle-1")}
    assert set(book.loads) == {1, 2}


def test_folding_at_once_or_one_by_one_is_the_same() -> None:
    facts = [*good_day(), f.WasRead(1, reading(b"x")), trouble("rec 1"), revised()]
    at_once, one_by_one = Ledger(), Ledger()
    at_once.apply(facts)
    for fact in facts:
        one_by_one.apply([fact])
    for part in fields(Ledger):
        assert getattr(at_once, part.name) == getattr(one_by_one, part.name)
