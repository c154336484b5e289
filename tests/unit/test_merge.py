"""What found manifests tell, beside what is known: nothing twice, nothing in another's place."""

from __future__ import annotations

from dataclasses import replace

from planworld import DAY, NOON, copied, ledger, load, reading, recording, taken, target
from takehold.decide.merge import merged
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording

DRIVE = target("shuttle-1")
A1 = load(1)


def told(*files: Recording, day: str = DAY) -> list[f.Fact]:
    """As decide/rebuild tells it: ids from 1, readings and copies as facts of their own."""
    told: list[f.Fact] = [f.LoadSeen(A1), f.Listed(1, NOON, len(files), (), ())]
    for file in files:
        told.append(f.Inventoried(replace(file, readings=())))
        told += [f.WasRead(file.id, r) for r in file.readings]
        told += copied(file, DRIVE)
    return [*told, f.Revised(day, 1, f"{day}.r1.manifest.json", "ab" * 32, NOON, "READY", "")]


def joined(known: Ledger, facts: list[f.Fact]) -> Ledger:
    known.apply(merged(facts, known))
    return known


def test_an_empty_ledger_takes_all() -> None:
    facts = told(recording(2), recording(3, b"T02.WAV", audio=b"two"))
    book = joined(Ledger(), facts)
    assert [r.path for r in book.day(DAY)] == [b"T01.WAV", b"T02.WAV"]
    assert all(len(book.copies_of(r.id)) == 1 for r in book.day(DAY))
    assert [r.number for r in book.revisions[DAY]] == [1]


def test_what_is_known_stays_and_only_its_copies_are_learned() -> None:
    """The card was read anew; the drive has the very bytes."""
    known = ledger([f.LoadSeen(replace(A1, seen_at=NOON + 9))], taken(recording(7)))
    book = joined(known, told(recording(2)))
    assert [r.id for r in book.day(DAY)] == [7]
    assert [c.root for c in book.copies_of(7)] == [DRIVE.root.identity]
    assert len(book.loads) == 1


def test_a_file_that_is_to_be_read_anyway_is_not_taken_in_twice() -> None:
    known = ledger([f.LoadSeen(A1)], taken(recording(7, read=False)))
    book = joined(known, told(recording(2)))
    assert [r.id for r in book.day(DAY)] == [7]
    assert book.copies_of(7) == ()


def test_other_bytes_of_that_path_are_a_recording_of_their_own() -> None:
    """What lies on the card now was seen later: it stays the current version."""
    mine = recording(7, readings=(reading(b"new"),))
    known = ledger([f.LoadSeen(A1)], taken(mine))
    book = joined(known, told(recording(2)))
    assert book.current(1, b"T01.WAV") == mine
    [other] = [r for r in book.day(DAY) if r.id != 7]
    assert other.load != 1
    assert other.place.endswith(b"T01.other-2.WAV")
    assert [c.path for c in book.copies_of(other.id)] == [recording(2).place], "where it stands"


def test_further_files_of_a_known_card_join_it() -> None:
    known = ledger([f.LoadSeen(A1)], taken(recording(7)))
    book = joined(known, told(recording(2), recording(3, b"T02.WAV", audio=b"two")))
    assert {r.load for r in book.day(DAY)} == {1}
    assert [r.path for r in book.day(DAY)] == [b"T01.WAV", b"T02.WAV"]


def test_a_number_that_is_used_takes_no_second_place() -> None:
    mine = f.Revised(DAY, 1, f"{DAY}.r1.manifest.json", "cd" * 32, NOON, "HOLD", "b")
    book = joined(ledger([mine]), told(recording(2)))
    assert book.revisions[DAY] == [mine]
    assert book.last_revision() == mine


def test_what_was_found_again_ends_no_chain_that_was_written_on() -> None:
    mine = f.Revised(DAY, 2, f"{DAY}.r2.manifest.json", "cd" * 32, NOON, "HOLD", "b")
    book = joined(ledger([mine]), told(recording(2)))
    assert [r.number for r in book.revisions[DAY]] == [1, 2]
    assert book.newest(DAY) == book.last_revision() == mine


def test_twice_is_once() -> None:
    """The second drive tells the same: nothing is left to learn but its own copies."""
    facts = told(recording(2), recording(3, b"T02.WAV", audio=b"two"))
    book = joined(Ledger(), facts)
    assert merged(facts, book) == ()


def test_a_comparison_is_learned_under_the_numbers_that_are_used_here() -> None:
    """Of a file that is known and one that is new; once, and of both or not at all."""
    one, other = recording(2), recording(3, b"T02.WAV", audio=b"two")
    said = f.Compared(Comparison((2,), (3,), Relation.SHORT, NOON, 5, 7))
    known = ledger([f.LoadSeen(A1)], taken(recording(7)))
    book = joined(known, [*told(one, other), said])
    [new] = [r.id for r in book.day(DAY) if r.id != 7]
    assert set(book.comparisons) == {((7,), (new,))}
    assert merged([*told(one, other), said], book) == ()
    unread = ledger([f.LoadSeen(A1)], taken(recording(7, read=False)))
    assert joined(unread, [*told(one, other), said]).comparisons == {}
