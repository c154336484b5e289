"""May this card be handed over, may it be cleared: advice that is never given too early."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import pytest

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
    target,
)
from takehold.decide.card import CAUTION, CardAnswer, card_answer
from takehold.model import facts as f
from takehold.model.finding import Verdict

R1 = revised(1)
DRIVES = (target("shuttle-1"), target("shuttle-2"))


def answer(*facts: Any, of: int = 1) -> CardAnswer:
    known = ledger(good_day(), *facts)
    return card_answer(known, known.loads[of], settings())


def test_a_confirmed_card_may_be_handed_over_and_nothing_stands_against_clearing() -> None:
    found = answer([R1, receipt(R1)])
    assert found.verdict is Verdict.READY
    assert (found.against_hand_over, found.against_clearing) == ((), ())
    assert found.days == (DAY,)
    assert "Keep the card" in CAUTION


def test_without_a_manifest_it_is_on_hold() -> None:
    found = answer()
    assert found.verdict is Verdict.HOLD
    assert f"takehold wrap {DAY}" in found.against_hand_over[0]


def test_a_manifest_allows_the_hand_over_and_not_the_clearing() -> None:
    found = answer([R1])
    assert found.verdict is Verdict.READY
    assert found.against_clearing == (f"{DAY}: no receipt for {R1.name} has come back.",)


def test_a_card_that_was_emptied_is_not_offered() -> None:
    """What was on it is proven elsewhere; whoever takes the card has nothing."""
    known = [R1, receipt(R1)]
    (reason,) = answer([*known, f.Listed(1, NOON, 0, (), ())]).against_hand_over
    assert "emptied" in reason
    assert answer([*known, f.Listed(1, NOON, 1, (), ())]).against_hand_over == ()


@pytest.mark.parametrize(
    "change",
    [
        {"signer": ""},
        {"confirmed": False},
        {"altered": ("SND_A1/T01.WAV",)},
        {"missing": ("SND_A1/T01.WAV",)},
        {"manifest_sha256": "0" * 64},
        {"intact": 1},
    ],
    ids=lambda change: next(iter(change)),
)
def test_no_other_receipt_speaks_for_clearing(change: dict[str, Any]) -> None:
    """It must be signed, vouched for, complete, and about this very manifest."""
    found = answer([R1, receipt(R1, **change)])
    assert found.verdict is Verdict.READY
    assert len(found.against_clearing) == 1


def test_a_receipt_for_an_older_revision_counts_no_more() -> None:
    found = answer([R1, receipt(R1), revised(2)])
    assert found.against_clearing == (f"{DAY}: no receipt for {revised(2).name} has come back.",)
    assert answer([R1, receipt(R1), revised(2), receipt(revised(2))]).against_clearing == ()


def test_the_last_word_of_who_is_known_counts() -> None:
    """A later check may mend an earlier one, or refute it; nobody unknown hides a bad answer."""
    first, then = NOON + 4000, NOON + 5000
    for good_at, bad_at, clear in ((then, first, True), (first, then, False)):
        pair = [receipt(R1, missing=("x",), at=bad_at), receipt(R1, at=good_at)]
        for order in itertools.permutations(pair):
            assert (answer([R1, *order]).against_clearing == ()) is clear
    unknown = receipt(R1, signer="", confirmed=False, at=then)
    bad = receipt(R1, missing=("x",), at=first)
    assert "altered or missing" in answer([R1, bad, unknown]).against_clearing[0]


def test_a_file_that_came_after_the_manifest_is_in_no_receipt() -> None:
    """The card came back with another take: copied, confirmed, and in no manifest yet."""
    late = [recording(n, b"T02.WAV", of=n - 2, audio=b"late") for n in (3, 4)]
    facts = [*taken(*late), *(x for r in late for x in copied(r, *DRIVES))]
    assert answer([R1, receipt(R1)], facts).against_clearing != ()
    r2 = revised(2, at=NOON + 7200)
    assert answer([R1, receipt(R1)], facts, [r2, receipt(r2, intact=4)]).against_clearing == ()


def test_a_read_younger_than_the_manifest_is_not_covered_by_a_high_count() -> None:
    """An older version may make up the number; the time tells."""
    early = R1._replace(at=NOON - 1)
    assert answer([early, receipt(early, intact=99)]).against_clearing != ()


def test_a_manifest_that_says_another_word_than_the_day_is_renewed_first() -> None:
    held = R1._replace(verdict="HOLD")
    found = answer([held, receipt(held)])
    assert any("says HOLD" in reason for reason in found.against_hand_over)
    assert found.verdict is Verdict.HOLD


def test_what_stands_against_handing_over_stands_against_clearing() -> None:
    lost = f.Broken(1, "shuttle-1", "uuid:shuttle-1", recording(1).place, "missing", NOON)
    found = answer([R1, receipt(R1), lost])
    assert found.verdict is Verdict.HOLD
    assert set(found.against_hand_over) <= set(found.against_clearing)


def test_an_open_look_holds_the_card_and_a_decision_frees_it() -> None:
    link = f.Listed(1, NOON, 1, (), (f.Skip(b"link", "a symbolic link"),))
    found = answer([R1, receipt(R1), link])
    assert found.verdict is Verdict.HOLD


def test_a_file_of_another_card_is_not_this_cards_matter() -> None:
    pack = replace(load(3), id=3, identity="uuid:P", folder=b"P", label="P")
    extra = recording(9, b"P1.WAV", of=3, audio=b"pack", read=False)
    known = [f.LoadSeen(pack), *taken(extra)]
    held = R1._replace(verdict="HOLD")
    mine = answer([held, receipt(held)], known)
    assert not any("P1.WAV" in reason for reason in mine.against_hand_over)
    assert any("P1.WAV" in r for r in answer([held], known, of=3).against_hand_over)


def test_all_days_of_a_card_must_be_confirmed() -> None:
    other_day = "2031-05-05"
    early = [
        recording(n, b"E.WAV", of=n - 4, audio=b"early", day=other_day,
                  place=b"Lantern Bay/2031-05-05/C%d/E.WAV" % n)
        for n in (5, 6)
    ]  # fmt: skip
    facts = [*taken(*early), *(x for r in early for x in copied(r, *DRIVES))]
    found = answer([R1, receipt(R1)], facts)
    assert found.days == (other_day, DAY)
    assert all(reason.startswith(other_day) for reason in found.against_clearing)
    assert found.against_clearing != ()


def test_a_card_with_files_of_another_production_is_held() -> None:
    other = recording(9, b"X.WAV", place=b"Another/2031-05-06/SND_A1/X.WAV")
    found = answer([R1, receipt(R1)], taken(other))
    assert any("another production" in reason for reason in found.against_hand_over)


def test_a_card_of_which_nothing_is_known_is_held() -> None:
    known = ledger(cards())
    found = card_answer(known, known.loads[1], settings())
    assert "No file of this card was inventoried." in found.against_hand_over


RECEIPTS = [
    receipt(
        R1, signer=signer, confirmed=vouched, missing=missing, intact=intact, manifest_sha256=sha
    )
    for signer in ("", "SHA256:KEY")
    for vouched in (False, True)
    for missing in ((), ("x",))
    for intact in (0, 2)
    for sha in (R1.sha256, "0" * 64)
]


@pytest.mark.parametrize("pair", list(itertools.combinations(RECEIPTS, 2)))
def test_clearing_is_never_advised_without_a_complete_signed_receipt(
    pair: tuple[f.Receipt, ...],
) -> None:
    """Two half receipts do not make a whole one."""
    good = [r for r in pair if r.signer and r.confirmed and r.complete and r.intact == 2]
    good = [r for r in good if r.manifest_sha256 == R1.sha256]
    assert (answer([R1, *pair]).against_clearing == ()) is bool(good)
