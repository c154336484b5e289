"""The copy engine: each recording is read once, for all destinations and all checksums (P9).

    reader -> ring of buffers -> { hasher and audio meter, one lander a destination }

Rules of this file:
1. What is read counts only if the file's size and times are the same after the read as when it
   was listed; else nothing of it is kept.
2. A destination that fails or hangs is left behind; the others go on. One that alone holds the
   ring for a while, too: it catches up later from a copy that is proven.
3. Facts are reported as they become true: the read first, then each copy.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, replace

from takehold.decide.keys import land_key, rec_key, stock_key
from takehold.decide.plan import NOT_DESCRIBED
from takehold.engine.job import Job
from takehold.engine.landing import FLUSH_PATIENCE, Lander, stalled
from takehold.engine.outcome import Outcome, Stop, Tell
from takehold.engine.reading import as_unreadable
from takehold.engine.ring import Buffer, Ring
from takehold.formats.audio import AudioMeter
from takehold.formats.describe import describe, same_facts
from takehold.formats.digest import FileDigest
from takehold.formats.names import display
from takehold.model.errors import HeaderDiffers, SourceChanged, TakeholdError, VolumeGone
from takehold.model.facts import ChannelBlocks, Fact, Gone, Inventoried, Proven, SameBytes, WasRead
from takehold.model.recording import Copy, Reading, Recording, Seen, Stamp
from takehold.model.situation import Target
from takehold.model.sound import Complaint, Description, Kind
from takehold.ports.clock import Clock
from takehold.ports.disk import DestinationTree, Reader

SECOND_NS = 1_000_000_000
LOOK_S = 0.5
# How long one destination may hold up the others before it is left to catch up.
PATIENCE_S = 3.0


Open = Callable[[Recording], AbstractContextManager[Reader]]
Stamped = Callable[[Recording], Stamp | None]
Item = tuple[Job, Buffer | None, Seen]


@dataclass(frozen=True, slots=True)
class Spring:
    """Where the bytes come from. `stamp` is what the file must still show, None for any.

    `counts` says whether a read here is a read of the card.
    """

    open: Open
    stamp: Stamped
    counts: bool = True


class Hasher:
    """Checksums and audio measure in a thread of their own; it closes each job."""

    def __init__(self, ring: Ring, spring: Spring, tell: Tell, clock: Clock) -> None:
        self._ring = ring
        self._spring = spring
        self._tell = tell
        self._clock = clock
        self._inbox: queue.SimpleQueue[Item | None] = queue.SimpleQueue()
        self._bug: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name="hash", daemon=True)
        self._thread.start()

    def data(self, job: Job, buffer: Buffer) -> None:
        """Bytes of a job."""
        self._inbox.put((job, buffer, Seen.UNKNOWN))

    def end(self, job: Job, seen: Seen) -> None:
        """The job was read to its end, or failed."""
        self._inbox.put((job, None, seen))

    def close(self) -> None:
        """Wait until everything that was handed over is judged; its own bug is raised."""
        self._inbox.put(None)
        self._thread.join()
        if self._bug is not None:
            raise self._bug

    def _run(self) -> None:
        try:
            self._work()
        except BaseException as bug:
            self._bug = bug
            self._give_up()

    def _give_up(self) -> None:
        """After a bug nothing of what follows may be kept, and nobody may wait for it."""
        while (item := self._inbox.get()) is not None:
            job, buffer, _ = item
            if buffer is not None:
                self._ring.back(buffer)
            else:
                job.fault = job.fault or SourceChanged("Stopped by a bug.", code="stopped")
                job.closed.set()

    def _work(self) -> None:
        digest, meter = FileDigest(), None
        fresh = True
        while (item := self._inbox.get()) is not None:
            job, buffer, seen = item
            if fresh:
                digest, meter, fresh = FileDigest(), _meter(job.recording), False
            if buffer is None:
                self._judge(job, digest, meter, seen)
                fresh = True
                continue
            view = buffer.view[: buffer.length]
            digest.update(view)
            if meter is not None:
                meter.feed(view, buffer.offset)
            self._ring.back(buffer)

    def _judge(self, job: Job, digest: FileDigest, meter: AudioMeter | None, seen: Seen) -> None:
        """Decide what the read means, tell it, and close the job."""
        if job.fault is None:
            found = digest.digests()
            sound = meter.sound() if meter is not None else None
            self._weigh(job, Reading(found, sound, self._clock.now(), seen), meter)
            job.digests = found
        if job.fault is not None:
            self._fail(job.recording, job.fault)
        job.closed.set()

    def _fail(self, recording: Recording, fault: TakeholdError) -> None:
        key = rec_key(recording.id)
        if isinstance(
            fault, HeaderDiffers
        ):  # of no read is known which is right: it is described anew
            key = stock_key(recording.load, recording.path)
            doubtful = Description(Kind.OTHER, complaints=(Complaint(NOT_DESCRIBED, ""),))
            facts = (Inventoried(replace(recording, description=doubtful)),)
            self._tell(Outcome(facts))
        self._tell(Outcome(key=key, error=fault))

    def _weigh(self, job: Job, reading: Reading, meter: AudioMeter | None) -> None:
        known, previous = job.recording, job.previous
        if not self._spring.counts:
            if reading.digests != known.digests:
                job.fault = SourceChanged(
                    "The copy to read from holds other bytes.", code="altered"
                )
            return
        if previous and not known.readings and previous.digests == reading.digests:
            facts = (Gone(known.id), SameBytes(previous.id, known.stamp))
            again = WasRead(previous.id, _lighter(reading))
            self._tell(Outcome((*facts, again), rec_key(known.id)))
            job.fault = SourceChanged(f"{display(known.path)} is unchanged.", code="same-bytes")
            return
        if known.digests is None or known.digests == reading.digests:
            later = _lighter(reading) if known.readings else reading
            told: tuple[Fact, ...] = (WasRead(known.id, later), *_blocks(known.id, meter))
            self._tell(Outcome(told, rec_key(known.id)))
        else:  # its trouble is not over: each next try waits longer
            self._tell(Outcome((WasRead(known.id, _lighter(reading)),)))
            job.fault = SourceChanged(
                f"{display(known.path)} gave other bytes than at its first read.",
                "It is read once more. Use another reader or cable, and keep the card.",
                code="reads-differ",
            )


def _blocks(recording: int, meter: AudioMeter | None) -> Iterator[ChannelBlocks]:
    if meter is not None and (measured := meter.measured()).channels:
        blocks = tuple(channel.blocks for channel in measured.channels)
        yield ChannelBlocks(recording, measured.first_sample, blocks)


def _lighter(reading: Reading) -> Reading:
    """Later reads are kept by their checksums; the audio was measured at the first."""
    return replace(reading, sound=None)


def _meter(recording: Recording) -> AudioMeter | None:
    said = recording.description
    if recording.readings or said.data is None or said.format is None:
        return None
    if not said.format.block_align:
        return None
    return AudioMeter(said.data, said.format, said.metadata.time_reference)


class Transfer:
    """One batch of recordings from one place to the destinations that lack them."""

    def __init__(
        self, spring: Spring, ring: Ring, tell: Tell, clock: Clock, stall_seconds: int
    ) -> None:
        self._spring = spring
        self._ring = ring
        self._tell = tell
        self._clock = clock
        self._stall_ns = stall_seconds * SECOND_NS
        self._landers: dict[str, Lander] = {}
        self._waited: dict[str, float] = {}
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
        try:
            for job, roots in jobs:
                if stop.is_set():
                    break
                self._send(job, roots, hasher, moved, stop)
                if isinstance(job.fault, VolumeGone):
                    break
        finally:
            hasher.close()
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
        for lander in landers:
            lander.begin(job)
        seen = Seen.UNKNOWN
        try:
            with self._spring.open(job.recording) as reader:
                self._same(job, reader)
                self._stream(job, reader, landers, hasher, moved, stop)
                self._described(job, reader)
                self._same(job, reader)
                seen = reader.seen(job.size)
        except TakeholdError as error:
            job.fault = as_unreadable(error) if self._spring.counts else error
        hasher.end(job, seen)
        for lander in landers:
            lander.end(job)

    def _same(self, job: Job, reader: Reader) -> None:
        expected = self._spring.stamp(job.recording)
        if expected is not None and reader.stamp() != expected:
            raise SourceChanged(
                f"{display(job.recording.path)} changed while it was read; nothing of that read "
                "is kept.",
                "It is read again once it stands still.",
            )

    def _described(self, job: Job, reader: Reader) -> None:
        """What the file says of itself was read once: it is read again, from the card (P8)."""
        known = job.recording
        if not self._spring.counts or known.readings:
            return
        if not same_facts(describe(reader.read_at, job.size), known.description):
            raise HeaderDiffers(
                f"{display(known.path)}: its header was read differently than before.",
                "It is listed and read again. Use another reader or cable, and keep the card.",
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
            buffer = self._buffer(landers)
            if stop.is_set():
                self._ring.send(buffer, 0)
                raise SourceChanged("Stopped before the end.", code="stopped")
            try:
                count = reader.read_into(buffer.view, offset)
            except TakeholdError:
                self._ring.send(buffer, 0)
                raise
            if count < min(len(buffer.view), job.size - offset):
                self._ring.send(buffer, 0)
                there = f"{offset + count} of {job.size} bytes"
                raise SourceChanged(
                    f"{display(job.recording.path)} ended after {there}.",
                    "It is read again.",
                )
            buffer.length, buffer.offset = min(count, job.size - offset), offset
            taking = [lander for lander in landers if lander.wants(job)]
            if landers and not taking:
                self._ring.send(buffer, 0)
                raise SourceChanged("No destination takes it now.", code="nobody")
            self._ring.send(buffer, 1 + len(taking))
            hasher.data(job, buffer)
            for lander in taking:
                lander.data(job, buffer)
            offset += count
            moved(count)

    def _buffer(self, landers: Sequence[Lander]) -> Buffer:
        """A free buffer; who holds the ring up alone, or hangs, is left behind."""
        while (buffer := self._ring.take(LOOK_S)) is None:
            live = [lander for lander in landers if not lander.left]
            behind = [lander for lander in live if lander.behind]
            for lander in behind:
                if self._hangs(lander):
                    lander.leave(stalled(lander.target))
            if len(behind) == 1 and len(live) > 1:
                self._impatient(behind[0])
        return buffer

    def _impatient(self, lander: Lander) -> None:
        root = lander.target.root.identity
        self._waited[root] = self._waited.get(root, 0.0) + LOOK_S
        if self._waited[root] > PATIENCE_S and not lander.left:
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
