"""Reads that differ of a file that is on no card any more: a person's way out.

Which read is right was never shown (P8). The day is READY only by a decision, and says so.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fakedisk import FakeVolume
from fakeworld import CARDS, DAY, Site, take
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.decide.alarms import open_troubles
from takehold.decide.lost_card import AWAY_S
from takehold.decide.manifest_names import names_of
from takehold.decide.reads import UNSETTLED
from takehold.engine.requests import ack_text
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings

NAME = b"DAY/T01.WAV"
HOLD, LOOK = Severity.HOLD, Severity.LOOK
HOUR = 3600


def misread(reads: int = 2) -> tuple[Site, FakeVolume]:
    """A card that gave other bytes at each read, and waits for the next one."""
    site = Site(sources=CARDS[:1])
    site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    card = site.card("SND_A1", {NAME: take(1)})
    site.work(lambda: len(site.told(f.WasRead)) == 1)
    for number in range(1, reads):
        card.flip[NAME] = 500 + number
        site.work()
        site.later() if number > 1 else None
    assert len(site.recording(NAME).readings) == reads
    return site, card


def the_one(site: Site) -> Finding:
    [found] = [x for x in site.judged().findings if x.code == "reads-differ"]
    return found


def decide(site: Site, finding: str) -> None:
    site.catalogue.ask("ack", ack_text(finding, "Listened to it, it is whole."), site.clock.now())
    site.work()


def deleted(site: Site, card: FakeVolume) -> None:
    """In the recorder, of the card that is in."""
    card.remove(NAME)
    site.work()


def lost(site: Site, card: FakeVolume) -> None:
    """The card does not come back."""
    card.yank()
    site.work()
    site.later(AWAY_S + HOUR)


def formatted(site: Site, card: FakeVolume) -> None:
    """It comes back empty, as another volume of its label."""
    card.yank()
    site.work()
    del site.disk.volumes[card.root.path]
    fresh = site.card("SND_A1", {b"T09.WAV": take(9, day="2031-03-13")})
    about = replace(fresh.root.volume, identity="uuid:formatted", mount_id="mount of another")
    fresh.root = replace(fresh.root, volume=about, identity="uuid:formatted")
    site.work()
    site.later(AWAY_S + HOUR)


WAYS = {"deleted": deleted, "lost": lost, "formatted": formatted}


@pytest.mark.parametrize("went", WAYS.values(), ids=WAYS)
def test_a_person_decides_on_reads_that_nothing_can_settle(
    went: Callable[[Site, FakeVolume], None],
) -> None:
    """A hold while a read can come; then a look, and READY names what was not confirmed."""
    site, card = misread()
    assert the_one(site).severity is HOLD
    went(site, card)
    found = the_one(site)
    assert (found.severity, site.judged().verdict) == (LOOK, Verdict.HOLD)
    assert "on its card no more" in found.says
    decide(site, found.id)
    site.wrap()
    judged = site.judged()
    assert judged.verdict is Verdict.READY
    assert any(found.says in r and "a person decided" in r for r in judged.reasons)
    assert not next(s for s in judged.view.files if s.recording.path == NAME).confirmed


def test_the_manifest_names_what_was_decided_on() -> None:
    """Verdict, reason, note and both checksums stand in the signed text."""
    site, card = misread()
    lost(site, card)
    decide(site, the_one(site).id)
    site.wrap()
    newest = site.engine.ledger.newest(DAY)
    assert newest is not None
    told: Any = json.loads(site.archive.read(DAY, names_of(DAY, newest.number)["manifest"]))
    assert told["verdict"] == "READY"
    [reason] = told["reasons"]
    assert "Not confirmed" in reason
    [said] = [x for x in told["findings"] if x["code"] == "reads-differ"]
    assert said["decision"]["note"] == "Listened to it, it is whole."
    [file] = [x for x in told["files"] if x["path"] == NAME.decode()]
    assert len({read["sha256"] for read in file["reads"]}) == 2


def test_a_decision_covers_no_further_read() -> None:
    """The card comes back, gives other bytes again, and is lost again: asked anew."""
    site, card = misread()
    lost(site, card)
    first = the_one(site)
    decide(site, first.id)
    site.wrap()
    card.flip[NAME] = 900
    site.remount(card)
    site.work()
    assert (the_one(site).severity, site.judged().verdict) == (HOLD, Verdict.HOLD)
    assert len(site.recording(NAME).readings) == 3
    lost(site, card)
    assert the_one(site).severity is LOOK
    assert the_one(site).id != first.id
    assert site.judged().verdict is Verdict.HOLD


def test_a_card_that_comes_back_holds_its_day_again_and_is_read() -> None:
    """Decided or not: two reads that agree are better than a decision."""
    site, card = misread()
    lost(site, card)
    decide(site, the_one(site).id)
    card.flip.clear()
    site.remount(card)
    site.engine.turn()
    assert site.judged().verdict is Verdict.HOLD
    site.work()
    site.later()
    site.wrap()
    judged = site.judged()
    assert (judged.verdict, judged.reasons) == (Verdict.READY, ())
    assert "reads-differ" not in site.codes()


def test_a_card_that_is_away_for_an_evening_is_waited_for() -> None:
    """However long it sat in before it was pulled."""
    site, card = misread(reads=5)
    for _ in range(3):
        site.later(AWAY_S)
    card.yank()
    site.later(HOUR)
    assert the_one(site).severity is HOLD
    site.later(AWAY_S)
    assert the_one(site).severity is LOOK


def test_absence_from_a_listing_that_broke_off_decides_nothing() -> None:
    site, card = misread()
    card.complete = False
    card.remove(NAME)
    site.work()
    assert the_one(site).severity is HOLD


def test_a_new_program_knows_it_without_its_trouble() -> None:
    """A catalogue that was rebuilt holds the reads, and no trouble."""
    site, card = misread()
    card.yank()
    rid = site.recording(NAME).id
    site.catalogue.record([f.TroubleOver(f"rec {rid}")])
    site.start()
    site.later(AWAY_S + HOUR)
    assert the_one(site).severity is LOOK


def test_a_card_that_is_put_in_again_is_read_once_more() -> None:
    """Of five reads none had the most; another reader's may decide, and is one read, not five."""
    site, card = misread(reads=5)
    card.flip[NAME] = 600
    site.later()
    assert len(site.recording(NAME).readings) == 5
    for reads in (6, 7):
        card.yank()
        site.work()
        site.remount(card)
        site.work()
        site.later()
        assert len(site.recording(NAME).readings) == reads
        card.flip.clear()
    assert "reads-differ" not in site.codes()


@pytest.mark.parametrize("away", [False, True])
def test_one_odd_read_after_two_that_agree_leaves_no_trouble(away: bool) -> None:
    """It is read once more while the card is there, and no longer said once it is lost."""
    site = Site(sources=CARDS[:1], recheck_cards_at_wrap=True)
    site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    card = site.card("SND_A1", {NAME: take(1)})
    site.work()
    site.clock.advance(60)
    card.flip[NAME] = 700
    site.wrap()
    card.flip.clear()
    assert len(site.recording(NAME).readings) == 3
    assert site.engine.ledger.troubles
    if away:
        lost(site, card)
    else:
        site.later()
        assert len(site.recording(NAME).readings) == 4
    assert site.engine.ledger.troubles == {}


def test_it_needs_a_hand_until_it_is_decided_on() -> None:
    site, card = misread()
    lost(site, card)
    [known] = open_troubles(site.engine.ledger, DAY, [])
    assert known.code == UNSETTLED
    decide(site, the_one(site).id)
    assert open_troubles(site.engine.ledger, DAY, []) == []


def test_a_config_that_makes_it_graver_leaves_no_way_out() -> None:
    """Whoever asks for that gets it: no decision makes such a day READY."""
    site, card = misread()
    lost(site, card)
    strict: Settings = replace(site.settings, severities=(("reads-differ", HOLD),))
    site.settings = strict
    assert the_one(site).severity is HOLD


def test_a_day_alone_knows_what_was_decided_on_another_day(tmp_path: Path) -> None:
    """`takehold status` reads today's part of the catalogue: yesterday's decision stands."""
    site, card = misread()
    lost(site, card)
    decide(site, the_one(site).id)
    site.wrap()
    site.clock.advance(24 * HOUR)
    site.work()
    catalogue = SqliteCatalogue.open(str(tmp_path / "catalogue.db"))
    catalogue.record(list(site.catalogue.facts()))
    alone = Ledger.of(catalogue.facts(site.engine.today()))
    catalogue.close()
    assert open_troubles(alone, site.engine.today(), []) == []
