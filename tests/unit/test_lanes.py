"""engine/lanes: one step a device, none waited for, nothing told is lost."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from fakedisk import FakeDisk
from fakeworld import DAY, Clock, ending, within
from takehold.decide.keys import land_key, rec_key
from takehold.engine.lanes import Lanes, total_of
from takehold.engine.outcome import Outcome, Tell
from takehold.engine.perform import Work
from takehold.model.errors import VolumeGone
from takehold.model.recording import Load, Recording, Stamp
from takehold.model.settings import Role
from takehold.model.situation import Sighted, Target
from takehold.model.sound import Description, Kind
from takehold.model.step import Confirm, Publish, Step, TakeStock


class Performer:
    """Does what a test gives it to do."""

    def __init__(self) -> None:
        self.act: Callable[[Work, Tell, Callable[[int], None], threading.Event], object] = (
            lambda work, tell, moved, stop: None
        )

    def perform(
        self, work: Work, tell: Tell, moved: Callable[[int], None], stop: threading.Event
    ) -> None:
        self.act(work, tell, moved, stop)


class Bench:
    """Lanes over a performer, two cards and a drive."""

    def __init__(self) -> None:
        disk = FakeDisk()
        self.cards = [disk.volume(b"/media/SND_A%d" % n).root for n in (1, 2)]
        self.drive = Target("shuttle-1", disk.volume(b"/media/SHUTTLE_1").root, 1)
        self.performer = Performer()
        self.nudges: list[int] = []
        clock = Clock()
        clock.advance(10_000)  # however short a time ago this machine was started
        self.lanes = Lanes(
            self.performer,  # type: ignore[arg-type]
            clock,
            lambda: self.nudges.append(1),
        )

    def confirm(self, card: int, number: int, size: int = 10) -> Confirm:
        said = Description(Kind.OTHER)
        made = Recording(number, 1, b"T", Stamp(size, 1), 0, DAY, b"P/T", 1, said)
        return Confirm(self.cards[card], (made,))

    def start(self, step: Step) -> None:
        self.lanes.start(Work(step, {}, {}))

    def all(self) -> list[Outcome]:
        """Everything told until all lanes are free."""
        told: list[Outcome] = []

        def free() -> bool:
            told.extend(self.lanes.gather()[0])
            return not self.lanes.running

        assert within(30, free)
        return told


def test_one_step_a_device_and_devices_side_by_side() -> None:
    """The second card works while the first does; a drive is a device of its own."""
    bench = Bench()
    hang = threading.Event()
    bench.performer.act = lambda *_: hang.wait(60)
    with ending(hang):
        bench.start(bench.confirm(0, 1))
        assert not bench.lanes.free(bench.confirm(0, 2))
        assert bench.lanes.free(bench.confirm(1, 2))
        assert bench.lanes.free(Publish(bench.drive, DAY, 1))
        bench.start(bench.confirm(1, 2))
        assert bench.lanes.busy == frozenset({1, 2})
    bench.all()
    assert bench.lanes.busy == frozenset()
    assert bench.lanes.free(bench.confirm(0, 2))


def test_a_destination_that_is_left_behind_is_noted() -> None:
    """Late, or still; not one that refuses a single file, and not the card itself."""
    bench = Bench()
    hang = threading.Event()

    def act(work: Work, tell: Tell, moved: Callable[[int], None], stop: threading.Event) -> None:
        for root, code in (("uuid:slow", "late"), ("uuid:dead", "stalled"), ("uuid:full", "full")):
            tell(Outcome(key=land_key(7, root), error=VolumeGone("No.", code=code)))
        tell(Outcome(key=rec_key(7), error=VolumeGone("No.", code="stalled")))
        hang.wait(60)

    bench.performer.act = act
    with ending(hang):
        bench.start(bench.confirm(0, 7))
        [running] = bench.lanes.running.values()
        heard: list[Outcome] = []

        def all_heard() -> bool:
            heard.extend(bench.lanes.gather()[0])
            return len(heard) == 4

        assert within(30, all_heard)
        assert running.behind == {"uuid:slow", "uuid:dead"}


def test_a_lane_is_free_only_with_all_that_was_told() -> None:
    """Else its recordings would be planned again before their facts are known."""
    bench = Bench()

    def act(work: Work, tell: Tell, moved: Callable[[int], None], stop: threading.Event) -> None:
        for number in range(500):
            tell(Outcome(key=f"rec {number}"))

    bench.performer.act = act
    for round_ in range(20):
        bench.start(bench.confirm(0, round_))
        told: list[Outcome] = []

        def free() -> bool:
            outcomes, freed = bench.lanes.gather()
            told.extend(outcomes)
            return freed

        assert within(30, free)
        assert [o.key for o in told] == [f"rec {n}" for n in range(500)]


@pytest.mark.parametrize(
    ("every_ns", "error", "wakes"),
    [(0, None, 4), (10**12, None, 2), (10**12, VolumeGone("It is gone."), 4)],
)
def test_what_is_told_wakes_the_loop_at_once_or_now_and_then(
    every_ns: int, error: VolumeGone | None, wakes: int
) -> None:
    """Three words and one end; a failure always does, the end too, and nothing told is lost."""
    bench = Bench()
    bench.lanes.nudge_every_ns = every_ns

    def act(work: Work, tell: Tell, moved: Callable[[int], None], stop: threading.Event) -> None:
        for _ in range(3):
            tell(Outcome(error=error))

    bench.performer.act = act
    bench.start(bench.confirm(0, 1))
    assert len(bench.all()) == 3
    assert len(bench.nudges) == wakes


def test_a_bug_in_a_step_is_raised_in_the_loop() -> None:
    """It is not swallowed by the thread."""
    bench = Bench()
    bench.performer.act = lambda *_: 1 // 0
    bench.start(bench.confirm(0, 1))
    bench.all()
    with pytest.raises(ZeroDivisionError):
        bench.lanes.gather()


def test_progress_is_counted() -> None:
    """Bytes for what moves bytes, files for an inventory."""
    bench = Bench()
    hang, moved_once = threading.Event(), threading.Event()

    def act(work: Work, tell: Tell, moved: Callable[[int], None], stop: threading.Event) -> None:
        moved(4)
        moved_once.set()
        hang.wait(60)

    bench.performer.act = act
    with ending(hang):
        bench.start(bench.confirm(0, 1, size=10))
        assert moved_once.wait(30)
        [running] = bench.lanes.running.values()
        assert (running.done, running.total) == (4, 10)
        assert running.moved_ns >= running.begun_ns
    bench.all()
    load = Load(1, "primary", Role.PRIMARY, "uuid:1", "SND_A1", b"SND_A1", frozenset(), 0, DAY)
    files = tuple(Sighted(b"T%d" % n, Stamp(100, 1), 0) for n in range(3))
    assert total_of(TakeStock(load, bench.cards[0], files)) == 3


def test_stop_asks_all_and_waits_for_them() -> None:
    """Who listens ends; the answer is that all did."""
    bench = Bench()
    bench.performer.act = lambda work, tell, moved, stop: stop.wait(60)
    bench.start(bench.confirm(0, 1))
    bench.start(bench.confirm(1, 2))
    assert bench.lanes.stop(30) is True


def test_stop_does_not_wait_for_ever() -> None:
    """A step that hangs in a device is left; the answer says so."""
    bench = Bench()
    hang = threading.Event()
    bench.performer.act = lambda *_: hang.wait(60)
    with ending(hang):
        bench.start(bench.confirm(0, 1))
        assert bench.lanes.stop(0.05) is False
    bench.all()
