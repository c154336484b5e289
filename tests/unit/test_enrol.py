"""Which load a card is: one formatted life, one load; whatever path or reader it comes back in."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planworld import CARDS, DAY, NOON, ledger, load, recording, root, taken
from takehold.decide.enrol import Arrival, load_of, new_load, untaken
from takehold.model import facts as f
from takehold.model.ledger import Ledger
from takehold.model.recording import Stamp
from takehold.model.settings import Role, Source

ONE, TWO = recording(1), recording(2, b"T02.WAV", audio=b"two")
KNOWN = (ONE, TWO)
HOUR_NS = 3600 * 10**9


def known(*files) -> Ledger:
    return ledger([f.LoadSeen(load(1))], taken(*files))


def arrives(
    *files: tuple[bytes, Stamp],
    source: Source = CARDS[0],
    complete: bool = True,
    name: str = "SND_A1",
) -> Arrival:
    return Arrival(source, root(name), files, complete)


def lying(*recordings) -> list[tuple[bytes, Stamp]]:
    return [(r.path, r.stamp) for r in recordings]


def id_of(book: Ledger, arrival: Arrival, claimed=(), sticky: int | None = None) -> int | None:
    found = load_of(book, arrival, claimed, sticky)
    return found.id if found else None


def test_a_card_that_nobody_knows_is_a_new_load() -> None:
    book = known()
    assert id_of(book, arrives(name="OTHER")) is None
    made = new_load(book, arrives(name="SND_A9"), NOON, DAY)
    assert (made.id, made.source, made.role, made.identity) == (
        2,
        "primary",
        Role.PRIMARY,
        "uuid:SND_A9",
    )
    assert (made.label, made.folder, made.day, made.seen_at) == ("SND_A9", b"SND_A9", DAY, NOON)
    assert made.disks == frozenset({"disk of SND_A9"})


def test_a_card_that_comes_back_is_the_same_load() -> None:
    """With all it had, with less, and with more."""
    for files in (KNOWN, KNOWN[:1]):
        assert id_of(known(*KNOWN), arrives(*lying(*files))) == 1
    assert id_of(known(*KNOWN), arrives(*lying(*KNOWN), (b"T03.WAV", Stamp(9, 9)))) == 1


def test_a_reformatted_card_is_a_new_load_under_the_same_label() -> None:
    """Nothing known is left on it, and other files are."""
    arrival = arrives((b"T01.WAV", Stamp(999, 5)), (b"T02.WAV", Stamp(998, 6)))
    book = known(*KNOWN)
    assert id_of(book, arrival) is None
    assert id_of(book, arrival, sticky=1) == 1, "a mounted card is not formatted"
    assert new_load(book, arrival, NOON, DAY).folder == b"SND_A1.load-2"


def test_a_file_that_every_format_writes_anew_does_not_make_a_card_known() -> None:
    """Same name, same size, another time: a settings file says nothing."""
    setup = recording(1, b"SETUP.DAT", audio=None)
    arrival = arrives((b"SETUP.DAT", setup.stamp._replace(mtime_ns=77)), (b"T.WAV", Stamp(5, 5)))
    assert id_of(known(setup), arrival) is None


def test_the_only_take_of_a_card_was_edited_in_the_recorder() -> None:
    """An edit keeps the size: still the same life of the card."""
    assert id_of(known(ONE), arrives((ONE.path, ONE.stamp._replace(mtime_ns=77)))) == 1


@pytest.mark.parametrize("hours", [-1, 1, 9])
def test_a_card_that_shows_other_local_times_is_known(hours: int) -> None:
    """FAT keeps local time (Microsoft's FAT specification): a zone or summer time shifts it all."""
    shifted = [
        (path, stamp._replace(mtime_ns=stamp.mtime_ns + hours * HOUR_NS))
        for path, stamp in lying(*KNOWN)
    ]
    assert id_of(known(*KNOWN), arrives(*shifted)) == 1


def test_absence_is_no_evidence() -> None:
    """An empty card, or one whose listing broke off, is not a formatted one."""
    assert id_of(known(*KNOWN), arrives()) == 1
    assert id_of(known(*KNOWN), arrives((b"X", Stamp(1, 1)), complete=False)) == 1


def test_a_load_of_which_nothing_is_known_yet_fits_any_files() -> None:
    assert id_of(known(), arrives((b"X", Stamp(1, 1)))) == 1


def test_two_live_volumes_of_one_identity_are_two_loads() -> None:
    """Clones: the second is not the first."""
    book = known(*KNOWN)
    arrival = arrives(*lying(*KNOWN))
    assert id_of(book, arrival, claimed=[1]) is None
    second = new_load(book, arrival, NOON, DAY)
    book.apply([f.LoadSeen(second)])
    assert id_of(book, arrival, claimed=[1]) == second.id
    assert id_of(book, arrival, claimed=[second.id]) == 1


def test_a_mount_stays_the_load_that_it_was() -> None:
    book = known(*KNOWN)
    book.apply([f.LoadSeen(load(2)), *taken(replace(ONE, id=9, load=2))])
    arrival = arrives(*lying(ONE))
    assert id_of(book, arrival, sticky=1) == 1
    assert id_of(book, arrival, sticky=2) == 2
    assert id_of(book, arrival, claimed=[1], sticky=1) == 2


def test_of_several_lives_the_one_with_the_most_known_files_is_meant() -> None:
    book = known(*KNOWN)
    book.apply([f.LoadSeen(load(2)), *taken(replace(ONE, id=9, load=2))])
    assert id_of(book, arrives(*lying(*KNOWN))) == 1


def test_another_identity_is_another_card_and_a_renamed_source_is_not() -> None:
    book = known(*KNOWN)
    assert id_of(book, arrives(*lying(*KNOWN), source=CARDS[1])) == 1
    assert id_of(book, arrives(*lying(*KNOWN), name="SND_A2")) is None


def test_a_watch_folder_is_named_after_its_source() -> None:
    watched = Source("recorder", Role.PRIMARY, path=b"/srv/rec")
    made = new_load(Ledger(), Arrival(watched, root("server"), (), complete=True), NOON, DAY)
    assert (made.label, made.folder) == ("recorder", b"recorder")


def test_files_that_were_not_taken_in_as_they_lie_there_are_counted() -> None:
    files = (*lying(ONE), (TWO.path, Stamp(1, 1)), (b"T03.WAV", Stamp(1, 1)))
    assert untaken(known(*KNOWN), 1, files) == 2
    assert untaken(known(*KNOWN), 1, tuple(lying(*KNOWN))) == 0


def moved(recorded, seconds: int):
    return (b"DAY02/" + recorded.path, recorded.stamp._replace(mtime_ns=seconds * 10**9))


def test_a_card_whose_folder_was_renamed_is_the_same_load() -> None:
    """By names, sizes and times; where the clock stands still they tell nothing."""
    three = recording(3, b"T03.WAV", audio=b"three")
    timed = [replace(r, stamp=r.stamp._replace(mtime_ns=r.id * 10**9)) for r in (*KNOWN, three)]
    book = known(*timed)
    assert id_of(book, arrives(*(moved(r, r.id) for r in timed))) == 1
    assert id_of(book, arrives(*(moved(r, r.id) for r in timed[:2]))) == 1
    assert id_of(book, arrives(moved(timed[0], 1))) is None, "not most of them"
    assert id_of(book, arrives(*(moved(r, r.id + 1) for r in timed))) is None, "other times"
    assert id_of(known(*KNOWN), arrives(*(moved(r, 1) for r in KNOWN))) is None, "all of one time"
