"""Which samples are compared, when, and from which drive (decide/comparing.py)."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import (
    NOON,
    copied,
    copy,
    ledger,
    settings,
    sight,
    situation,
    taken,
    target,
    trouble,
    unread,
)
from planworld import cards as loads
from takehold.decide import standing
from takehold.decide.comparing import BATCH_BYTES, NEW_S, open_pairs
from takehold.decide.keys import compare_key, prove_key
from takehold.decide.match import Matched, match
from takehold.decide.plan import Wanted, plan
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Reading, Stamp
from takehold.model.situation import Situation
from takehold.model.step import (
    CatchUp,
    Compare,
    Confirm,
    Prove,
    Step,
    Transfer,
    lane,
    recordings_of,
)
from twocards import Cards

D1, D2 = target("shuttle-1"), target("shuttle-2")
LINE = tuple(range(1, 2000, 37))


def day(*words: str) -> Cards:
    """Takes of which the backup has 16 bits."""
    made = Cards()
    for word in words or ("A",):
        lines = [tuple(sample + ord(word) for sample in LINE)]
        made.add(1, f"{word}.WAV", lines)
        made.add(2, f"{word}.WAV", lines, bits=16)
    twice = {n: replace(r, readings=r.readings * 2) for n, r in made.files.items()}
    made.files.update(twice)
    return made


def known(made: Cards, *on: Any, more: Any = ()) -> Ledger:
    files = made.files.values()
    stand = on or (D1, D2)
    return ledger(loads(), taken(*files), [x for r in files for x in copied(r, *stand)], more)


def steps(of: Ledger, now: Situation, **wanted: Any) -> tuple[Step, ...]:
    return plan(of, now, settings(), Wanted(**wanted))


def pairs(found: tuple[Step, ...]) -> list[tuple[str, list[str]]]:
    """The drives and files of what is compared."""
    return [
        (step.target.name, [r.path.decode() for r, _ in (*step.ours, *step.theirs)])
        for step in found
        if isinstance(step, Compare)
    ]


def test_a_pair_is_compared_on_the_first_drive_that_holds_both() -> None:
    made = day()
    assert pairs(steps(known(made), situation(targets=(D1, D2)))) == [
        ("shuttle-1", ["A.WAV", "A.WAV"])
    ]
    assert pairs(steps(known(made, D2), situation(targets=(D2,)))) == [
        ("shuttle-2", ["A.WAV", "A.WAV"])
    ]


def large(made: Cards) -> Cards:
    """The same files, each too large to be compared behind another one."""
    made.files |= {n: replace(r, stamp=Stamp(BATCH_BYTES, 1)) for n, r in made.files.items()}
    return made


def test_each_drive_compares_one_large_pair_at_a_time_and_no_two_the_same() -> None:
    found = pairs(steps(known(large(day("A", "B", "C"))), situation(targets=(D1, D2))))
    assert found == [("shuttle-1", ["A.WAV"] * 2), ("shuttle-2", ["B.WAV"] * 2)]


def test_small_pairs_are_compared_in_one_go() -> None:
    """None in two steps; on the first drive, as far as a batch goes."""
    (found,) = (
        s
        for s in steps(known(day("A", "B", "C")), situation(targets=(D1, D2)))
        if isinstance(s, Compare)
    )
    files = [[r.path.decode() for r, _ in (*s.ours, *s.theirs)] for s in (found, *found.then)]
    assert files == [["A.WAV"] * 2, ["B.WAV"] * 2, ["C.WAV"] * 2]
    assert len(recordings_of(found)) == 6


def test_a_comparison_costs_no_match_of_the_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of many that are asked for, one after the other: the day is matched at both ends only."""
    counted: list[int] = []

    def counting(*told: Any) -> Matched:
        counted.append(1)
        return match(*told)

    monkeypatch.setattr(standing, "match", counting)
    made = large(day(*(chr(65 + n) for n in range(26))))
    of, turns = known(made), 0
    while found := [
        s for s in steps(of, situation(targets=(D1,)), pending=True) if isinstance(s, Compare)
    ]:
        turns += 1
        sides = (tuple(r.id for r, _ in side) for side in (found[0].ours, found[0].theirs))
        of.apply([f.Compared(Comparison(*sides, Relation.REDUCED, NOON, residual_db=-90))])
    assert (turns, len(of.comparisons)) == (26, 26)
    assert len(counted) == 2


def test_what_is_asked_for_follows_the_files() -> None:
    """While comparisons go on, another pair of files comes."""
    made, more = large(day("A", "B")), large(day("A", "B", "C"))
    of = known(made)
    assert pairs(steps(of, situation(targets=(D1,))))[0][1] == ["A.WAV"] * 2
    later = [r for r in more.files.values() if r.path == b"C.WAV"]
    of.apply([*taken(*later), *(x for r in later for x in copied(r, D1))])
    asked = set(open_pairs(of, settings(), {}, NOON))
    assert len(asked) == 3


def test_what_is_being_compared_is_in_no_other_step() -> None:
    of = known(large(day("A", "B")))
    (first, _) = (s for s in steps(of, situation(targets=(D1, D2))) if isinstance(s, Compare))
    busy = frozenset(recordings_of(first))
    assert len(busy) == 2
    lanes = frozenset({lane(first)})
    found = pairs(steps(of, situation(targets=(D1, D2)), busy=busy, lanes=lanes))
    assert {files[0] for _, files in found} == {"B.WAV"}


def test_with_no_drive_that_holds_both_sides_nothing_is_planned() -> None:
    made = day()
    mine, its = made.card(1)[0], made.card(2)[0]
    apart = ledger(loads(), taken(mine, its), copied(mine, D1), copied(its, D2))
    full = (replace(D1, free_bytes=0), replace(D2, free_bytes=0))
    assert pairs(steps(apart, situation(targets=full))) == []
    assert steps(known(made), situation()) == ()


def test_a_copy_that_cannot_be_read_is_not_compared() -> None:
    made = day()
    bad = trouble(prove_key(copy(made.card(1)[0], D1)))
    found = pairs(steps(known(made, more=[bad]), situation(targets=(D1, D2))))
    assert [drive for drive, _ in found] == ["shuttle-2"]


def test_a_comparison_that_failed_waits_for_its_time() -> None:
    made = day()
    sides = tuple((r.id,) for r in made.card(1)), tuple((r.id,) for r in made.card(2))
    failed = trouble(compare_key(sides[0][0], sides[1][0]))
    of = known(made, more=[failed])
    assert pairs(steps(of, situation(targets=(D1,)))) == []
    assert len(pairs(steps(of, situation(targets=(D1,), now=NOON + 60)))) == 1


def test_what_was_compared_is_not_compared_again() -> None:
    made = day()
    (mine,), (its,) = made.card(1), made.card(2)
    done = f.Compared(Comparison((mine.id,), (its.id,), Relation.REDUCED, NOON, residual_db=-90))
    assert steps(known(made, more=[done]), situation(targets=(D1, D2))) == ()


def test_copies_and_second_reads_come_first() -> None:
    """While a card is read, or is to be, nothing is compared."""
    made = day()
    mine = made.card(1)[0]
    other = made.add(1, "NEW.WAV", [LINE])
    new = unread(made.files.pop(other))
    waiting = known(made, more=taken(new))
    found = steps(waiting, situation(sight(1, mine, new), targets=(D1, D2)))
    assert any(isinstance(step, Transfer) for step in found)
    assert pairs(found) == []
    once = replace(mine, readings=mine.readings[:1])
    made.files[mine.id] = once
    found = steps(known(made), situation(sight(1, once), targets=(D1, D2)))
    assert any(isinstance(step, Confirm) for step in found)
    assert pairs(found) == []
    busy = steps(known(day()), situation(targets=(D1,)), lanes=frozenset({"card mount x"}))
    assert pairs(busy) == []


def test_a_drive_that_lacks_files_gets_them_first() -> None:
    made = day()
    found = steps(known(made, D1), situation(targets=(D1, D2)))
    assert [type(step) for step in found] == [CatchUp]


def test_samples_are_compared_before_old_proofs_are_made_new() -> None:
    made = day("A")
    later = made.add(1, "OLD.WAV", [LINE])
    old = made.files.pop(later)
    of = known(made, more=[*taken(old), f.Proven(copy(old, D1, at=NOON - 10**8))])
    found = [s for s in steps(of, situation(targets=(D1,))) if lane(s) == "drive shuttle-1"]
    assert [type(step) for step in found] == [Compare, Prove]


@pytest.mark.parametrize(("closing", "count"), [({}, 0), ({"2031-05-06": NOON}, 1)])
def test_an_old_day_is_compared_when_it_is_closed(closing: dict, count: int) -> None:
    now = NOON + NEW_S + 60
    fresh = [f.Proven(copy(r, D1, at=now)) for r in day().files.values()]
    of = known(day(), more=fresh)
    found = steps(of, situation(targets=(D1,), now=now), closing=closing)
    assert len(pairs(found)) == count


def test_whole_takes_are_compared_with_all_their_files() -> None:
    made = Cards()
    said = {"scene": "1", "take": "2"}
    made.add(1, "T_1.WAV", [LINE[:20]], 0, **said)
    made.add(1, "T_2.WAV", [LINE[20:]], 20, **said)
    made.add(2, "T.WAV", [LINE], 0, **said)
    made.files.update({n: twice(r) for n, r in made.files.items()})
    assert pairs(steps(known(made), situation(targets=(D1,)))) == [
        ("shuttle-1", ["T_1.WAV", "T_2.WAV", "T.WAV"])
    ]


def twice(recorded: Any) -> Any:
    """The same, read twice."""
    reads: tuple[Reading, ...] = recorded.readings * 2
    return replace(recorded, readings=reads)


def test_a_split_backup_of_the_day_before_is_compared() -> None:
    """Its first part is the beginning of the take: so its take is held against it."""
    made = Cards()
    line = tuple(range(1, 120_001))
    made.add(1, "A.WAV", [line], 0)
    made.add(2, "B_1.WAV", [line[:96_000]], 0, scene="1", take="1")
    made.add(2, "B_2.WAV", [line[96_000:]], 96_000, scene="1", take="1")
    for number, file in made.files.items():
        if file.load == 2:
            made.files[number] = replace(file, day="2031-05-05")
    found = pairs(steps(known(made), situation(targets=(D1,))))
    assert ("shuttle-1", ["A.WAV", "B_1.WAV", "B_2.WAV"]) in found


def test_what_is_left_over_is_compared_though_all_is_answered() -> None:
    """Another copy of fewer bits, beside the one that answers."""
    made = Cards()
    made.add(1, "A.WAV", [LINE])
    made.add(2, "A.WAV", [LINE])
    made.add(2, "X/A.WAV", [LINE], bits=16)
    found = pairs(steps(known(made), situation(targets=(D1,))))
    assert ("shuttle-1", ["A.WAV", "X/A.WAV"]) in found
