"""Holds that a person gets out of, and decisions that hold for nothing else."""

from __future__ import annotations

import json
from typing import Any

import pytest

from fakeworld import CARDS, DAY, Site, take
from planworld import DAY as SOME_DAY
from planworld import (
    cards,
    copied,
    good_day,
    ledger,
    load,
    recording,
    settings,
    situation,
    taken,
    target,
    trouble,
    view,
)
from takehold.decide.alarms import open_troubles
from takehold.decide.check import Around, check
from takehold.decide.keys import land_key, prove_key, publish_key, rec_key, root_of
from takehold.decide.lost_card import AWAY_S
from takehold.decide.manifest_names import names_of
from takehold.engine.absences import confirmed_since
from takehold.engine.requests import ack_text
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.settings import Settings

FILES = {b"DAY/T%02d.WAV" % n: take(n) for n in range(1, 4)}
NEXT = "2031-03-15"
DRIVES = (target("shuttle-1"), target("shuttle-2"))


def decide(site: Site, finding: str, note: str = "Decided.") -> None:
    site.catalogue.ask("ack", ack_text(finding, note), site.clock.now())
    site.work()


def open_ones(site: Site, day: str) -> list[Finding]:
    """What keeps the day from READY."""
    acks = site.engine.ledger.acks
    found = site.judged(day).findings
    return [x for x in found if x.severity is not Severity.NOTE and x.id not in acks]


def found(facts: list[f.Fact], around: Around, made: Settings | None = None) -> dict[str, Finding]:
    known, made = ledger(facts), made or settings()
    return {x.code: x for x in check(view(known, made), known, made, around)}


# -- a card that was lost


def test_a_lost_card_is_decided_on_once_and_holds_only_its_own_day_for_ever() -> None:
    """It left with files that nobody looked at; the next day is READY after the decision."""
    site = Site(sources=CARDS[:1])
    first, second = site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    lost = site.card("SND_A1", FILES)
    opening = lost.hang("open")
    site.engine.turn()
    lost.yank()
    opening.set()
    site.work()
    site.clock.advance(AWAY_S // 2)
    site.card("SND_A2", {b"T01.WAV": take(1)})
    site.work()
    site.wrap()
    assert {x.severity for x in open_ones(site, DAY)} == {Severity.HOLD}, "not on the same evening"
    site.clock.advance(20 * 3600)
    late = take(1, day=NEXT)
    site.card("SND_A3", {b"T08.WAV": late})
    site.work()
    site.wrap(NEXT)
    [only] = open_ones(site, NEXT)
    assert (only.code, only.severity) == ("inventory-incomplete", Severity.LOOK)
    decide(site, only.id, "The card was lost in the river.")
    for day, verdict in ((DAY, Verdict.HOLD), (NEXT, Verdict.READY)):
        site.wrap(day)
        assert site.judged(day).verdict is verdict, "no decision makes lost files of its day safe"
        newest = site.engine.ledger.newest(day)
        assert newest is not None
        name = f"Lantern Bay/{day}/{names_of(day, newest.number)['manifest']}".encode()
        told: Any = json.loads(first.files[name])
        [said] = [x for x in told["findings"] if x["code"] == only.code]
        assert said["decision"]["note"] == "The card was lost in the river."
        assert second.files[name] == first.files[name]
    site.remount(lost)
    site.engine.turn()
    assert site.judged(NEXT).verdict is Verdict.HOLD, "it came back: now it is to be copied"
    site.work()


def test_files_that_were_lost_with_their_card_hold_their_day() -> None:
    """Nothing that no copy holds is waved through (P8): away for long or not."""
    files = [recording(n, b"T%d.WAV" % n, read=False) for n in (1, 2, 3)]
    facts = [*cards(), *taken(*files), f.Listed(1, 1000, 3, (), ())]
    known = ledger(facts)
    for around in (Around(), Around(loads=frozenset(), now=1000 + AWAY_S)):
        told = check(view(known), known, settings(), around)
        short = [x for x in told if x.code == "copies-short"]
        assert {x.severity for x in short} == {Severity.HOLD}
        assert {x.recording for x in short} == {1, 2, 3}


@pytest.mark.parametrize("code", ["inventory-incomplete", "listing-incomplete"])
def test_what_only_the_card_could_mend_holds_its_own_day(code: str) -> None:
    """However long it is away."""
    listed = {
        "inventory-incomplete": f.Listed(1, 1000, 5, (), (), 2),
        "listing-incomplete": f.Listed(1, 1000, 1, (), (f.Skip(b"X", "unreadable: x"),)),
    }[code]
    facts = [*cards(), *taken(recording(1, read=False)), listed]
    for now in (1000, 1000 + AWAY_S):
        away = Around(loads=frozenset(), now=now)
        assert found(facts, away)[code].severity is Severity.HOLD


@pytest.mark.parametrize(
    ("here", "after", "severity"),
    [
        (None, AWAY_S, Severity.HOLD),
        (frozenset[int](), AWAY_S - 1, Severity.HOLD),
        (frozenset({1}), AWAY_S, Severity.HOLD),
        (frozenset[int](), AWAY_S, Severity.LOOK),
    ],
)
def test_a_card_that_is_away_for_long_is_decided_on_in_later_days(
    here: frozenset[int] | None, after: int, severity: Severity
) -> None:
    """A hold while it may come back, or where nobody looked."""
    known = ledger([*cards(), f.Listed(1, 1000, 5, (), (), 2)])
    later = view(known, settings(), day=NEXT)
    told = check(later, known, settings(), Around(loads=here, now=1000 + after))
    assert {x.severity for x in told if x.code == "inventory-incomplete"} == {severity}


def test_copies_that_there_are_keep_the_hold() -> None:
    """A file with one copy is not lost: another drive gets it from there."""
    one = recording(1)
    facts = [*cards(), *taken(one), *copied(one, DRIVES[0]), f.Listed(1, 1000, 1, (), ())]
    away = Around(loads=frozenset(), now=1000 + AWAY_S)
    assert found(facts, away)["copies-short"].severity is Severity.HOLD


# -- what a decision covers


def test_a_decision_on_an_absent_drive_covers_no_later_file() -> None:
    away = Around(absent=("raid",))
    more = [*good_day(), *taken(recording(9, b"T09.WAV", audio=b"nine"))]
    first, second = found(good_day(), away), found(more, away)
    assert first["destination-absent"].id != second["destination-absent"].id
    assert found(good_day(), away)["destination-absent"].id == first["destination-absent"].id


def test_a_decision_on_a_drive_that_lacks_files_covers_no_later_file() -> None:
    here = Around(present=(("raid", "uuid:raid"),))
    more = [*good_day(), *taken(recording(9, b"T09.WAV", audio=b"nine"))]
    ids = {found(facts, here)["destination-lacks"].id for facts in (good_day(), more)}
    assert len(ids) == 2


def test_a_decision_on_a_missing_backup_covers_no_later_file() -> None:
    """Each file of which no backup was seen is asked for."""
    twice = recording().readings * 2
    one, two = (recording(n, b"T%d.WAV" % n, readings=twice) for n in (1, 2))
    primary = [f.LoadSeen(load(1))]
    ids = {
        found([*primary, *taken(*some)], Around())["backup-not-seen"].id
        for some in ((one,), (one, two))
    }
    assert len(ids) == 2


def test_a_decision_on_files_of_other_days_covers_no_later_file() -> None:
    old = [recording(n, b"O%d.WAV" % n, audio=b"%d" % n, day="2031-05-01") for n in (7, 8)]
    ids = {
        found([*good_day(), *taken(*some)], Around())["files-of-other-days"].id
        for some in (old[:1], old)
    }
    assert len(ids) == 2


def test_a_decision_on_hidden_audio_covers_no_other_file_of_that_name() -> None:
    site = Site(sources=CARDS[:1])
    site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    card = site.card("SND_A1", {**FILES, b".Trashes/T07.WAV": take(7)})
    ids = []
    for content in (take(7), take(7, frames=4000)):
        card.put(b".Trashes/T07.WAV", content)
        site.work()
        ids += [x.id for x in site.judged().findings if x.code == "litter-holds-audio"]
    assert len(set(ids)) == 2


# -- troubles of what is away


def test_the_drive_of_a_trouble() -> None:
    """An identity may hold blanks; each key names it at another place."""
    root = "uuid:8a 77 b"
    held = copied(recording(1), DRIVES[0])[0]
    assert isinstance(held, f.Proven)
    assert root_of(land_key(7, root)) == root
    assert root_of(publish_key(DAY, 2, root)) == root
    assert root_of(prove_key(held.copy)) == held.copy.root
    assert root_of(rec_key(7)) is None
    assert root_of("load 3") is None


def test_only_what_somebody_can_mend_needs_a_hand() -> None:
    keys = ["rec 1", "land 1 uuid:here", "land 1 uuid:away", f"list {SOME_DAY} uuid:x",
            "list 2031-05-01 uuid:y"]  # fmt: skip
    known = ledger([*good_day(), *(trouble(key) for key in keys)])
    told = {t.key for t in open_troubles(known, SOME_DAY, ["uuid:here"])}
    assert told == {"rec 1", "land 1 uuid:here", f"list {SOME_DAY} uuid:x"}


@pytest.mark.parametrize(
    ("facts", "closing", "drives", "over"),
    [
        ([trouble("rec 1")], (), ("shuttle-1",), True),
        ([trouble("rec 1")], (), ("shuttle-1", "shuttle-3"), False),  # its card is read for it
        ([trouble("rec 1", code="reads-differ")], (), ("shuttle-1",), False),
        ([trouble("rec 1")], (SOME_DAY,), ("shuttle-1",), False),
        ([f.Gone(2), trouble("rec 1")], (), ("shuttle-1",), False),
    ],
)
def test_a_second_read_that_failed_ends_once_the_backup_has_shown_the_bytes(
    facts: list[f.Fact], closing: tuple[str, ...], drives: tuple[str, ...], over: bool
) -> None:
    """Nothing more is owed from that card: its trouble would stand for ever."""
    known = ledger(good_day(), facts)
    made = settings(recheck_cards_at_wrap=True)
    now = situation(targets=tuple(map(target, drives)))
    ended = confirmed_since(known, made, closing, now)
    assert ended == ([f.TroubleOver("rec 1")] if over else [])
