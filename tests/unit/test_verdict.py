"""READY is a word that is never said too early."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from planworld import DAY, copied, good_day, ledger, recording, settings, taken, target
from takehold.decide.check import Around, verdict
from takehold.decide.judge import judge
from takehold.decide.noticed import finding
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity, Verdict

FINDINGS = st.lists(
    st.builds(
        finding,
        st.sampled_from(["a", "b", "c"]),
        st.sampled_from(Severity),
        st.sampled_from(["x", "y"]),
        st.just("It says so."),
    )
).map(tuple)


@given(FINDINGS, st.sets(st.integers(0, 5)))
def test_ready_means_no_hold_and_no_open_look(found: tuple[Finding, ...], acked: set[int]) -> None:
    acks = {x.id: f.Acked(x.id, "seen", 1) for n, x in enumerate(found) if n in acked}
    word, reasons = verdict(found, acks)
    against = [
        x
        for x in found
        if x.severity is Severity.HOLD or (x.severity is Severity.LOOK and x.id not in acks)
    ]
    assert (word is Verdict.READY) == (not against)
    assert len(reasons) == len(against)


def test_a_decision_does_not_lift_a_hold() -> None:
    hold = finding("unconfirmed", Severity.HOLD, "x", "No second read.")
    word, reasons = verdict((hold,), {hold.id: f.Acked(hold.id, "never mind", 1)})
    assert (word, reasons) == (Verdict.HOLD, ("No second read.",))


def test_an_open_look_says_how_to_decide() -> None:
    look = finding("other-audio", Severity.LOOK, "x", "Other audio.")
    assert verdict((look,), {})[1] == (
        f"Other audio. A decision is wanted: takehold ack {look.id}",
    )


def test_the_day_says_ready_with_copies_and_a_counterpart() -> None:
    assert judge(ledger(good_day()), DAY, settings()).verdict is Verdict.READY


def test_one_fact_less_and_the_day_is_on_hold() -> None:
    """Each copy, each read and each file of a good day is needed for its verdict."""
    facts = good_day()
    for left_out in range(2, len(facts)):
        gone = facts[left_out]
        rest = [x for n, x in enumerate(facts) if n != left_out]
        if isinstance(gone, f.Inventoried):
            rest = [x for x in rest if not _about(x, gone.recording.id)]
        assert judge(ledger(rest), DAY, settings()).verdict is Verdict.HOLD, gone


def _about(fact: f.Fact, recording: int) -> bool:
    return isinstance(fact, f.Proven) and fact.copy.recording == recording


def test_a_read_that_was_refuted_is_not_ready_even_with_all_its_copies() -> None:
    """The copies are proven to be what was read, and what was read was wrong (P8)."""
    alone = settings(sources=settings().sources[:1])
    first, second = recording(1), recording(1, audio=b"two")
    wrong = recording(1, readings=first.readings + 2 * second.readings)
    known = ledger(
        good_day()[:1], taken(wrong), copied(wrong, target("shuttle-1"), target("shuttle-2"))
    )
    assert judge(known, DAY, alone).verdict is Verdict.HOLD


def test_a_card_that_left_in_the_middle_of_its_inventory_is_not_ready() -> None:
    """Two files of five are known, copied and confirmed: nobody knows the rest (P7)."""
    known = ledger(good_day(), [f.Listed(1, 1, 5, (), (), untaken=3)])
    assert judge(known, DAY, settings()).verdict is Verdict.HOLD


def test_a_file_that_is_still_written_holds_the_day() -> None:
    known = ledger(good_day())
    assert judge(known, DAY, settings(), Around(unsettled=("x",))).verdict is Verdict.HOLD
