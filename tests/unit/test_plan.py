"""What is due now: each rule at the top of decide/plan.py, and when there is nothing to do."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import (
    DAY,
    NOON,
    cards,
    copied,
    copy,
    ledger,
    load,
    reading,
    recording,
    revised,
    settings,
    sight,
    situation,
    taken,
    target,
    trouble,
    unread,
)
from takehold.decide.plan import (
    BATCH_FILES,
    STOCK_FILES,
    Wanted,
    land_key,
    plan,
    prove_key,
    publish_key,
    rec_key,
    stock_key,
)
from takehold.model import facts as f
from takehold.model.recording import Recording, Stamp
from takehold.model.settings import Role, Settings
from takehold.model.situation import Sight, Situation, Target
from takehold.model.sound import Complaint
from takehold.model.step import CatchUp, Confirm, Prove, Publish, Step, TakeStock, Transfer

ONE = recording(1)
D1, D2 = target("shuttle-1"), target("shuttle-2")
DRIVES = (D1, D2)
NO_BACKUP = settings(sources=settings().sources[:1])


def steps(
    facts: list[f.Fact],
    now: Situation,
    made: Settings | None = None,
    wanted: Wanted | None = None,
) -> tuple[Step, ...]:
    return plan(ledger(facts), now, made or settings(), wanted or Wanted())


def lying(*files: Recording, targets: tuple[Target, ...] = DRIVES, **changes: Any) -> Situation:
    """The primary card with these files, and the drives."""
    return situation(sight(1, *files), targets=targets, **changes)


def new(count: int = 1) -> Sight:
    """The primary card with files that nobody knows."""
    return sight(1, *((b"N%d.WAV" % n, Stamp(1, 1)) for n in range(count)))


# -- 1. the order


def test_nothing_is_due_where_nothing_is() -> None:
    assert steps(cards(), situation()) == ()
    assert steps(cards(), situation(targets=DRIVES)) == ()


def test_unknown_files_are_taken_stock_of() -> None:
    (step,) = steps(cards(), situation(new(3), targets=DRIVES))
    assert isinstance(step, TakeStock)
    assert [x.path for x in step.files] == [b"N0.WAV", b"N1.WAV", b"N2.WAV"]
    assert step.load.id == 1


def test_a_large_card_is_taken_stock_of_in_portions() -> None:
    (step,) = steps(cards(), situation(new(STOCK_FILES + 7)))
    assert isinstance(step, TakeStock)
    assert len(step.files) == STOCK_FILES


def test_stock_comes_before_copies_and_both_before_a_second_read() -> None:
    """The first step of a lane is the one to do."""
    both = sight(1, ONE, (b"NEW.WAV", Stamp(1, 1)))
    facts = [*cards(), *taken(unread(ONE))]
    kinds = [type(s) for s in steps(facts, situation(both, targets=DRIVES), NO_BACKUP)]
    assert kinds == [TakeStock, Transfer]
    read = [*cards(), *taken(ONE), *copied(ONE, *DRIVES)]
    assert [type(s) for s in steps(read, situation(both, targets=DRIVES), NO_BACKUP)] == [TakeStock]
    assert [type(s) for s in steps(read, lying(ONE), NO_BACKUP)] == [Confirm]


def test_a_lacking_copy_comes_before_old_copies_are_read_again() -> None:
    two = recording(2, b"T02.WAV")
    old = f.Proven(copy(ONE, D1, at=1))
    facts = [*cards(), *taken(ONE, two), old, *copied(ONE, D2), *copied(two, D2)]
    (step,) = steps(facts, situation(targets=DRIVES))
    assert isinstance(step, CatchUp)
    (later,) = steps([*facts, *copied(two, D1)], situation(targets=DRIVES))
    assert isinstance(later, Prove)


# -- 2. no recording is in two steps


def test_what_a_running_step_works_on_is_left_alone() -> None:
    facts = [*cards(), *taken(unread(ONE))]
    assert steps(facts, lying(ONE), wanted=Wanted(busy=frozenset({1}))) == ()


def test_a_file_that_changed_while_a_step_works_on_it_waits() -> None:
    """Else its version would be replaced under the step that reads it."""
    facts = [*cards(), *taken(unread(ONE))]
    changed = situation(sight(1, (ONE.path, Stamp(99, 9))), targets=DRIVES)
    assert steps(facts, changed, wanted=Wanted(busy=frozenset({1}))) == ()
    assert [type(s) for s in steps(facts, changed)] == [TakeStock]


def test_a_recording_that_two_drives_lack_is_in_one_of_two_catch_ups() -> None:
    d3 = target("raid")
    facts = [*cards(), *taken(ONE), *copied(ONE, D1)]
    found = steps(facts, situation(targets=(D1, D2, d3)))
    assert [type(s) for s in found] == [CatchUp]


def test_a_second_read_waits_for_its_copies() -> None:
    facts = [*cards(), *taken(unread(ONE))]
    assert not any(isinstance(s, Confirm) for s in steps(facts, lying(ONE), NO_BACKUP))


# -- 3. what failed waits


@pytest.mark.parametrize(
    ("key", "facts", "now"),
    [
        (stock_key(1, b"N0.WAV"), cards(), situation(new(1), targets=DRIVES)),
        (rec_key(1), [*cards(), *taken(unread(ONE))], lying(ONE)),
        (
            land_key(1, "uuid:shuttle-1"),
            [*cards(), *taken(unread(ONE))],
            lying(ONE, targets=(D1,)),
        ),
        (
            land_key(1, "uuid:shuttle-1"),
            [*cards(), *taken(ONE), *copied(ONE, D2)],
            situation(targets=DRIVES),
        ),
        (
            prove_key(copy(ONE, D1)),
            [*cards(), *taken(ONE), f.Proven(copy(ONE, D1, at=1))],
            situation(targets=(D1,)),
        ),
        (
            publish_key(DAY, 1, "uuid:shuttle-1"),
            [*cards(), *taken(ONE), *copied(ONE, D1), revised()],
            situation(targets=(D1,)),
        ),
    ],
    ids=["stock", "read", "land", "catch up", "prove", "publish"],
)
def test_work_that_failed_waits_for_its_time(key: str, facts: list[f.Fact], now: Situation) -> None:
    assert steps(facts, now) != ()
    assert steps([*facts, trouble(key)], now) == ()
    assert steps([*facts, trouble(key)], replace(now, now=NOON + 60)) != ()
    assert steps([*facts, trouble(key), f.TroubleOver(key)], now) != ()


def test_a_confirming_read_that_failed_waits_too() -> None:
    facts = [*cards(), *taken(ONE), *copied(ONE, *DRIVES)]
    assert steps([*facts, trouble(rec_key(1))], lying(ONE), NO_BACKUP) == ()


def test_trouble_of_one_destination_keeps_no_other_waiting() -> None:
    facts = [*cards(), *taken(unread(ONE)), trouble(land_key(1, "uuid:shuttle-1"))]
    (step,) = steps(facts, lying(ONE))
    assert isinstance(step, Transfer)
    assert [t.name for t in step.owed[0].targets] == ["shuttle-2"]


# -- 4. one read of the card


def test_a_card_is_read_once_for_all_destinations() -> None:
    (step,) = steps([*cards(), *taken(unread(ONE))], lying(ONE))
    assert isinstance(step, Transfer)
    assert [t.name for t in step.owed[0].targets] == ["shuttle-1", "shuttle-2"]


def test_what_lacks_a_copy_later_gets_it_from_a_proven_one() -> None:
    """Also while the card lies there: it is not read again for that."""
    facts = [*cards(), *taken(ONE), *copied(ONE, D1)]
    (step,) = steps(facts, lying(ONE))
    assert isinstance(step, CatchUp)
    assert step.target == D2
    assert step.pairs == ((ONE, copy(ONE, D1), D1),)


def test_without_a_proven_copy_at_hand_the_card_is_read_again() -> None:
    facts = [*cards(), *taken(ONE), *copied(ONE, target("at home"))]
    (step,) = steps(facts, lying(ONE))
    assert isinstance(step, Transfer)
    assert steps(facts, situation(targets=DRIVES)) == ()


def test_a_copy_that_cannot_be_read_is_no_source_while_there_is_another() -> None:
    """Neither bad sectors on one drive nor a card that is away stop the others (P6)."""
    d3, bad = target("raid"), trouble(prove_key(copy(ONE, D1)), retry_at=NOON + 60)
    facts = [*cards(), *taken(ONE), *copied(ONE, D1, D2), bad]
    (catch_up,) = steps(facts, situation(targets=(D1, D2, d3)))
    assert isinstance(catch_up, CatchUp)
    assert catch_up.pairs == ((ONE, copy(ONE, D2), D2),)


def test_a_copy_that_could_not_be_read_is_tried_until_it_can() -> None:
    bad = trouble(prove_key(copy(ONE, D1)), retry_at=NOON + 60)
    facts = [*cards(), *taken(ONE), *copied(ONE, D1, D2), bad]
    assert steps(facts, situation(targets=DRIVES)) == ()
    (again,) = steps(facts, situation(targets=DRIVES, now=NOON + 60))
    assert isinstance(again, Prove)
    assert again.pairs == ((ONE, copy(ONE, D1)),)


def test_while_the_only_copy_cannot_be_read_the_card_serves() -> None:
    bad = trouble(prove_key(copy(ONE, D1)))
    facts = [*cards(), *taken(ONE), *copied(ONE, D1), bad]
    for moment in (NOON, NOON + 60):
        (step,) = steps(facts, lying(ONE, now=moment))
        assert isinstance(step, Transfer)
        assert [t.name for t in step.owed[0].targets] == ["shuttle-2"]
    assert steps(facts, situation(targets=DRIVES)) == ()
    (again,) = steps(facts, situation(targets=DRIVES, now=NOON + 60))
    assert isinstance(again, Prove)


# -- what is left alone


def test_a_destination_that_has_it_or_is_full_gets_nothing() -> None:
    facts = [*cards(), *taken(unread(ONE))]
    full = target("shuttle-2", free=500 * 10**6 + 3)
    (step,) = steps(facts, lying(ONE, targets=(D1, full)))
    assert isinstance(step, Transfer)
    assert [t.name for t in step.owed[0].targets] == ["shuttle-1"]
    done = [*cards(), *taken(ONE), *copied(ONE, *DRIVES)]
    assert steps(done, lying(ONE)) == ()


def test_a_file_in_a_watch_folder_is_left_until_it_stands_still() -> None:
    def seen(still_s: int) -> Situation:
        files = ((b"N.WAV", Stamp(1, 1)),)
        return situation(sight(1, *files, watched=True, still_s=still_s), targets=DRIVES)

    assert steps(cards(), seen(19)) == ()
    assert len(steps(cards(), seen(20))) == 1


def test_a_card_in_a_reader_needs_no_waiting() -> None:
    assert len(steps(cards(), situation(sight(1, (b"N.WAV", Stamp(1, 1)), still_s=0)))) == 1


def test_a_changed_file_is_taken_stock_of_anew() -> None:
    facts = [*cards(), *taken(ONE), *copied(ONE, *DRIVES)]
    now = situation(sight(1, (ONE.path, ONE.stamp._replace(mtime_ns=5))), targets=DRIVES)
    assert [type(s) for s in steps(facts, now)] == [TakeStock]


def test_a_refuted_read_is_taken_in_anew_and_its_copies_go_nowhere_else() -> None:
    wrong = replace(ONE, readings=(reading(b"A"), reading(b"B"), reading(b"B")))
    facts = [*cards(), *taken(wrong), *copied(wrong, D1)]
    assert [type(s) for s in steps(facts, lying(wrong))] == [TakeStock]
    assert steps(facts, situation(targets=DRIVES)) == ()


def test_a_file_whose_header_could_not_be_read_is_described_again_first() -> None:
    odd = replace(ONE.description, complaints=(Complaint("not-described", ""),))
    facts = [*cards(), *taken(replace(unread(ONE), description=odd))]
    assert [type(s) for s in steps(facts, lying(ONE))] == [TakeStock]


def test_another_productions_copies_are_not_caught_up_nor_its_manifests_published() -> None:
    other = replace(ONE, place=b"Another/2031-05-06/SND_A1/T01.WAV")
    facts = [*cards(), *taken(other), *copied(other, D1), revised()]
    assert steps(facts, situation(targets=DRIVES)) == ()


# -- batches, rechecks, manifests


def test_a_batch_is_bounded_by_files_and_bytes() -> None:
    many = [recording(n, b"%d" % n, read=False) for n in range(1, BATCH_FILES + 9)]
    (step,) = steps([*cards(), *taken(*many)], lying(*many))
    assert isinstance(step, Transfer)
    assert len(step.owed) == BATCH_FILES
    large = [replace(r, stamp=Stamp(15 * 10**8, 1)) for r in many[:3]]
    (step,) = steps([*cards(), *taken(*large)], lying(*large))
    assert isinstance(step, Transfer)
    assert len(step.owed) == 1


@pytest.mark.parametrize("about", ["", "shuttle-1", "raid"])
def test_a_recheck_that_was_asked_for_reads_the_copies_from_before(about: str) -> None:
    two = recording(2, b"T02.WAV")
    facts = [*cards(), *taken(ONE, two), *copied(ONE, *DRIVES), *copied(two, *DRIVES)]
    asked = f.Asked(1, "recheck", about, NOON + 100)
    later = situation(targets=DRIVES, now=NOON + 200)
    found = steps(facts, later, wanted=Wanted(rechecks=(asked,)))
    assert all(isinstance(s, Prove) for s in found)
    # Each recording is in one step: the second drive has its turn after the first.
    assert [s.target.name for s in found] == (["shuttle-1"] if about != "raid" else [])
    before = asked._replace(at=NOON)
    assert steps(facts, later, wanted=Wanted(rechecks=(before,))) == ()


def test_a_proof_that_is_dated_ahead_is_older_than_any_recheck() -> None:
    """It was made before the clock was set back."""
    facts = [*cards(), *taken(ONE), *copied(ONE, D1)]
    asked = Wanted(rechecks=(f.Asked(1, "recheck", "", NOON - 9),))
    assert [type(s) for s in steps(facts, situation(targets=(D1,)), wanted=asked)] == [Prove]


def test_the_oldest_proof_is_read_again_first() -> None:
    files = [recording(n, b"%d" % n) for n in (1, 2, 3)]
    proofs = [f.Proven(copy(r, D1, at=at)) for r, at in zip(files, (30, 10, 20), strict=True)]
    (step,) = steps([*cards(), *taken(*files), *proofs], situation(targets=(D1,)))
    assert isinstance(step, Prove)
    assert [r.id for r, _ in step.pairs] == [2, 3, 1]


def test_each_revision_is_published_once_where_the_day_has_copies() -> None:
    facts = [*cards(), *taken(ONE), *copied(ONE, D1), revised(1), revised(2)]
    found = steps(facts, situation(targets=(D1,)))
    assert found == (Publish(D1, DAY, 1), Publish(D1, DAY, 2))
    done = f.Published(DAY, 1, "shuttle-1", "uuid:shuttle-1", NOON)
    assert steps([*facts, done], situation(targets=(D1,))) == (Publish(D1, DAY, 2),)
    empty = [*cards(), *taken(ONE), revised(1)]
    assert steps(empty, situation(targets=(D1,))) == ()


def test_a_transmitters_card_is_copied_like_the_others() -> None:
    facts = [f.LoadSeen(load(3, Role.BODYPACK)), *taken(recording(5, of=3, read=False))]
    now = situation(sight(3, recording(5, of=3)), targets=DRIVES)
    assert [type(s) for s in steps(facts, now)] == [Transfer]


def test_a_lane_at_work_claims_no_recording() -> None:
    """What one drive's busy lane would do next does not keep it from another drive."""
    third = target("shuttle-3")
    facts = [*cards(), *taken(ONE), *copied(ONE, D1)]
    there = situation(targets=(D1, D2, third))
    assert [s.target for s in steps(facts, there) if isinstance(s, CatchUp)] == [D2]
    busy = Wanted(lanes=frozenset({f"drive {D2.root.volume.device}"}))
    found = [s for s in steps(facts, there, wanted=busy) if isinstance(s, CatchUp)]
    assert [s.target for s in found] == [D2, third]


def test_a_batch_leaves_the_reserve_free() -> None:
    """Each file would fit alone; together they would leave no room for a manifest."""
    made = settings(reserve_megabytes=1)
    size = ONE.stamp.size
    small = target("shuttle-1", free=10**6 + size + size // 2)
    two = recording(2, b"T02.WAV")
    facts = [*cards(), *taken(unread(ONE), unread(two))]
    (step,) = steps(facts, lying(ONE, two, targets=(small,)), made)
    assert isinstance(step, Transfer)
    assert [o.recording.id for o in step.owed] == [1]
