"""Taking files in: their day, their place, their version; nothing is left out (P7)."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planworld import DAY, HERE, NOON, described, ledger, load, reading, recording, settings, taken
from takehold.decide.inventory import Described, take_in
from takehold.decide.listing import listing
from takehold.formats.names import same_key
from takehold.model import facts as f
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording, Stamp
from takehold.model.settings import Role, Source
from takehold.model.situation import Sighted
from takehold.model.sound import Metadata, WaveFormat

FOLDER = b"Lantern Bay/2031-05-06/SND_A1/"


def item(path: bytes, date: str = DAY, time: str = "12:00:00", size: int = 7) -> Described:
    """A file that names this date, or none."""
    said = replace(described(b"x"), metadata=Metadata(date=date, time=time))
    return Described(Sighted(path, Stamp(size, 1), 0), said)


def silent(path: bytes, size: int = 7, mtime_ns: int = 1, audio: bytes | None = b"x") -> Described:
    """A file that names no moment; one that is looked into, unless it has no audio."""
    said = replace(described(audio), metadata=Metadata())
    return Described(Sighted(path, Stamp(size, mtime_ns), 0), said)


def take(book: Ledger, *items: Described, days: int = 0, made=None) -> list[f.Fact]:
    """Take in and fold in; the facts."""
    seen = HERE + timedelta(days=days)
    facts = take_in(book, book.loads[1], items, made or settings(), seen)
    book.apply(facts)
    return list(facts)


def book(*files: Recording) -> Ledger:
    return ledger([f.LoadSeen(load(1))], taken(*files))


def day_of(facts: list[f.Fact]) -> str:
    """Where the last one went."""
    last = facts[-1]
    assert isinstance(last, f.Inventoried)
    return last.recording.day


def placed(facts: list[f.Fact]) -> list[bytes]:
    return [x.recording.place for x in facts if isinstance(x, f.Inventoried)]


def test_a_new_file_gets_its_number_day_place_and_version() -> None:
    known = book()
    (fact,) = take(known, item(b"T01.WAV"))
    assert isinstance(fact, f.Inventoried)
    mine = fact.recording
    assert (mine.id, mine.load, mine.path, mine.stamp) == (2, 1, b"T01.WAV", Stamp(7, 1))
    assert (mine.day, mine.place, mine.version) == (DAY, FOLDER + b"T01.WAV", 1)
    assert (mine.seen_at, mine.readings) == (NOON, ())


def test_numbers_go_on() -> None:
    known = book(recording(41))
    take(known, item(b"A"), item(b"B"))
    take(known, item(b"C"))
    assert sorted(known.recordings) == [41, 42, 43, 44]


def test_a_version_that_was_never_read_is_replaced_and_keeps_its_name() -> None:
    """A file that grew between two looks is one file, under its own name."""
    known = book()
    take(known, item(b"T01.WAV"))
    facts = take(known, item(b"T01.WAV", size=99))
    assert isinstance(facts[0], f.Gone)
    assert placed(facts) == [FOLDER + b"T01.WAV"]
    assert [r.version for r in known.versions(1, b"T01.WAV")] == [1]


def test_an_unread_recording_under_a_name_that_another_took_is_not_forgotten() -> None:
    """It was recorded at another time: it is another take, and it is lost."""
    known = book()
    take(known, item(b"T01.WAV"))
    facts = take(known, item(b"T01.WAV", time="15:00:00"))
    assert not any(isinstance(fact, f.Gone) for fact in facts)
    assert len(known.versions(1, b"T01.WAV")) == 2


@pytest.mark.parametrize("audio", [b"x", None])
@pytest.mark.parametrize(("size", "mtime_ns"), [(9, 1), (7, 2)])
def test_a_file_that_names_no_moment_is_another_by_its_size_and_time(
    audio: bytes | None, size: int, mtime_ns: int
) -> None:
    """Plain audio, or a container that cannot be looked into, recorded over before it was read."""
    known = book()
    take(known, silent(b"T01.X", audio=audio))
    facts = take(known, silent(b"T01.X", size, mtime_ns, audio))
    assert not any(isinstance(fact, f.Gone) for fact in facts)
    assert len(known.versions(1, b"T01.X")) == 2


def test_what_grows_or_is_written_anew_by_design_is_no_other_recording() -> None:
    """A document, a file that held nothing, and what lies in a watch folder."""
    known = book()
    take(known, silent(b"REPORT.CSV", audio=None), silent(b"T01.WAV", size=0))
    take(known, silent(b"REPORT.CSV", 9, 2, None), silent(b"T01.WAV", 9, 2))
    assert {r.stamp.size for r in known.recordings.values()} == {9}
    watched = settings(sources=(Source("primary", Role.PRIMARY, path=b"/srv/rec"),))
    take(known, silent(b"T02.WAV"), made=watched)
    take(known, silent(b"T02.WAV", 9, 2), made=watched)
    assert len(known.versions(1, b"T02.WAV")) == 1


def test_a_version_that_was_read_keeps_its_place_and_the_edit_stands_beside() -> None:
    known = book(recording(5))
    facts = take(known, item(b"T01.WAV", size=99))
    assert placed(facts) == [FOLDER + b"T01.edit-2.WAV"]
    assert [r.version for r in known.versions(1, b"T01.WAV")] == [1, 2]
    assert known.recordings[5].place == FOLDER + b"T01.WAV"


def test_an_edit_that_grew_before_it_was_read_is_still_the_second_version() -> None:
    known = book(recording(5))
    take(known, item(b"T01.WAV", size=99))
    facts = take(known, item(b"T01.WAV", size=100))
    assert placed(facts) == [FOLDER + b"T01.edit-2.WAV"]
    assert len(known.versions(1, b"T01.WAV")) == 2


def test_a_refuted_read_is_taken_in_anew_beside_it() -> None:
    wrong = recording(5, readings=(reading(b"A"), reading(b"B"), reading(b"B")))
    assert placed(take(book(wrong), item(b"T01.WAV"))) == [FOLDER + b"T01.edit-2.WAV"]


def test_names_that_meet_get_places_apart_in_one_inventory_and_over_two() -> None:
    known = book()
    assert placed(take(known, item(b"T01.WAV"), item(b"t01.wav"))) == [
        FOLDER + b"T01.WAV",
        FOLDER + b"t01.other-2.wav",
    ]
    assert placed(take(known, item(b"T01.wav"))) == [FOLDER + b"T01.other-3.wav"]


def test_a_night_take_goes_to_the_day_that_began_it() -> None:
    known = book()
    facts = take(known, item(b"A", "2031-05-06", "05:00:00"), item(b"B"))
    assert [p.split(b"/")[1] for p in placed(facts)] == [b"2031-05-05", b"2031-05-06"]


def test_a_date_that_cannot_be_right_is_complained_of() -> None:
    (fact,) = take(book(), item(b"A", "1980-01-01"), days=3)
    assert isinstance(fact, f.Inventoried)
    assert fact.recording.day == "2031-05-09"
    assert [c.code for c in fact.recording.description.complaints] == ["date-wrong"]


@pytest.mark.parametrize("what", [b"T09.WAV", b"ROLL.ZAX", b"NOTES.TXT"])
def test_a_file_without_a_date_goes_to_the_day_it_was_first_seen(what: bytes) -> None:
    """Its card may have been known for days: the takes of a day are not hidden in another one."""
    known = book()
    assert day_of(take(known, item(b"OLD.TXT", ""))) == DAY
    assert day_of(take(known, item(what, ""), days=1)) == "2031-05-07"


def test_a_file_that_was_listed_yesterday_and_could_not_be_read_is_of_yesterday() -> None:
    """Also when the day began between the listing and the look into it."""
    known = book()
    late = item(b"T09.WAV", "")
    files = ((late.file.path, late.file.stamp),)
    known.apply([listing(known, 1, NOON, DAY, files, (), (), True)])
    assert day_of(take(known, late, days=1)) == DAY


@pytest.mark.parametrize("are_read", [False, True])
def test_paperwork_that_is_written_anew_stays_in_the_day_it_came(are_read: bool) -> None:
    known = book()
    (first,) = take(known, silent(b"REPORT.CSV", audio=None))
    assert isinstance(first, f.Inventoried)
    if are_read:
        known.apply([f.WasRead(first.recording.id, reading(b"x"))])
    assert day_of(take(known, silent(b"REPORT.CSV", 99, audio=None), days=2)) == DAY


def test_in_a_watch_folder_it_goes_to_the_day_it_was_first_seen() -> None:
    """A folder that is watched for weeks has no day of its own."""
    watched = settings(sources=(Source("primary", Role.PRIMARY, path=b"/srv/rec"),))
    (fact,) = take(book(), item(b"T09.WAV", ""), days=9, made=watched)
    assert isinstance(fact, f.Inventoried)
    assert fact.recording.day == "2031-05-15"


def test_an_edit_stays_in_the_day_of_the_first_version() -> None:
    """It has the same date, whenever it comes."""
    (first,) = take(book(), item(b"T01.WAV", DAY))
    assert isinstance(first, f.Inventoried)
    known = book(replace(first.recording, id=5, readings=recording(5).readings))
    (fact,) = take(known, item(b"T01.WAV", DAY, size=99), days=1)
    assert isinstance(fact, f.Inventoried)
    assert (fact.recording.day, fact.recording.version) == (DAY, 2)
    assert fact.recording.place.endswith(b"T01.edit-2.WAV")


def test_another_recording_under_a_known_name_goes_by_its_own_date() -> None:
    """A recorder that counts from 1 every day: it is no edit of yesterday's take."""
    (first,) = take(book(), item(b"T01.WAV", DAY))
    assert isinstance(first, f.Inventoried)
    known = book(replace(first.recording, id=5, readings=recording(5).readings))
    (fact,) = take(known, item(b"T01.WAV", "2031-05-07", size=99), days=1)
    assert isinstance(fact, f.Inventoried)
    assert fact.recording.day == "2031-05-07"
    assert fact.recording.place.endswith(b"2031-05-07/SND_A1/T01.WAV")


NAMES = st.sampled_from([b"a", b"A", b"a.wav", b"A.WAV", b"a.edit-2.wav", b"d/a", b"\xff", b".."])
ROUNDS = st.lists(
    st.tuples(st.lists(NAMES, min_size=1, max_size=5, unique=True), st.booleans()), max_size=5
)


@given(ROUNDS)
def test_every_file_has_one_answer_and_no_two_places_meet(rounds: list) -> None:
    """Files come, change and are read, round after round (P2, P7)."""
    known = book()
    for size, (paths, are_read) in enumerate(rounds, 1):
        take(known, *(item(path, size=size) for path in paths))
        for path in paths:
            newest = known.current(1, path)
            assert newest is not None
            assert newest.stamp.size == size
            if are_read:
                known.apply([f.WasRead(newest.id, reading(b"%d" % size))])
        places = [same_key(r.place) for r in known.recordings.values()]
        assert len(set(places)) == len(places)
        for path in paths:
            unread = [r for r in known.versions(1, path) if not r.readings]
            assert len(unread) == (0 if are_read else 1)


def part(
    name: bytes, time: str, start_s: int, seconds: int, date: str = DAY, **said: str
) -> Described:
    """A file at 48 kHz that begins so many seconds after midnight."""
    about = Metadata(date=date, time=time, scene="9", take="2", time_reference=start_s * 48_000)
    whole = described(b"x")
    made = replace(
        whole,
        format=WaveFormat(1, 2, 48_000, 24, 6),
        frames=seconds * 48_000,
        metadata=replace(about, **said),
    )
    return Described(Sighted(name, Stamp(7, 1), 0), made)


SIX = 6 * 3600
BEFORE = "2031-05-05"


@pytest.mark.parametrize("together", [True, False])
def test_a_take_that_runs_over_the_days_beginning_stays_in_one_day(together: bool) -> None:
    """TimeReference[k+1] = TimeReference[k] + frames[k]: the parts are one take, and one day's."""
    parts = (
        part(b"T_1.WAV", "05:50:00", SIX - 600, 700),
        part(b"T_2.WAV", "06:01:40", SIX + 100, 700),
        part(b"T_3.WAV", "06:13:20", SIX + 800, 30),
    )
    known = book()
    for some in [parts] if together else [parts[:1], parts[1:2], parts[2:]]:
        take(known, *some)
    assert [r.day for r in known.recordings.values()] == [BEFORE] * 3


@pytest.mark.parametrize(
    "other",
    [
        part(b"T_2.WAV", "06:01:40", SIX + 101, 700),
        part(b"T_2.WAV", "06:01:40", SIX + 100, 700, take="3"),
        part(b"T_2.WAV", "06:01:40", SIX + 100, 700, tape="another roll"),
    ],
)
def test_what_is_no_part_of_it_goes_by_its_own_time(other: Described) -> None:
    known = book()
    take(known, part(b"T_1.WAV", "05:50:00", SIX - 600, 700), other)
    assert [r.day for r in known.recordings.values()] == [BEFORE, DAY]
