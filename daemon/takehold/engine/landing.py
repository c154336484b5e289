"""Landing copies on one destination: one thread writes parts, another proves them (proving.py).

Small files are proven by the thread that wrote them: else most of the time of thousands would go
into threads that wait for each other, and little into the drive.

Rules of this file:
1. Any error of a write kills that copy; nothing is retried here.
2. A lander that is given up (`leave`) keeps no buffer that others wait for, and takes no more.
"""

from __future__ import annotations

import queue
import threading
from contextlib import ExitStack

from takehold.engine.course import Course, Report
from takehold.engine.job import Job
from takehold.engine.proving import Prover, Written, folder_of
from takehold.engine.ring import SMALL, Buffer, Ring
from takehold.formats.names import shown
from takehold.model.errors import Stalled, TakeholdError
from takehold.model.situation import Target
from takehold.ports.clock import Clock
from takehold.ports.disk import DestinationTree

# A flush may have to write everything that a slow drive holds back.
FLUSH_PATIENCE = 15
# Bytes that are read back at once while the rest is written. 16 to 128 MiB were tried: the tail
# that is left to be read back at the end grows with it, and the flushes get fewer.
PIECE = 64 << 20
# Small files that are flushed together: fewer than may be open at once (course.py).
SMALL_AT_ONCE = 24

Item = tuple[str, Job, Buffer | None] | None


class Lander:
    """One destination's side of a transfer.

    `wrote_ns` is when it was last done with what it was given, by the steady clock.
    """

    def __init__(
        self, tree: DestinationTree, target: Target, ring: Ring, report: Report, clock: Clock
    ) -> None:
        self.target = target
        self._course = Course(target, report, clock, self.leave)
        self._prover = Prover(tree, self._course, clock)
        self._tree = tree
        self._ring = ring
        self._inbox: queue.SimpleQueue[Item] = queue.SimpleQueue()
        self._in_hand: Buffer | None = None
        self._small: list[Written] = []
        self._clock = clock
        self.wrote_ns = clock.steady_ns()
        self._threads = [
            threading.Thread(target=run, name=f"{name} {target.name}", daemon=True)
            for name, run in (("write", self._write), ("prove", self._prover.run))
        ]
        for thread in self._threads:
            thread.start()

    @property
    def left(self) -> bool:
        """Whether it was given up."""
        return self._course.left

    @property
    def flushing(self) -> bool:
        """Whether its device may take long to answer now."""
        return self._course.flushing

    @property
    def moved_ns(self) -> int:
        """When something moved last, by the steady clock."""
        return self._course.moved_ns

    @property
    def behind(self) -> bool:
        """Whether bytes wait here to be written."""
        return self._in_hand is not None or not self._inbox.empty()

    @property
    def done(self) -> bool:
        """Whether both threads have ended, or nothing more is expected of them."""
        return self.left or not any(t.is_alive() for t in self._threads)

    def wants(self, job: Job) -> bool:
        """Whether this destination still takes the recording's bytes."""
        return self._course.wants(job)

    def begin(self, job: Job) -> None:
        """A recording follows."""
        if self._course.begin(job):
            self._put(("begin", job, None))

    def whole(self, job: Job, buffer: Buffer) -> None:
        """All bytes of a recording; the lander gives the buffer back."""
        if not (self._course.begin(job) and self._put(("whole", job, buffer))):
            self._ring.back(buffer)

    def data(self, job: Job, buffer: Buffer) -> None:
        """Bytes of it; the lander gives the buffer back."""
        if not self._put(("data", job, buffer)):
            self._ring.back(buffer)

    def end(self, job: Job) -> None:
        """It is whole, or given up: `job.closed` and `job.fault` will tell."""
        self._put(("end", job, None))

    def close(self) -> None:
        """No more recordings."""
        self._put(None)

    def _put(self, item: Item) -> bool:
        """Hand over, unless this destination was left meanwhile: what comes then is never read.

        Who had nothing to do was not still: its time counts from now.
        """
        with self._course.lock:
            if self.left:
                return False
            if not (self.behind or self.flushing):
                self._course.touch()
            self._inbox.put(item)
            return True

    def leave(self, why: TakeholdError) -> None:
        """Give this destination up for now: its buffers go back, its open recordings are missed."""
        with self._course.lock:
            missed = self._course.give_up()
            held, self._in_hand = self._in_hand, None
        if held is not None:
            self._ring.forsake(held)
        self._drain()
        self._course.miss(missed, why)
        self._inbox.put(None)

    def outlive(self, stack: ExitStack) -> None:
        """Close what belongs to this lander once its threads have come back."""
        for thread in self._threads:
            thread.join()
        stack.close()

    def _drain(self) -> None:
        try:
            while True:
                item = self._inbox.get_nowait()
                if item is not None and item[2] is not None:
                    self._ring.back(item[2])
        except queue.Empty:
            return

    # -- writing

    def _write(self) -> None:
        written: Written | None = None
        while (item := self._inbox.get()) is not None:
            word, job, buffer = item
            self._course.touch()
            if word != "whole":
                self._prove_small()
            if word == "whole" and buffer is not None:
                self._write_whole(job, buffer)
            elif buffer is not None:
                written = self._write_data(written, job, buffer)
            elif word == "begin":
                written = self._begin(job)
            elif written is not None:
                self._end(written)
                written = None
            self._course.touch()
            self.wrote_ns = self._clock.steady_ns()
        if written is not None:
            self._prover.given_up(written)
        self._prove_small()
        self._prover.close()

    def _begin(self, job: Job) -> Written | None:
        self._course.wait_for_room()
        written: Written | None = None
        try:
            if not self.left:
                written = Written(job, self._tree.part(folder_of(job.recording.place)))
                self._tree.check_name(job.recording.place)
                written.part.reserve(job.size)
                return written
        except TakeholdError as error:
            self._course.fail(job, error)
        if written is not None:
            self._prover.given_up(written)
        else:
            self._course.let_go()
        return None

    def _write_whole(self, job: Job, buffer: Buffer) -> None:
        if self._take(buffer):  # before there is room for it, so that it can be forsaken
            written = self._write_data(self._begin(job), job, buffer)
            if written is not None and job.size <= SMALL:
                self._small.append(written)
            elif written is not None:
                self._end(written)
        if len(self._small) >= SMALL_AT_ONCE or self._inbox.empty():
            self._prove_small()

    def _prove_small(self) -> None:
        small, self._small = self._small, []
        if small:
            self._prover.prove(small)

    def _write_data(self, written: Written | None, job: Job, buffer: Buffer) -> Written | None:
        """Bytes of a part; the part as long as it is still wanted."""
        wanted = self._take(buffer)
        try:
            if written is not None and wanted:
                written.part.write(buffer.view[: buffer.length], buffer.offset)
                end = buffer.offset + buffer.length
                if end % PIECE == 0 and end < job.size:
                    self._prover.written(written, end)
        except TakeholdError as error:
            self._course.fail(job, error)
            wanted = False
        self._let_go()
        if written is not None and (self.left or not wanted):
            self._prover.given_up(written)
            return None
        return written

    def _take(self, buffer: Buffer) -> bool:
        """Have a buffer in hand, so that it can be forsaken; it goes back at once if left."""
        with self._course.lock:
            if not self.left:
                self._in_hand = buffer
                return True
        self._ring.back(buffer)
        return False

    def _let_go(self) -> None:
        with self._course.lock:
            held, self._in_hand = self._in_hand, None
        if held is not None:
            self._ring.back(held)

    def _end(self, written: Written) -> None:
        if self.left or written.job.fault is not None:
            self._prover.given_up(written)
        else:
            self._prover.written(written, written.job.size)


def stalled(target: Target) -> Stalled:
    """What is said of a destination that moves nothing."""
    return Stalled(
        f"{shown(target.name)} has not taken a byte for a while; the others went on without it.",
        "It is tried again by itself. Check its cable and power.",
    )
