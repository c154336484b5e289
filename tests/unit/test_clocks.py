"""Clocks that are wrong, jump, change their zone: no file left out, days right or flagged.

Nights on which clocks change are those of the IANA time zone database, through `zoneinfo`. How long
something is waited for never depends on what a wall clock is set to.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from fakeworld import CARDS, DAY, NOON, Clock, Site, take
from planworld import good_day, ledger, revised, settings
from takehold.decide.day import day_of, shooting_day, undated
from takehold.decide.schedule import overdue, wraps_due
from takehold.engine.cycle import Engine
from takehold.engine.daemon import Daemon
from takehold.formats.bwf_file import bwf
from takehold.model import facts as f
from takehold.model.errors import WorldError
from takehold.model.recording import Recording, Stamp
from takehold.model.settings import Role, Source
from takehold.model.sound import Metadata, WaveFormat

HOUR = 3600
DAY_S = 24 * HOUR
YEAR = 365 * DAY_S
SIX = 6 * 60
FORMAT = WaveFormat(1, 2, 48_000, 16, 4)
# Zone, and a date on which its clocks change: the hour from 02:00 is left out, or comes twice.
NIGHTS = [
    ("Europe/Berlin", "2031-03-30"),
    ("Europe/Berlin", "2031-10-26"),
    ("America/New_York", "2031-03-09"),
    ("America/New_York", "2031-11-02"),
]


# -- nights on which the clocks change


def around(zone: str, date: str, minutes: int = 10) -> list[datetime]:
    """The wall clock every ten minutes, from the noon before to the second noon after."""
    place = ZoneInfo(zone)
    noon = datetime.fromisoformat(date).replace(hour=12, tzinfo=place) - timedelta(days=1)
    first = noon.astimezone(UTC)
    count = 60 // minutes * 24 * 3
    return [(first + timedelta(minutes=minutes * n)).astimezone(place) for n in range(count)]


@pytest.mark.parametrize(("zone", "date"), NIGHTS)
def test_these_are_nights_on_which_the_clocks_change(zone: str, date: str) -> None:
    """Else the tests below would show nothing: such a day has not 24 hours."""
    walls = {(t.date().isoformat(), t.hour, t.minute) for t in around(zone, date)}
    ambiguous = [t for t in around(zone, date) if t.fold]
    assert bool(ambiguous) != ((date, 2, 30) not in walls)


@pytest.mark.parametrize(("zone", "date"), NIGHTS)
@pytest.mark.parametrize("starts_at", [0, 120, 150, 179, 180, SIX])
@pytest.mark.parametrize("wrap_at", [0, 90, 125, 150, 190, 21 * 60 + 30])
def test_each_day_is_wrapped_once_in_such_a_night(
    zone: str, date: str, starts_at: int, wrap_at: int
) -> None:
    """Also where the day starts, or the wrap is due, in the hour that is left out or comes twice.

    Once, and at the latest when the next day has begun.
    """
    made = settings(day_starts_at=starts_at, wrap_at=wrap_at)
    moments = around(zone, date)
    first = shooting_day(moments[0], starts_at)
    known = [*good_day()]
    known = [
        x._replace(recording=replace(x.recording, day=first))
        if isinstance(x, f.Inventoried)
        else x._replace(load=replace(x.load, day=first))
        if isinstance(x, f.LoadSeen)
        else x
        for x in known
    ]
    book = ledger(known)
    closed: list[datetime] = []
    for here in moments:
        if first in wraps_due(book, made, here):
            closed.append(here)
            book.apply([revised()._replace(day=first)])
    [when] = closed
    begun = next(t for t in moments if shooting_day(t, starts_at) > first)
    assert when <= begun
    into = (when.hour * 60 + when.minute - starts_at) % (24 * 60)
    assert when == begun or into >= (wrap_at - starts_at) % (24 * 60)


@pytest.mark.parametrize(("zone", "date"), NIGHTS)
@pytest.mark.parametrize("starts_at", [0, 150, SIX])
def test_a_take_of_such_a_night_goes_by_the_recorders_wall_clock(
    zone: str, date: str, starts_at: int
) -> None:
    """Seen at once or hours later, its day is the same, and never complained of."""
    for recorded in around(zone, date, 30)[:60]:
        said = Metadata(date=f"{recorded:%Y-%m-%d}", time=f"{recorded:%H:%M:%S}")
        for later in (0, 1, 9):
            seen = (recorded.astimezone(UTC) + timedelta(hours=later)).astimezone(ZoneInfo(zone))
            found = day_of(said, "2000-01-01", seen, starts_at)
            assert found.complaint is None
            assert found.day == shooting_day(recorded.replace(tzinfo=None), starts_at)


# -- the recorder's clock


@pytest.mark.parametrize(
    ("date", "day", "flag"),
    [
        ("1970-01-01", DAY, "date-wrong"),
        ("2099-12-31", DAY, "date-wrong"),
        ("2032-03-14", DAY, "date-wrong"),
        ("2030-03-14", "2030-03-14", "date-old"),
        ("2031-03-15", "2031-03-15", "date-ahead"),
        ("2031-03-16", DAY, "date-wrong"),
        ("2031-03-07", "2031-03-07", None),
        ("2031-02-29", DAY, "date-wrong"),
    ],
)
def test_a_recorder_whose_clock_is_wrong(date: str, day: str, flag: str | None) -> None:
    """Never set, a century off, a year ahead, a year behind: copied, and its day is told."""
    site = Site(sources=CARDS[:1])
    site.card("SND_A1", {b"T01.WAV": take(1, day=date), b"T02.WAV": take(2)})
    drives = [site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")]
    site.work()
    assert all(len(site.on(drive)) == 2 for drive in drives)
    assert site.recording(b"T01.WAV").day == day
    about = [x for x in site.judged(day).findings if x.code.startswith("date-")]
    assert [x.code for x in about] == ([flag] if flag else [])
    assert all("SND_A1: 1 file has" in x.says and "T01.WAV (" in x.says for x in about)


# -- files without a date


def bare(number: int) -> bytes:
    """A whole file without bext and iXML."""
    return bwf(FORMAT, Metadata(), bytes((number * 31 + i) % 251 for i in range(4000)))


def written(site: Site, label: str, path: bytes, content: bytes, at: int) -> None:
    """The recorder writes a file, its clock saying `at`."""
    card = site.disk.volumes[b"/media/" + label.encode()]
    card.put(path, content)
    card.stamps[path] = Stamp(len(content), at * 10**9, at * 10**9)


@pytest.mark.parametrize(
    ("off", "flagged"),
    [(0, False), (-HOUR, False), (-DAY_S, True), (2 * DAY_S, True), (-60 * YEAR, True)],
)
def test_audio_without_a_date_is_flagged_where_the_clocks_disagree(off: int, flagged: bool) -> None:
    """It goes by the laptop's clock; that it may be wrong shows in the file's own time."""
    site = Site(sources=CARDS[:1])
    site.clock.set_by(off)
    site.card("SND_A1", {})
    written(site, "SND_A1", b"T01.WAV", bare(1), int(NOON.timestamp()) - HOUR)
    site.drive("SHUTTLE_1")
    site.work()
    day = site.recording(b"T01.WAV").day
    assert day == shooting_day(site.clock.local(), SIX)
    assert ("date-doubtful" in site.codes(day)) == flagged


def test_what_is_no_audio_is_not_flagged_for_its_age() -> None:
    """A recorder's own settings file is years old on every card."""
    site = Site(sources=CARDS[:1])
    site.card("SND_A1", {})
    written(site, "SND_A1", b"SETTINGS.BIN", b"x", int(NOON.timestamp()) - 5 * YEAR)
    site.drive("SHUTTLE_1")
    site.work()
    assert "date-doubtful" not in site.codes()


@pytest.mark.parametrize("mtime_ns", [-(2**63), 2**63 - 1, 0, -1])
def test_any_time_of_a_file_is_a_time_or_flagged(mtime_ns: int) -> None:
    """A damaged card's times are untrusted (P10)."""
    found = undated(mtime_ns, DAY, NOON, SIX)
    assert found is not None
    assert found.code == "date-doubtful"


# -- the laptop's clock


def test_a_retry_does_not_wait_for_a_clock_that_was_set_back() -> None:
    """Its time lies a year ahead then: it is tried at once."""
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", {b"T01.WAV": take(1)})
    drive = site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    drive.fail_next("flush", WorldError("It was refused."))
    site.work()
    assert site.on(drive) == {}
    site.clock.set_by(-YEAR)
    site.work()
    assert list(site.on(drive).values()) == [card.files[b"T01.WAV"]]


@pytest.mark.parametrize("off", [-YEAR, -HOUR, YEAR])
def test_the_loop_never_waits_longer_than_until_its_next_look(off: int) -> None:
    """Whatever a trouble's time to try again says."""
    site = Site(sources=CARDS[:1], look_every_seconds=30)
    card = site.card("SND_A1", {b"T01.WAV": take(1)})
    site.drive("SHUTTLE_1")
    card.fail_next("list", WorldError("It was refused."))
    site.work()
    site.clock.set_by(off)
    assert 0 < pause_of(site.engine, site.clock) <= 30


def pause_of(engine: Engine, clock: Clock) -> float:
    daemon: Any = Daemon.__new__(Daemon)
    daemon._engine, daemon._clock = engine, clock
    daemon._vigil = type("Idle", (), {"wait_s": lambda _: float("inf")})()
    return float(daemon._pause(False))


@pytest.mark.parametrize("off", [-YEAR, YEAR])
def test_a_file_that_is_being_written_is_waited_for_by_the_steady_clock(off: int) -> None:
    """A wrap waits three times `settle_seconds` for it, whatever the wall clock is set to."""
    watched = (Source("track", Role.PRIMARY, path=b"/srv/rec"),)
    site = Site(sources=watched, settle_seconds=10)
    folder = site.disk.volume(b"/srv/rec", {b"T01.WAV": take(1)})
    site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    site.work()
    site.clock.advance(10)
    site.work()
    number = site.catalogue.ask("wrap", DAY, site.clock.now())

    def grows() -> None:
        folder.put(b"T02.WAV", folder.files.get(b"T02.WAV", b"") + b"more")
        site.work()

    grows()
    site.clock.set_by(off)
    for _ in range(4):
        site.clock.advance(6)
        grows()
        assert site.catalogue.answer_of(number) is None
    site.clock.advance(12)
    grows()
    site.work()
    assert site.catalogue.answer_of(number) is not None


def test_a_sleep_settles_no_file_that_is_being_written() -> None:
    """Nobody saw it stand still meanwhile."""
    watched = (Source("track", Role.PRIMARY, path=b"/srv/rec"),)
    site = Site(sources=watched, settle_seconds=10)
    site.disk.volume(b"/srv/rec", {b"T01.WAV": take(1)})
    drive = site.drive("SHUTTLE_1")
    site.work()
    site.clock.advance(9)
    site.clock.sleep(5 * HOUR)
    site.work()
    site.clock.advance(9)
    site.work()
    assert site.on(drive) == {}
    site.clock.advance(1)
    site.work()
    assert len(site.on(drive)) == 1


def test_a_proof_that_is_dated_far_ahead_is_made_again() -> None:
    """Made under a clock of the year 2099: else it would count as fresh for decades."""
    made = settings(recheck_after_days=30)
    assert overdue(68 * YEAR, 0, made)
    assert not overdue(29 * DAY_S, 0, made)


def test_a_manifest_that_is_dated_ahead_is_revised_all_the_same() -> None:
    """Written under a wrong clock; what comes after it, and after a restart, is not overlooked."""
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", {b"T01.WAV": take(1)})
    site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    site.work()
    site.clock.set_by(20 * HOUR)
    site.wrap()
    site.clock.set_by(-20 * HOUR)
    card.put(b"T02.WAV", take(2))
    site.work(lambda: len(site.engine.ledger.recordings) == 2)
    site.work(lambda: not site.engine.lanes.running)
    site.engine.closer._touched.clear()  # there was no time to revise it
    site.start()
    site.work()
    revisions = site.engine.ledger.revisions[DAY]
    assert [r.number for r in revisions][-1] >= 2


def test_a_zone_that_changes_while_a_card_is_in_moves_nothing() -> None:
    """The laptop travels: files that are known stay in their day, later ones go by their own."""
    site = Site(sources=CARDS[:1])
    zones = iter(
        [ZoneInfo("Europe/Berlin"), ZoneInfo("Pacific/Auckland"), ZoneInfo("Pacific/Niue")]
    )
    here = [next(zones)]
    site.clock.local = lambda: datetime.fromtimestamp(site.clock.now(), here[0])  # type: ignore[method-assign]
    card = site.card("SND_A1", {b"T01.WAV": take(1)})
    drive = site.drive("SHUTTLE_1")
    site.work()
    known: dict[int, Recording] = dict(site.engine.ledger.recordings)
    for number, zone in enumerate(zones, 2):
        here[0] = zone
        card.put(b"T%02d.WAV" % number, take(number))
        site.work()
    now = site.engine.ledger.recordings
    assert {r.day for r in now.values()} == {DAY}
    assert all(now[rid].place == r.place for rid, r in known.items())
    assert len(site.on(drive)) == 3
    assert len(site.engine.ledger.loads) == 1


@pytest.mark.parametrize("hours", [-11, -1, 1, 6, 14])
def test_times_of_fat_that_shift_with_the_zone_make_no_second_copy(hours: int) -> None:
    """FAT has no zone (Microsoft FAT specification, "DIR_WrtTime"): all times move by whole hours.

    Each file is looked into once more, and known again by its bytes.
    """
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", {b"T%02d.WAV" % n: take(n) for n in (1, 2, 3)})
    drives = [site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")]
    site.work()
    before = [site.on(drive) for drive in drives]
    days = {r.day for r in site.engine.ledger.day(DAY)}
    shift = hours * HOUR * 10**9
    for path, stamp in list(card.stamps.items()):
        even = (stamp.mtime_ns + shift) // (2 * 10**9) * 2 * 10**9  # FAT counts in two seconds
        card.stamps[path] = Stamp(stamp.size, even, even)
    site.remount(card)
    site.work()
    assert [site.on(drive) for drive in drives] == before
    assert {r.day for r in site.engine.ledger.recordings.values()} == days
    assert len(site.engine.ledger.loads) == 1
    assert site.wrap() == f"{DAY}.r1.manifest.json"
    site.no_false_word()
