"""Cards that nobody could look at are not forgotten, and a decision on one covers no other."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from cardmaker import fill, today
from fakedisk import FakeVolume
from fakeworld import CARDS, DAY, Site, take
from instance import Instance
from loopbench import Bench
from planworld import DAY as SOME_DAY
from planworld import copied, good_day, ledger, load, settings, target, trouble, view
from takehold.cli.status import card_words
from takehold.decide.check import Around, check
from takehold.decide.listing import content_of_listing, listing
from takehold.decide.lost_card import AWAY_S, SAYS
from takehold.engine.once import owing
from takehold.engine.progress import snapshot
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.recording import Stamp
from takehold.model.settings import Role, Source
from takehold.ports.volumes import Silent

NEXT, THIRD = "2031-03-15", "2031-03-16"
HOUR = 3600
ONE = {b"DAY1/T01.WAV": take(1)}
UNREAD = f.Skip(b"DAY2", "unreadable folder: Input/output error")
LOOK, HOLD = Severity.LOOK, Severity.HOLD


def open_ones(site: Site, day: str = DAY) -> dict[str, Finding]:
    """What keeps a day from READY, by code."""
    found = site.judged(day).findings
    acks = site.engine.ledger.acks
    return {x.code: x for x in found if x.severity is not Severity.NOTE and x.id not in acks}


def alone(**changes: object) -> Site:
    """A cart with one card of its own and two drives."""
    site = Site(**{"sources": CARDS[:1], **changes})
    site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    return site


def next_day(site: Site) -> None:
    """Another card of the next day is in, and copied; read again at wrap."""
    site.clock.advance(24 * HOUR)
    site.card("SND_A2", {b"T08.WAV": take(8, day=NEXT)})
    site.work()


# -- folders that cannot be listed


def unread_folder_of_day_two() -> tuple[Site, FakeVolume]:
    """On its second day a card has one folder more, and no device gives it out."""
    site = alone()
    card = site.card("SND_A1", ONE)
    site.work()
    site.wrap()
    assert site.judged().verdict is Verdict.READY
    card.skipped, card.complete = [UNREAD], False
    next_day(site)
    return site, card


def test_a_folder_that_cannot_be_listed_holds_the_day_it_was_first_seen_on() -> None:
    """Also where the card has no other file of that day."""
    site, _ = unread_folder_of_day_two()
    site.wrap(NEXT)
    [only] = open_ones(site, NEXT).values()
    assert (only.code, only.severity) == ("listing-incomplete", HOLD)
    assert only.subject == "SND_A1: DAY2"


def test_a_card_with_a_folder_that_cannot_be_listed_is_not_called_copied() -> None:
    site, card = unread_folder_of_day_two()
    assert "SND_A1: DAY2 cannot be listed, so it is not known what is in it." in owing(site.engine)
    shown: list[dict[str, object]] = snapshot(site.engine, 0)["cards"]  # type: ignore[assignment]
    words = {str(one["label"]): card_words(one) for one in shown}
    assert words["SND_A1"].endswith("what is in a folder of it is not known, leave it in")
    card.skipped, card.complete = [], True
    site.work()
    assert not owing(site.engine)
    assert "listing-incomplete" not in site.codes(NEXT)


def test_what_a_card_hides_is_said_on_the_day_it_came() -> None:
    """A pipe, and audio in a folder of the computer's own, on a card of the day before."""
    site = alone()
    card = site.card("SND_A1", ONE)
    site.work()
    card.skipped = [f.Skip(b"pipe", "a pipe")]
    card.put(b".Trashes/T07.WAV", take(7))
    next_day(site)
    assert {"entry-skipped", "litter-holds-audio"} <= open_ones(site, NEXT).keys()
    site.clock.advance(24 * HOUR)
    site.work()
    assert not {"entry-skipped", "litter-holds-audio"} & site.codes(THIRD)


def test_a_watch_folder_is_not_held_up_for_ever_by_a_folder_that_was_there_before() -> None:
    """What is new in it is of its newest day."""
    watched = Source("recorder", Role.PRIMARY, path=b"/srv/rec")
    site = alone(sources=(watched,))
    folder = site.disk.volume(b"/srv/rec", ONE)
    site.work()
    site.later(5)
    site.clock.advance(24 * HOUR)
    folder.put(b"DAY2/T02.WAV", take(2, day=NEXT))
    site.work()
    site.later(5)
    folder.skipped, folder.complete = [f.Skip(b"DAY3", UNREAD.why)], False
    site.work()
    assert "listing-incomplete" in site.codes(NEXT)
    assert "listing-incomplete" in site.codes(DAY), "it has files of that day"
    assert "listing-incomplete" not in site.codes("2031-03-10")


# -- cards that were in and could not be looked at


def test_a_card_that_answered_to_two_sources_is_remembered_when_it_is_pulled() -> None:
    every = (
        Source("primary", Role.PRIMARY, label="SND_*"),
        Source("pack", Role.BODYPACK, label="SND_BP*"),
    )
    site = alone(sources=every)
    site.card("SND_A1", ONE)
    pack = site.card("SND_BP1", {b"P01.WAV": take(5)})
    site.work()
    pack.yank()
    site.wrap()
    assert open_ones(site)["card-not-listed"].severity is LOOK
    site.engine.adopt(replace(site.settings, sources=every[:1]), site.days())
    site.remount(pack)
    site.work()
    assert "card-not-listed" not in site.codes(), "it could be listed"


def test_a_card_whose_reader_hung_is_remembered_when_it_is_pulled(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    site = alone()
    site.card("SND_A1", ONE)
    hung = (Silent("SND_A2", b"/media/SND_A2"), Silent("SHUTTLE_2", b"/media/SHUTTLE_2"))
    monkeypatch.setattr(site.volumes, "silent", lambda: hung)
    site.work()
    monkeypatch.setattr(site.volumes, "silent", lambda: ())
    site.wrap()
    lost = open_ones(site)["card-not-listed"]
    assert lost.says.startswith("SND_A2 at /media/SND_A2 does not answer"), "a drive is no card"
    site.clock.advance(60)
    monkeypatch.setattr(site.volumes, "silent", lambda: hung)
    site.work()
    assert lost.id not in {x.id for x in open_ones(site).values()}, "it may be another card"
    monkeypatch.setattr(site.volumes, "silent", lambda: ())
    site.card("SND_A2", {b"T02.WAV": take(2)})
    site.work()
    assert "card-not-listed" not in site.codes()


def test_a_decision_on_a_card_that_could_not_be_listed_covers_no_other_of_its_name() -> None:
    """Two cards of one label, one after the other in one reader: the sentences are the same."""
    one, other = (trouble(f"list {SOME_DAY} uuid:{name}") for name in ("first", "second"))
    later = one._replace(since=one.since + 1)
    ids = set()
    for facts in ([one], [other], [later]):
        known = ledger([*good_day(), *facts])
        told = check(view(known), known, settings(), Around())
        ids |= {x.id for x in told if x.code == "card-not-listed"}
    assert len(ids) == 3


# -- a card that was lost


def test_the_day_on_which_lost_files_were_first_listed_stays_on_hold() -> None:
    """The card was known since the day before; on neither day does a decision prove its takes."""
    site = alone()
    card = site.card("SND_A1", ONE)
    site.work()
    site.wrap()
    next_day(site)
    opening = card.hang("open")
    for number in (2, 3, 4):
        card.put(b"DAY2/T%02d.WAV" % number, take(number, day=NEXT))
    site.engine.turn()
    card.yank()
    opening.set()
    site.later(AWAY_S + HOUR)
    site.clock.advance(24 * HOUR)
    site.work()
    severity = {day: open_ones(site, day)["inventory-incomplete"].severity for day in (DAY, NEXT)}
    assert severity == {DAY: HOLD, NEXT: HOLD}
    assert open_ones(site, THIRD)["inventory-incomplete"].severity is LOOK


def test_a_card_is_away_for_long_from_when_it_was_pulled() -> None:
    """However long it sat in, unchanged, with a file whose header nobody could read."""
    site = alone()
    card = site.card("SND_A1", {**ONE, b"DAY1/T02.WAV": take(2)})
    card.bad[b"DAY1/T02.WAV"] = [(0, 4096)]
    site.work()
    for _ in range(3):
        site.later(AWAY_S)
    card.yank()
    site.later(HOUR)
    [told] = [x for x in site.judged(THIRD).findings if x.code == "inventory-incomplete"]
    assert (told.severity, SAYS in told.says) == (HOLD, False)
    site.later(AWAY_S)
    assert SAYS in open_ones(site, THIRD)["inventory-incomplete"].says


def test_nothing_is_written_while_a_card_that_is_known_whole_sits_in() -> None:
    site = alone()
    site.card("SND_A1", ONE)
    site.work()
    before = site.told(f.Listed)
    site.later(2 * HOUR)
    assert site.told(f.Listed) == before


def test_a_decision_on_a_lost_card_covers_its_files_and_not_their_number() -> None:
    known = ledger([f.LoadSeen(load(1))])
    some = ((b"T01.WAV", Stamp(5, 1)), (b"T02.WAV", Stamp(6, 1)))
    looks = [
        listing(known, 1, 1000, SOME_DAY, files, (), (), complete=True)
        for files in (
            some,
            (*some[:1], (b"T03.WAV", Stamp(6, 1))),
            (*some[:1], (some[1][0], Stamp(6, 2))),
        )
    ]
    assert {look.untaken for look in looks} == {2}
    assert len({content_of_listing(look) for look in looks}) == 3
    ids = set()
    for look in looks:
        book = ledger([*good_day(), look._replace(load=1)])
        told = check(view(book), book, settings(), Around())
        ids |= {x.id for x in told if x.code == "inventory-incomplete"}
    assert len(ids) == 3


def test_what_a_broken_listing_does_not_show_keeps_its_day() -> None:
    known = ledger([f.LoadSeen(load(1))])
    file = (b"DAY2/T01.WAV", Stamp(5, 1))
    known.apply([listing(known, 1, 1000, NEXT, (file,), (), (), complete=True)])
    broken = listing(known, 1, 2000, THIRD, (), (), (UNREAD,), complete=False)
    assert [since.day for since in broken.since] == [NEXT, THIRD]
    known.apply([broken])
    whole = listing(known, 1, 3000, THIRD, (file,), (), (), complete=True)
    assert [since.day for since in whole.since] == [NEXT]


# -- a watch folder that drops out


def test_a_watch_folder_that_is_away_at_wrap_asks_for_a_decision() -> None:
    """What was recorded into it since is not known; when it is there again, it is."""
    site = alone(sources=(Source("recorder", Role.PRIMARY, path=b"/srv/rec"),))
    folder = site.disk.volume(b"/srv/rec", ONE)
    site.work()
    site.later(5)
    folder.yank()
    site.work()
    assert "source-absent" not in site.codes(), "the alarm says it until the day is closed"
    site.wrap()
    [away] = open_ones(site).values()
    assert (away.code, away.severity, away.subject) == ("source-absent", LOOK, "recorder")
    folder.give_back()
    site.work()
    assert "source-absent" not in site.codes()
    site.wrap()
    folder.yank()
    site.later(HOUR)
    assert site.judged().verdict is Verdict.READY, "after wrap it may go"


def test_a_watch_folder_that_drops_out_is_named_in_the_day(bench: Bench, tmp_path: Path) -> None:
    """A real one: its volume is unmounted, and only the empty mount point is left."""
    share = bench.disk("share")
    fill(share.mount)
    bench.disk("one", label="SHUTTLE_1"), bench.disk("two", label="SHUTTLE_2")
    drives = {"s1": "SHUTTLE_1", "s2": "SHUTTLE_2"}
    laptop = Instance(tmp_path / "laptop", {"recorder": ("primary", share.mount)}, drives)
    assert laptop.run("once").returncode == 0
    share.unmount()
    wrapped = laptop.run("wrap", today())
    assert wrapped.returncode == 1, wrapped.stdout + wrapped.stderr
    [found] = [x for x in laptop.facts("day", today())["findings"] if x["code"] == "source-absent"]
    assert "is not there" in found["says"]
    assert "written" not in found["says"]


def test_a_pack_card_that_was_left_alone_keeps_the_day_on_hold(
    bench: Bench, tmp_path: Path
) -> None:
    """A real one: its label answers to two sources of the config."""
    card, pack = bench.disk("card", label="SND_A1"), bench.disk("pack", label="SND_BP1")
    fill(card.mount)
    fill(pack.mount, ((7, 1), (7, 2)))
    bench.disk("one", label="SHUTTLE_1"), bench.disk("two", label="SHUTTLE_2")
    sources = {"primary": ("primary", "SND_*"), "pack": ("bodypack", "SND_BP*")}
    drives = {"s1": "SHUTTLE_1", "s2": "SHUTTLE_2"}
    laptop = Instance(tmp_path / "laptop", sources, drives)
    assert laptop.run("once").returncode == 1
    pack.unmount()
    wrapped = laptop.run("wrap", today())
    assert wrapped.returncode == 1, wrapped.stdout + wrapped.stderr
    codes = {x["code"] for x in laptop.facts("day", today())["findings"]}
    assert "card-not-listed" in codes


# -- copies that were altered


def test_a_decision_on_an_altered_copy_covers_no_second_alteration() -> None:
    drive = target("shuttle-1")
    held = next(x.recording for x in good_day() if isinstance(x, f.Inventoried))
    [fact] = copied(held, drive)
    assert isinstance(fact, f.Proven)
    copy = fact.copy
    first = f.Broken(held.id, copy.destination, copy.root, copy.path, "altered", 5000)
    again = [fact, first._replace(at=6000)]
    ids = []
    for facts in ([first], [first, *again]):
        known = ledger([*good_day(), *facts])
        told = check(view(known), known, settings(), Around())
        ids.append([x.id for x in told if x.code == "copy-altered"])
    assert ids[0][0] in ids[1]
    assert len(set(ids[1])) == 2


def test_a_card_that_is_pulled_in_the_moment_of_a_look_is_just_gone() -> None:
    """All of it was copied and confirmed: the next breath shows that it is not in any more."""
    site = Site(sources=CARDS[:1])
    site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    card = site.card("SND_A1", {b"T01.WAV": take(1)})
    site.work()
    site.wrap()
    assert site.judged().verdict is Verdict.READY
    asked = card.asked

    def pulled(op: str, path: bytes, writing: bool = False) -> None:
        if op == "list":
            card.yank()
        asked(op, path, writing)

    card.asked = pulled  # type: ignore[method-assign]
    site.engine.turn()
    assert card.gone
    site.later()
    site.wrap()
    assert site.judged().verdict is Verdict.READY
    assert site.engine.ledger.troubles == {}
