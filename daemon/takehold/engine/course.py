"""How one destination's side of a transfer stands: shared by the threads that write and prove."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from takehold.engine.job import Job
from takehold.engine.patience import told
from takehold.formats.names import display, shown
from takehold.model.errors import TakeholdError, VolumeGone
from takehold.model.recording import Copy
from takehold.model.situation import Target
from takehold.ports.clock import Clock

# Parts that may be open at once: each holds up to four descriptors.
MOST_UNPROVEN = 32
LOOK_S = 0.5

Report = Callable[[Job, Target, "Copy | TakeholdError"], None]


class Course:
    """Which recordings are under way there, and whether something moves."""

    def __init__(
        self, target: Target, report: Report, clock: Clock, leave: Callable[[TakeholdError], None]
    ) -> None:
        self.target = target
        self.left = False
        self._flushing = 0
        self.moved_ns = clock.steady_ns()
        self.lock = threading.Lock()
        self._report = report
        self._clock = clock
        self._leave = leave
        self._open: dict[int, Job] = {}
        self._room = threading.Condition()
        self._unproven = 0

    @property
    def flushing(self) -> bool:
        """Whether the device was asked to write what it holds back, which may take long."""
        return self._flushing > 0

    @contextmanager
    def flushing_now(self) -> Iterator[None]:
        """Around such a question; two threads may ask at once."""
        with self.lock:
            self._flushing += 1
        try:
            yield
        finally:
            with self.lock:
                self._flushing -= 1
            self.touch()

    def touch(self) -> None:
        """Something moved there."""
        self.moved_ns = self._clock.steady_ns()

    def begin(self, job: Job) -> bool:
        """Whether the recording is under way now; not if the destination was left."""
        with self.lock:
            if not self.left:
                self._open[job.recording.id] = job
            return not self.left

    def wants(self, job: Job) -> bool:
        """Whether this destination still takes the recording's bytes."""
        return not self.left and job.recording.id in self._open

    def forget(self, job: Job) -> None:
        """Nothing is owed for it: its read counts for nothing."""
        with self.lock:
            self._open.pop(job.recording.id, None)

    def answer(self, job: Job, result: Copy | TakeholdError) -> None:
        """Say what became of a recording: the first answer counts."""
        with self.lock:
            if self._open.pop(job.recording.id, None) is None:
                return
        self._report(job, self.target, result)

    def fail(self, job: Job, error: TakeholdError) -> None:
        """It did not work; if the volume is gone, nothing will."""
        name = display(job.recording.path)
        gone = isinstance(error, VolumeGone)
        if not gone and name not in error.says:  # a part's own name says nothing to a person
            told(error, f"{name} to {shown(self.target.name)}")
        self.answer(job, error)
        if gone and not self.left:
            self._leave(error)

    def give_up(self) -> tuple[Job, ...]:
        """Leave it (the caller holds `lock`): what is under way is missed, and told by `miss`."""
        self.left = True
        missed, self._open = tuple(self._open.values()), {}
        return missed

    def miss(self, missed: tuple[Job, ...], why: TakeholdError) -> None:
        """Say why these did not arrive."""
        with self._room:
            self._room.notify()
        for job in missed:
            self._report(job, self.target, why)

    def wait_for_room(self) -> None:
        """Until few enough parts wait for their proof, or the destination is left."""
        with self._room:
            while not self._room.wait_for(self._has_room, LOOK_S):
                pass
            self._unproven += 1

    def _has_room(self) -> bool:
        return self.left or self._unproven < MOST_UNPROVEN

    def let_go(self) -> None:
        """A part is proven, or dropped."""
        with self._room:
            self._unproven -= 1
            self._room.notify()
