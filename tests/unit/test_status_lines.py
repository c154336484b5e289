"""cli/status and cli/card: what a person reads of cards, of the day, and of what is left to do."""

from __future__ import annotations

from dataclasses import replace

import pytest
from click.testing import CliRunner

from planworld import (
    DAY,
    NOON,
    cards,
    copied,
    good_day,
    ledger,
    load,
    receipt,
    recording,
    revised,
    settings,
    taken,
)
from takehold.cli.card import CLEARED, _last_line, _of_now
from takehold.cli.facts import card_facts
from takehold.cli.live import around_of
from takehold.cli.status import card_words, print_status, status_facts, verdict_line
from takehold.decide.card import CAUTION, card_answer
from takehold.decide.departed import GONE
from takehold.decide.judge import judge
from takehold.model import facts as f
from takehold.model.settings import Role
from takeworld import DRIVES

CARD = {"source": "primary", "label": "SND_A1", "role": "primary", "at": "/media/SND_A1"}


def state(**changes):
    """What a running daemon shows."""
    plain = {"at": 0, "day": DAY, "cards": [], "destinations": [], "absent": [], "work": []}
    return plain | {"unsettled": [], "alarms": []} | changes


def lines_of(facts) -> list[str]:
    with CliRunner().isolation() as (stdout, *_):
        print_status(facts)
        return stdout.getvalue().decode().splitlines()


@pytest.mark.parametrize(
    ("files", "copied", "confirmed", "in_use", "says"),
    [
        (3, 1, 0, True, "3 files; in use, leave it in"),
        (0, 0, 0, False, "no recordings found on it"),
        (3, 1, 0, False, "1 of 3 copied, leave it in"),
        (3, 3, 2, False, "3 files copied, not confirmed yet: put the other card in, or leave it"),
        (1, 1, 1, False, "1 file, all copied and confirmed; it may be pulled"),
    ],
)
def test_a_card_is_told_as_it_is(files, copied, confirmed, in_use, says):
    """Only what is copied and confirmed may be pulled."""
    card = {"files": files, "copied": copied, "confirmed": confirmed, "in_use": in_use}
    words = card_words(CARD | card)
    assert words.startswith(says)
    assert ("pulled" in words) is (not in_use and files == copied == confirmed == 1)


def of(known, **changes):
    seen = state(**changes)
    judged = judge(known, DAY, settings(), around_of(seen))
    return status_facts(known, settings(), seen, judged, [])


def test_ready_is_not_said_to_be_signed_before_it_is():
    """The day is READY by now: no manifest, then one that says HOLD, then one that says READY."""
    unsigned = verdict_line(of(ledger(good_day())))
    assert unsigned == (
        f"{DAY}: READY, not signed yet: no manifest was written. Run: takehold wrap"
    )
    held = of(ledger(good_day(), revised(8, verdict="HOLD")))
    assert verdict_line(held) == (
        f"{DAY}: READY, not signed yet: the manifest r8 says HOLD. Run: takehold wrap"
    )
    assert "signed in r9" in verdict_line(of(ledger(good_day(), revised(9))))


def test_what_holds_the_day_is_counted():
    facts = of(ledger(good_day()[:-1], revised(2)))
    assert facts["verdict"] == "HOLD"
    lines = lines_of(facts)
    assert "Nothing left to do now." in lines
    says = f"{DAY}: HOLD; the manifest r2 says READY still. 1 reason to hold: takehold day"
    assert lines[-1] == says


def test_while_something_runs_nothing_is_said_to_be_done():
    work = {"what": "listing SND_A1", "unit": "files", "done": 1, "total": 2}
    lines = lines_of(of(ledger(good_day()), work=[work]))
    assert "Nothing left to do now." not in lines
    assert "  listing SND_A1: 1 of 2 files" in lines


def test_a_card_that_is_not_in_is_told():
    """One of today was in; the other one was not seen yet."""
    known = ledger(f.LoadSeen(load(2, Role.BACKUP)))
    lines = lines_of(of(known))
    assert "SND_A* (primary): not in yet" in lines
    assert "SND_B* (backup): not in; SND_B1 was in" in lines
    three = enumerate(("SND_B1", "SND_B1", "B2"), 2)
    more = [f.LoadSeen(load(n, Role.BACKUP, label=label)) for n, label in three]
    lines = lines_of(of(ledger(more)))
    assert "SND_B* (backup): not in; SND_B1, B2 were in" in lines


def test_a_card_that_left_too_early_is_wanted_back():
    """Its files are on no drive: of three on the card one was not even looked at."""
    two = taken(recording(1), recording(2, b"T02.WAV"))
    known = ledger(cards(), two, [f.Listed(1, 0, 3, (), (), 1)])
    says = "! SND_A1 is not in, and 3 files of it are on no drive. Put it in again."
    lines = lines_of(of(known))
    assert any(line.startswith(says) for line in lines)
    assert "Nothing left to do now." not in lines
    last_night = [f.Inventoried(replace(recording(1), day="2031-05-05"))]
    assert "and 1 file of it is on no drive" in of(ledger(cards(), last_night))["needs"][0]["says"]
    gone = f.Listed(1, 0, 0, (), (f.Skip(b"T02.WAV", GONE),), 0)
    of_two = of(ledger(cards(), two, copied(recording(1), DRIVES[0]), gone))
    assert of_two["needs"] == []
    vanished = f.Trouble("rec 2", "file-vanished", "It left.", "Look.", 0, 1, 0)
    told = of(ledger(cards(), two, copied(recording(1), DRIVES[0]), vanished))["needs"]
    assert [need["says"] for need in told] == ["It left."]
    again = f.LoadSeen(load(3, seen_at=NOON + 9))
    in_again = [CARD | {"load": 3, "labelled": False, "files": 0, "copied": 0, "in_use": False}]
    assert not of(ledger(cards(), again, two), cards=in_again)["needs"], "it was formatted"
    here = [CARD | {"load": 1, "labelled": False, "files": 3, "copied": 0, "in_use": True}]
    assert not of(known, cards=here)["needs"]
    assert of(ledger(cards(), two[:1], copied(recording(1), DRIVES[0])))["needs"] == []


def test_without_a_daemon_what_only_it_knows_is_null():
    facts = status_facts(ledger(good_day()), settings(), None, None, [])
    for key in ("day", "verdict", "cards", "destinations", "absent", "work", "unsettled"):
        assert facts[key] is None
    assert lines_of(facts) == [
        "takehold is not running: nothing is being copied. Start it: takehold run"
    ]


def test_a_mistake_in_the_config_leaves_the_live_state():
    seen = state(absent=["shuttle-2"])
    facts = status_facts(ledger(good_day()), None, seen, None, [("Bad.", "Do.")])
    assert lines_of(facts) == ["shuttle-2: not in use", "! Bad. Do."]
    assert facts["verdict"] is None


def test_without_a_name_the_cards_of_now_are_answered():
    """Six at least, all that first came on the newest day, and what is in."""
    old = [load(n, day="2031-05-01") for n in range(1, 11)]
    new = [load(n) for n in range(11, 14)]
    assert [x.id for x in _of_now([*old, *new], {3})] == [3, 8, 9, 10, 11, 12, 13]
    many = [load(n) for n in range(11, 31)]
    assert _of_now([*old, *many], set()) == many
    assert _of_now([], {3}) == []


def test_a_card_that_post_confirmed_still_waits_for_the_production():
    """The last line says for whom to wait."""
    manifest = revised()
    known = ledger(good_day(), manifest, receipt(manifest))
    done = [card_facts(card_answer(known, known.loads[1], settings()))]
    assert done[0]["post_has_confirmed"]
    assert _last_line(done) == CLEARED
    waits = ledger(good_day(), manifest)
    mixed = [*done, card_facts(card_answer(waits, waits.loads[1], settings()))]
    assert _last_line(mixed) == CAUTION
    assert _last_line([]) == "No card was seen yet."
