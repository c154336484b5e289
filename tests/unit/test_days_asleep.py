"""Days that sleep: what leaves memory, what wakes, and what happens when a day cannot be told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from memory_catalogue import MemoryCatalogue
from planworld import (
    NOON,
    cards,
    copied,
    copy,
    load,
    reading,
    recording,
    settings,
    taken,
    target,
    trouble,
)
from takehold.decide import plan as planning
from takehold.decide.enrol import Arrival, load_of
from takehold.decide.judge import judge
from takehold.decide.keys import prove_key
from takehold.decide.merge import merged
from takehold.decide.stale import days_to_weigh
from takehold.model import facts as f
from takehold.model.dozing import Dozing
from takehold.model.errors import WorldError
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording, Stamp
from takehold.model.settings import Role, Source
from takehold.model.situation import Situation, Target
from takehold.model.step import Prove

DRIVE = target("shuttle-1")
ROOT = DRIVE.root.identity
DAYS = ("2031-05-04", "2031-05-05", "2031-05-06")
FIRST, SECOND, THIRD = (recording(n, b"T0%d.WAV" % n, day=DAYS[n - 1]) for n in (1, 2, 3))


class Shelf(MemoryCatalogue):
    """A catalogue with a file on each of three days; `told` are the days that it was asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.told: list[str] = []
        self.fails = False
        self.record([*cards(), *taken(FIRST, SECOND, THIRD), *copied(FIRST, DRIVE)])

    def of_day(self, day: str) -> list[f.Fact]:
        if self.fails:
            raise WorldError("The catalogue cannot be read.")
        self.told.append(day)
        return super().of_day(day)

    def known(self, most: int) -> Dozing:
        """What it holds, all of it asleep."""
        return Dozing.laid(self, most)


def in_memory(known: Dozing) -> tuple[set[int], set[int], set[bytes], set[int]]:
    """Recordings, recordings with copies, files and holders of copies that take up memory."""
    paths = (path for paths in dict.values(known.of_load) for path in paths)
    held = set().union(*known.held.values())
    return set(dict.keys(known.recordings)), set(dict.keys(known.copies)), set(paths), held


def test_what_sleeps_is_not_in_memory() -> None:
    """Neither its recordings nor copies, nor the files of its load."""
    shelf = Shelf()
    known = shelf.known(most=0)
    assert in_memory(known) == (set(), set(), set(), set())
    assert known.day(DAYS[0]) == [FIRST]
    assert in_memory(known) == ({1}, {1}, {b"T01.WAV"}, {1})
    assert known.day(DAYS[1]) == [SECOND]
    assert in_memory(known) == ({2}, set(), {b"T02.WAV"}, set())
    assert sorted(known.asleep) == [DAYS[0], DAYS[2]]


def test_what_every_turn_asks_wakes_nobody() -> None:
    """Sizes, places, times, and what stands where."""
    shelf = Shelf()
    known = shelf.known(most=0)
    assert known.size_of(1) == FIRST.stamp.size
    assert known.is_below(1, b"Lantern Bay/")
    assert not known.is_below(1, b"Old Mill/")
    assert known.seen_last(DAYS[0]) == NOON
    assert known.times(DAYS[0]) == (NOON + 60, 3 * NOON + 60)
    assert known.lacking(ROOT) == {2, 3}
    assert known.held_of(DAYS[0], ROOT) == known.on(ROOT) == {1}
    assert known.stands_on(1, (ROOT,))
    assert 3 in known.recordings
    assert 4 not in known.recordings
    assert shelf.told == []


def slated(number: int, day: str, scene: str, take: str) -> Recording:
    """A recording with a slate; its name tells none."""
    made = recording(number, b"R%02d.WAV" % number, day=day)
    said = replace(made.description.metadata, scene=scene, take=take)
    return replace(made, description=replace(made.description, metadata=said))


@pytest.mark.parametrize("earlier", ["12a", " 12 A", "12B"])
def test_a_scene_that_began_on_an_earlier_day_wakes_none(earlier: str) -> None:
    """Its first take of today is number 2; both as its file says and as only its name does."""
    shelf, today = Shelf(), "2031-06-20"
    named, again = recording(5, b"7C-T01.WAV", day=DAYS[2]), load(7, day=today, label="SND_A2")
    second = (replace(slated(n, today, s, "2"), load=7) for n, s in ((8, "12A"), (9, "7c")))
    shelf.record([f.LoadSeen(again), *taken(slated(4, DAYS[1], earlier, "1"), named, *second)])
    told = [
        [x.says for x in judge(known, today, settings()).findings if x.code == "take-numbers"]
        for known in (Ledger.of(shelf.facts()), shelf.known(most=0))
    ]
    assert told[0] == told[1]
    assert len(told[0]) == (earlier == "12B")
    assert set(shelf.told) == {today}


def test_a_card_that_was_cleared_again_and_again_wakes_no_day() -> None:
    """It is a load for each of its lives; which of them lies there is told by traces alone."""
    shelf = Shelf()
    identity = load(1).identity
    life = {8: recording(8, b"T01.WAV", of=7, day="2031-05-07", stamp=Stamp(200, 1))}
    life |= {10: recording(10, b"T01.WAV", of=9, day="2031-05-08", stamp=Stamp(300, 1))}
    shelf.record([f.LoadSeen(load(7, identity=identity)), f.LoadSeen(load(9, identity=identity))])
    shelf.record(taken(*life.values()))
    awake = Ledger.of(shelf.facts())
    for files in (
        ((FIRST.path, FIRST.stamp), (SECOND.path, SECOND.stamp)),
        ((life[8].path, life[8].stamp),),
        ((life[10].path, life[10].stamp),),
        ((b"T01.WAV", Stamp(77, 1)),),
        (),
    ):
        root = replace(DRIVE.root, identity=identity)
        there = Arrival(Source("primary", Role.PRIMARY), root, files, complete=True)
        assert load_of(shelf.known(most=0), there, (), None) == load_of(awake, there, (), None)
    assert shelf.told == []


def test_what_was_not_asked_for_longest_sleeps_first() -> None:
    """Two may be awake; the one that was used again stays."""
    known = Shelf().known(most=2)
    for day in (DAYS[0], DAYS[1], DAYS[0], DAYS[2]):
        known.day(day)
    assert list(known.asleep) == [DAYS[1]]


def test_the_days_of_cards_that_are_in_stay_awake() -> None:
    """Their files are asked for at each look; they sleep when the card has left."""
    shelf = Shelf()
    known = shelf.known(most=0)
    known.stay([1])
    assert [known.current(1, one.path) for one in (FIRST, SECOND, THIRD)] == [FIRST, SECOND, THIRD]
    assert known.current(1, FIRST.path) == FIRST
    assert sorted(shelf.told) == list(DAYS)
    known.stay([])
    assert sorted(known.asleep) == list(DAYS)


def test_a_day_that_cannot_be_told_raises_and_sleeps_on() -> None:
    """No question is answered "not there" because the catalogue fails; later it is answered."""
    shelf = Shelf()
    known, shelf.fails = shelf.known(most=0), True
    for ask in (lambda: known.recordings.get(1), lambda: known.day(DAYS[0])):
        with pytest.raises(WorldError):
            ask()
    with pytest.raises(WorldError):
        known.rouse([f.WasRead(1, reading(b"one", at=NOON + 9))])
    assert DAYS[0] in known.asleep
    shelf.fails = False
    assert known.recordings.get(1) == FIRST


def test_facts_of_a_day_that_was_not_roused_are_refused() -> None:
    """It would be told again with them, and have them twice."""
    shelf = Shelf()
    known, again = shelf.known(most=0), f.WasRead(1, reading(b"one", at=NOON + 9))
    shelf.record([again])
    with pytest.raises(RuntimeError, match="roused"):
        known.apply([again])


def test_a_fact_about_a_sleeping_day_is_there_once() -> None:
    """Roused, recorded, applied; and the same when the day slept again."""
    shelf = Shelf()
    known, again = shelf.known(most=0), f.WasRead(1, reading(b"one", at=NOON + 9))
    moved = f.Inventoried(replace(THIRD, day=DAYS[1], version=2))
    known.rouse([again, moved])
    shelf.record([again, moved])
    known.apply([again, moved])
    for _ in range(2):
        assert len(known.recordings[1].readings) == 2
        assert [one.id for one in known.day(DAYS[1])] == [2, 3]
        assert known.day(DAYS[2]) == []


def test_what_was_handed_out_stays_as_it_is() -> None:
    """The files of a load, and copies, while their days fall asleep."""
    known = Shelf().known(most=0)
    files, copies = known.of_load[1], known.copies[1]
    known.day(DAYS[2])
    assert set(files) == {FIRST.path, SECOND.path, THIRD.path}
    assert list(copies) == [(ROOT, FIRST.place)]


def weighed(shelf: Shelf, drive: Target, asked_at: int | None = None) -> list[str]:
    """The days that would be weighed, in order of their dates; all are asleep."""
    known = shelf.known(most=0)
    return sorted(days_to_weigh(known, drive, NOON, settings(), asked_at))


def test_of_a_sleeping_day_that_is_asked_for_which_may_have_a_stale_copy() -> None:
    """One with an old proof, a weak one, or a copy that could not be read again; no other."""
    shelf = Shelf()
    old = copy(SECOND, DRIVE, at=NOON - 40 * 86_400)
    weak = copy(THIRD, DRIVE, durable=False)
    failed = prove_key(copy(FIRST, DRIVE))
    shelf.record([f.Proven(old)])
    assert sorted(days_to_weigh(shelf.known(most=0), DRIVE, NOON, settings(), None)) == list(
        DAYS[1:2]
    )
    shelf.record([f.Proven(weak)])
    home = replace(DRIVE.root.volume, appearance="put in: 2")
    again = replace(DRIVE, root=replace(DRIVE.root, volume=home))
    assert sorted(days_to_weigh(shelf.known(most=0), again, NOON, settings(), None)) == list(
        DAYS[1:]
    )
    shelf.record([trouble(failed)])
    assert weighed(shelf, again) == list(DAYS)
    shelf.record([f.TroubleOver(failed)])
    assert sorted(days_to_weigh(shelf.known(most=0), DRIVE, NOON, settings(), NOON + 90)) == list(
        DAYS
    )


def overdue() -> Shelf:
    """Each of the three days has a copy whose proof is old, the first day's the youngest."""
    shelf = Shelf()
    for one, days in ((FIRST, 40), (SECOND, 50), (THIRD, 60)):
        shelf.record([f.Proven(copy(one, DRIVE, at=NOON - days * 86_400))])
    shelf.told.clear()
    return shelf


# A recheck that was asked for beside a card at work: nothing is compared then.
RECHECK = planning.Wanted(
    lanes=frozenset({"card SND_A1"}), rechecks=(f.Asked(1, "recheck", "", NOON),)
)


def test_of_many_days_to_be_read_again_those_wake_that_fit_one_step(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The oldest first, and one more to see that it does not fit."""
    monkeypatch.setattr(planning, "BATCH_FILES", 1)
    shelf = overdue()
    now = Situation(NOON, DAYS[-1], (), (DRIVE,))
    [step] = planning.plan(shelf.known(most=0), now, settings(), RECHECK)
    assert isinstance(step, Prove)
    assert [recorded.id for recorded, _ in step.pairs] == [3]
    assert set(shelf.told) == {DAYS[2], DAYS[1]}


def test_days_of_another_production_wake_for_no_reading() -> None:
    """Its drive and laptop went on to the next one: those copies are never read again."""
    shelf = overdue()
    now = Situation(NOON, DAYS[-1], (), (DRIVE,))
    other = settings(production="Quiet Harbour")
    assert planning.plan(shelf.known(most=0), now, other, RECHECK) == ()
    assert shelf.told == []


def test_a_found_manifest_wakes_each_day_of_its_card_once() -> None:
    """A card that was cleared and never formatted has many loads; each is asked for all files."""
    shelf = Shelf()
    later = recording(8, b"T08.WAV", of=7, day="2031-05-07")
    shelf.record([f.LoadSeen(load(7, identity=load(1).identity)), *taken(later)])
    files = (FIRST, SECOND, THIRD, replace(later, load=1))
    reads = [f.WasRead(file.id, file.readings[0]) for file in files]
    told = [f.LoadSeen(load(1)), *taken(*files), *reads]
    assert merged(told, shelf.known(most=0)) == ()
    assert sorted(shelf.told) == [*DAYS, "2031-05-07"]
