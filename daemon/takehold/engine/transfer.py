"""The copy engine: each recording is read once, for all destinations and all checksums (P9).

    reader -> ring of buffers -> { hasher and audio meter (judging), one lander a destination }

Rules of this file:
1. What is read counts only if the file's size and times are the same after the read as when it
   was listed; else nothing of it is kept.
2. A destination that fails or hangs is left behind; the others go on. One for which others wait
   too long in all, too: it catches up later from a copy that is proven.
3. Facts are reported as they become true: the read first, then each copy.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager, ExitStack

from takehold.decide.keys import land_key
from takehold.engine.job import Job
from takehold.engine.judging import Hasher, Spring, fits_in_one, look_again
from takehold.engine.landing import FLUSH_PATIENCE, Lander, stalled
from takehold.engine.outcome import Outcome, Stop, Tell
from takehold.engine.reading import as_unreadable
from takehold.engine.ring import Buffer, Ring
from takehold.formats.names import display
from takehold.model.errors import SourceChanged, TakeholdError, VolumeGone
from takehold.model.facts import Proven
from takehold.model.recording import Copy, Seen
from takehold.model.situation import Target
from takehold.ports.clock import Clock
from takehold.ports.disk import DestinationTree, Reader

SECOND_NS = 1_000_000_000
LOOK_S = 0.5
LOOK_NS = SECOND_NS // 2
# How long one destination may hold up the others before it is left to catch up: so long in all, and
# so great a share of the time. Most drives write in gusts, and begin with a full one.
PATIENCE_NS = SECOND_NS // 2
PATIENCE_SHARE = 10


class Transfer:
    """One batch of recordings from one place to the destinations that lack them."""

    def __init__(
        self, spring: Spring, ring: Ring, tell: Tell, clock: Clock, stall_seconds: float
    ) -> None:
        self._spring = spring
        self._ring = ring
        self._tell = tell
        self._clock = clock
        self._stall_ns = int(stall_seconds * SECOND_NS)
        self._landers: dict[str, Lander] = {}
        self._waited_ns: dict[str, int] = {}
        self._begun_ns = clock.steady_ns()
        self._stacks: dict[str, ExitStack] = {}

    def add(self, target: Target, opening: AbstractContextManager[DestinationTree]) -> None:
        """Take a destination in; its own error is raised and the others go on."""
        stack = ExitStack()
        tree = stack.enter_context(opening)
        root = target.root.identity
        self._landers[root] = Lander(tree, target, self._ring, self._landed, self._clock)
        self._stacks[root] = stack

    def run(
        self,
        jobs: Iterable[tuple[Job, Sequence[str]]],
        moved: Callable[[int], None],
        stop: Stop,
    ) -> None:
        """Carry the jobs out, each for the roots named with it. Returns when all is told.

        `moved` hears of every buffer's bytes; `stop` ends the work after the buffer in hand.
        """
        hasher = Hasher(self._ring, self._spring, self._tell, self._clock)
        with ExitStack() as ending:
            ending.callback(self._end)
            ending.callback(hasher.close)
            for job, roots in jobs:
                if stop.is_set():
                    break
                self._send(job, roots, hasher, moved, stop)
                if isinstance(job.fault, VolumeGone):
                    break

    def _end(self) -> None:
        """Once all is judged, or the judging broke."""
        for lander in self._landers.values():
            lander.close()
        self._wait()
        self._part()

    def _send(
        self,
        job: Job,
        roots: Sequence[str],
        hasher: Hasher,
        moved: Callable[[int], None],
        stop: Stop,
    ) -> None:
        """Read one recording; not at all if none of those who lack it takes it now."""
        landers = [n for r in roots if (n := self._landers.get(r)) is not None and not n.left]
        if roots and not landers:
            return
        if fits_in_one(job, self._ring):
            self._send_whole(job, landers, hasher, moved, stop)
            return
        for lander in landers:
            lander.begin(job)
        seen = Seen.UNKNOWN
        try:
            with self._spring.open(job.recording) as reader:
                self._same(job, reader)
                self._stream(job, reader, landers, hasher, moved, stop)
                look_again(self._spring, job, reader)
                self._same(job, reader)
                seen = reader.seen(job.size)
        except TakeholdError as error:
            job.fault = as_unreadable(error) if self._spring.counts else error
        hasher.end(job, seen)
        for lander in landers:
            lander.end(job)

    def _send_whole(
        self,
        job: Job,
        landers: Sequence[Lander],
        hasher: Hasher,
        moved: Callable[[int], None],
        stop: Stop,
    ) -> None:
        """A small one: nobody hears of it before it is read, and then once. It is most of the cost.

        What such a file says of itself the hasher looks at, in the bytes that are copied.
        """
        buffer = self._buffer(landers, hasher, job.size)
        try:
            with self._spring.open(job.recording) as reader:
                self._same(job, reader)
                self._fill(job, reader, buffer, stop)
                self._same(job, reader)
                seen = reader.seen(job.size)
            taking = self._taking(landers)
        except TakeholdError as error:
            self._ring.send(buffer, 0)
            job.fault = as_unreadable(error) if self._spring.counts else error
            hasher.end(job, Seen.UNKNOWN)
            return
        self._ring.send(buffer, 1 + len(taking))
        for lander in taking:
            lander.whole(job, buffer)
        hasher.whole(job, buffer, seen)
        moved(job.size)

    def _fill(self, job: Job, reader: Reader, buffer: Buffer, stop: Stop, offset: int = 0) -> None:
        """Read the next bytes of a recording."""
        if stop.is_set():
            raise SourceChanged("Stopped before the end.", code="stopped")
        count = reader.read_into(buffer.view, offset)
        if count < min(len(buffer.view), job.size - offset):
            there = f"{offset + count} of {job.size} bytes"
            raise SourceChanged(
                f"{display(job.recording.path)} ended after {there}.",
                "It is read again.",
            )
        buffer.length, buffer.offset = min(count, job.size - offset), offset

    def _taking(self, landers: Sequence[Lander], job: Job | None = None) -> list[Lander]:
        """Those that still take a recording, and one that is begun there."""
        taking = [n for n in landers if (not n.left if job is None else n.wants(job))]
        if landers and not taking:
            raise SourceChanged("No destination takes it now.", code="nobody")
        return taking

    def _same(self, job: Job, reader: Reader) -> None:
        expected = self._spring.stamp(job.recording)
        if expected is not None and reader.stamp() != expected:
            raise SourceChanged(
                f"{display(job.recording.path)} changed while it was read; nothing of that read "
                "is kept.",
                "It is read again once it stands still.",
            )

    def _stream(
        self,
        job: Job,
        reader: Reader,
        landers: Sequence[Lander],
        hasher: Hasher,
        moved: Callable[[int], None],
        stop: Stop,
    ) -> None:
        offset = 0
        while offset < job.size:
            buffer = self._buffer(landers, hasher, self._ring.size)
            try:
                self._fill(job, reader, buffer, stop, offset)
                taking = self._taking(landers, job)
            except TakeholdError:
                self._ring.send(buffer, 0)
                raise
            count = buffer.length
            self._ring.send(buffer, 1 + len(taking))
            hasher.data(job, buffer)
            for lander in taking:
                lander.data(job, buffer)
            offset += count
            moved(count)

    def _buffer(self, landers: Sequence[Lander], hasher: Hasher, length: int) -> Buffer:
        """A free buffer; who holds the ring up for others, or hangs, is left behind."""
        while True:
            asked_ns = self._clock.steady_ns()
            buffer = self._ring.take(LOOK_S, length)
            live = [lander for lander in landers if not lander.left]
            behind = [lander for lander in live if lander.behind]
            if 0 < len(behind) < len(live) and not hasher.behind:
                others_done_ns = max(n.wrote_ns for n in live if n not in behind)
                waited_ns = self._clock.steady_ns() - max(asked_ns, others_done_ns)
                for lander in behind:
                    self._impatient(lander, LOOK_NS if buffer is None else waited_ns)
            if buffer is not None:
                return buffer
            for lander in behind:
                if self._hangs(lander):
                    lander.leave(stalled(lander.target))

    def _impatient(self, lander: Lander, waited_ns: int) -> None:
        root = lander.target.root.identity
        waited = self._waited_ns.get(root, 0) + waited_ns
        self._waited_ns[root] = waited
        elapsed = self._clock.steady_ns() - self._begun_ns
        if waited >= max(PATIENCE_NS, elapsed // PATIENCE_SHARE) and not lander.left:
            late = stalled(lander.target)
            late.code = "late"
            lander.leave(late)

    def _hangs(self, lander: Lander) -> bool:
        patience = self._stall_ns * (FLUSH_PATIENCE if lander.flushing else 1)
        return self._clock.steady_ns() - lander.moved_ns > patience

    def _wait(self) -> None:
        """Until every lander has ended or hangs."""
        pause = threading.Event()
        while waiting := [lander for lander in self._landers.values() if not lander.done]:
            for lander in waiting:
                if self._hangs(lander):
                    lander.leave(stalled(lander.target))
            pause.wait(0.002)

    def _part(self) -> None:
        """Let go of the destinations; of one that hangs, when its threads return."""
        for root, stack in self._stacks.items():
            lander = self._landers[root]
            if lander.left:
                threading.Thread(target=lander.outlive, args=(stack,), daemon=True).start()
            else:
                stack.close()

    def _landed(self, job: Job, target: Target, result: Copy | TakeholdError) -> None:
        key = land_key(job.recording.id, target.root.identity)
        if isinstance(result, TakeholdError):
            self._tell(Outcome(key=key, error=result))
        else:
            self._tell(Outcome((Proven(result),), key))
