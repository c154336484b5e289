"""Steps at work: one a device, each in a thread of its own, none waited for (P6)."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from takehold.engine.outcome import Outcome
from takehold.engine.perform import Performer, Work
from takehold.model.errors import Stalled
from takehold.model.step import (
    CatchUp,
    Compare,
    Confirm,
    Measure,
    Prove,
    Recognise,
    Salvage,
    Step,
    TakeStock,
    Transfer,
    lane,
    recordings_of,
)
from takehold.ports.clock import Clock

# Each wake of the loop is a flush of the catalogue: thousands of small files share it.
NUDGE_EVERY_NS = 10**8
# How a destination ends that the others go on without (engine/transfer).
LEFT_BEHIND = frozenset({"late", Stalled.code})


@dataclass(slots=True)
class Running:
    """A step at work: bytes (files for an inventory) done and to do.

    `behind` are the roots of destinations that it goes on without.
    """

    step: Step
    total: int
    begun_ns: int
    done: int = 0
    moved_ns: int = 0
    thread: threading.Thread | None = None
    faults: list[BaseException] = field(default_factory=list)
    behind: set[str] = field(default_factory=set)

    def heard(self, outcome: Outcome) -> None:
        """Note what it told."""
        word, _, about = outcome.key.partition(" ")
        if word == "land" and outcome.error is not None and outcome.error.code in LEFT_BEHIND:
            self.behind.add(about.partition(" ")[2])


class Lanes:
    """Starts steps and gathers what they tell."""

    def __init__(self, performer: Performer, clock: Clock, nudge: Callable[[], None]) -> None:
        self._performer = performer
        self._clock = clock
        self._nudge = nudge
        self._told: queue.SimpleQueue[tuple[Running, Outcome]] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._bug: BaseException | None = None
        self._nudged_ns = 0
        self.nudge_every_ns = NUDGE_EVERY_NS
        self.running: dict[str, Running] = {}

    @property
    def busy(self) -> frozenset[int]:
        """Recordings that running steps work on."""
        ids: set[int] = set()
        for running in self.running.values():
            ids |= recordings_of(running.step)
        return frozenset(ids)

    def free(self, step: Step) -> bool:
        """Whether the step's device has nothing else to do."""
        return lane(step) not in self.running

    def start(self, work: Work) -> None:
        """Begin a step in its lane."""
        now = self._clock.steady_ns()
        running = Running(work.step, total_of(work.step), now, 0, now)

        def moved(count: int) -> None:
            running.done += count
            running.moved_ns = self._clock.steady_ns()

        def tell(outcome: Outcome) -> None:
            self._tell(running, outcome)

        def run() -> None:
            try:
                self._performer.perform(work, tell, moved, self._stop)
            except BaseException as fault:
                running.faults.append(fault)
            finally:
                self._nudge()

        running.thread = threading.Thread(target=run, name=lane(work.step), daemon=True)
        self.running[lane(work.step)] = running
        running.thread.start()

    def _tell(self, running: Running, outcome: Outcome) -> None:
        """A failure wakes the loop at once, the others now and then: it takes all that it finds."""
        self._told.put((running, outcome))
        now = self._clock.steady_ns()
        if outcome.error is not None or now - self._nudged_ns >= self.nudge_every_ns:
            self._nudged_ns = now
            self._nudge()

    def gather(self) -> tuple[list[Outcome], bool]:
        """Everything told since, and whether a lane came free.

        A step's bug is raised by the next call, once what was told before it is gathered.
        """
        if self._bug is not None:
            raise self._bug
        ended = [
            name
            for name, running in self.running.items()
            if running.thread is not None and not running.thread.is_alive()
        ]
        outcomes: list[Outcome] = []
        while True:
            try:
                running, outcome = self._told.get_nowait()
            except queue.Empty:
                break
            running.heard(outcome)
            outcomes.append(outcome)
        for name in ended:
            faults = self.running.pop(name).faults
            self._bug = self._bug or (faults[0] if faults else None)
        return outcomes, bool(ended)

    def still(self, seconds: float) -> dict[str, Running]:
        """Lanes in which nothing moved for so long: their device hangs."""
        since = self._clock.steady_ns() - int(seconds * 1e9)
        return {name: r for name, r in self.running.items() if r.moved_ns < since}

    def stop(self, seconds: float) -> bool:
        """Ask all steps to end after the buffer in hand; whether they did within `seconds`."""
        self._stop.set()
        deadline = self._clock.steady_ns() + int(seconds * 1e9)
        for running in self.running.values():
            left = (deadline - self._clock.steady_ns()) / 1e9
            if running.thread is not None:
                running.thread.join(max(0.0, left))
        return not any(r.thread and r.thread.is_alive() for r in self.running.values())


def total_of(step: Step) -> int:
    """Bytes that a step moves; files for an inventory, and for a look into a card."""
    if isinstance(step, TakeStock):
        return len(step.files)
    if isinstance(step, Recognise):
        return len(step.recordings)
    return sum(_sizes(step))


def _sizes(step: Step) -> list[int]:
    match step:
        case Transfer(owed=owed):
            return [o.recording.stamp.size for o in owed]
        case Confirm(recordings=recordings):
            return [r.stamp.size for r in recordings]
        case Salvage(recording=recording) | Measure(recording=recording):
            reads = 2 if isinstance(step, Measure) else 1  # proven again, then decoded
            return reads * [recording.stamp.size]
        case CatchUp(pairs=pairs):
            return [late.stamp.size for late, _, _ in pairs]
        case Prove(pairs=pairs) | Compare(pairs=pairs):
            return [known.stamp.size for known, _ in pairs]
        case _:
            return []
