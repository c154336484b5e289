"""What a read of the card comes to: checksums, the audio measure, and what they mean.

1. What is read counts only if the file's size and times are the same after the read as when it
   was listed; else nothing of it is kept.
2. A read that differs from the first one is told, and nothing of it lands.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace

import xxhash

from takehold.decide.keys import rec_key, stock_key
from takehold.decide.looked_into import NOT_DESCRIBED
from takehold.engine.heads import Heads
from takehold.engine.job import Job
from takehold.engine.outcome import Outcome, Tell
from takehold.engine.ring import SIZE, SMALL, Buffer, Ring
from takehold.formats.audio import AudioMeter
from takehold.formats.describe import describe, same_facts
from takehold.formats.digest import FileDigest
from takehold.formats.names import display
from takehold.model.errors import HeaderDiffers, SourceChanged, TakeholdError
from takehold.model.facts import ChannelBlocks, Fact, Gone, Inventoried, SameBytes, WasRead
from takehold.model.recording import Reading, Recording, Seen, Stamp
from takehold.model.sound import Complaint, Description, Kind
from takehold.ports.clock import Clock
from takehold.ports.disk import Reader

OPINION_IN_PASSING = SIZE
"""Bytes: what is no larger is in memory whole when it is copied, and decoded then, not before."""

APART = 1 << 20
"""Bytes: so many at once are measured beside their checksums; fewer are not worth handing over."""

Open = Callable[[Recording], AbstractContextManager[Reader]]
Stamped = Callable[[Recording], Stamp | None]
Opinion = Callable[[Description, Reader, int], Description]
Item = tuple[Job, Buffer | None, Seen | None]


@dataclass(frozen=True, slots=True)
class Spring:
    """Where the bytes come from. `stamp` is what the file must still show, None for any.

    `counts` says whether a read here is a read of the card. `opinion` adds to what a small file
    says of itself what a decoder says of it. `heads` are of files that were described lately.
    """

    open: Open
    stamp: Stamped
    counts: bool = True
    opinion: Opinion | None = None
    heads: Heads | None = None


class InHand:
    """A file whose bytes are all in memory, as a reader (ports.disk.Reader)."""

    def __init__(self, stamp: Stamp, view: memoryview) -> None:
        self._stamp = stamp
        self._view = view

    def stamp(self) -> Stamp:
        """As it was listed."""
        return self._stamp

    def read_at(self, offset: int, length: int) -> bytes:
        """As the port says."""
        return bytes(self._view[offset : offset + length])

    def read_into(self, buffer: memoryview, offset: int) -> int:
        """As the port says."""
        found = self._view[offset : offset + len(buffer)]
        buffer[: len(found)] = found
        return len(found)

    def seen(self, size: int) -> Seen:  # noqa: ARG002  # as the port has it
        """Whoever read it into memory can say."""
        return Seen.UNKNOWN


def fits_in_one(job: Job, ring: Ring) -> bool:
    """Whether one buffer holds all of the file: then the hasher looks at it, and nobody waits."""
    return 0 < job.size <= ring.size


def look_again(spring: Spring, job: Job, reader: Reader) -> None:
    """What the file says of itself was read once: it is read again, from the card (P8).

    A decoder is asked about a small file in passing. Raises HeaderDiffers.
    """
    known = job.recording
    if not spring.counts or known.readings:
        return
    same = spring.heads is not None and spring.heads.again(reader.read_at, known)
    if not same and not same_facts(describe(reader.read_at, job.size), known.description):
        raise HeaderDiffers(
            f"{display(known.path)}: its header was read differently than before.",
            "It is listed and read again. Use another reader or cable, and keep the card.",
        )
    if spring.opinion is not None and job.size <= OPINION_IN_PASSING:
        said = spring.opinion(known.description, reader, job.size)
        job.described = said if said != known.description else None


class _Heard:
    """What was found so far in the bytes of one job."""

    __slots__ = ("digest", "handed", "meter", "odd")

    def __init__(self, job: Job) -> None:
        self.digest = FileDigest()
        self.handed = xxhash.xxh3_128()
        self.meter = _meter(job.recording)
        self.odd: TakeholdError | None = None


class Hasher:
    """Checksums in a thread of their own, the audio measure beside them; it closes each job."""

    def __init__(self, ring: Ring, spring: Spring, tell: Tell, clock: Clock) -> None:
        self._ring = ring
        self._spring = spring
        self._tell = tell
        self._clock = clock
        self._inbox: queue.SimpleQueue[Item | None] = queue.SimpleQueue()
        self._bug: BaseException | None = None
        self._in_hand: Job | None = None
        self._ear = ThreadPoolExecutor(1, "measure")
        self._thread = threading.Thread(target=self._run, name="hash", daemon=True)
        self._thread.start()

    @property
    def behind(self) -> bool:
        """Whether bytes wait here to be hashed."""
        return not self._inbox.empty()

    def data(self, job: Job, buffer: Buffer) -> None:
        """Bytes of a job."""
        self._inbox.put((job, buffer, None))

    def whole(self, job: Job, buffer: Buffer, seen: Seen) -> None:
        """All bytes of a job, as they were read; a tiny one is judged at once, by who asks."""
        if self._bug is not None:
            self._ring.back(buffer)
            _stopped(job)
            return
        if job.size > SMALL:
            self._inbox.put((job, buffer, seen))
            return
        try:
            self._hear(job, buffer, seen, _Heard(job))
        except BaseException:
            _stopped(job)
            raise

    def end(self, job: Job, seen: Seen) -> None:
        """The job was read to its end, or failed."""
        self._inbox.put((job, None, seen))

    def close(self) -> None:
        """Wait until everything that was handed over is judged; its own bug is raised."""
        self._inbox.put(None)
        self._thread.join()
        self._ear.shutdown()
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
        _stopped(self._in_hand)
        while (item := self._inbox.get()) is not None:
            job, buffer, seen = item
            if buffer is not None:
                self._ring.back(buffer)
            if seen is not None:
                _stopped(job)

    def _work(self) -> None:
        heard: _Heard | None = None
        while (item := self._inbox.get()) is not None:
            job, buffer, seen = item
            self._in_hand, heard = job, heard or _Heard(job)
            self._hear(job, buffer, seen, heard)
            if seen is not None:
                self._in_hand = heard = None

    def _hear(self, job: Job, buffer: Buffer | None, seen: Seen | None, heard: _Heard) -> None:
        if buffer is not None:
            view = buffer.view[: buffer.length]
            try:
                self._take(view, buffer.offset, heard)
                heard.odd = self._odd(job, view)
            finally:
                self._ring.back(buffer)
        if seen is not None:
            job.fault = job.fault or heard.odd
            job.handed = heard.handed.hexdigest()
            self._judge(job, heard.digest, heard.meter, seen)

    def _take(self, view: memoryview, offset: int, heard: _Heard) -> None:
        """Both hold the interpreter seldom: with two processors each of them gets one.

        That pays only where bytes wait: a thread beside costs, and half of what lies in a cache.
        """
        meter = heard.meter
        if meter is None or len(view) < APART or not self.behind:
            heard.digest.update(view)
            heard.handed.update(view)
            if meter is not None:
                meter.feed(view, offset)
            return
        measured = self._ear.submit(meter.feed, view, offset)
        heard.digest.update(view)
        heard.handed.update(view)
        measured.result()

    def _odd(self, job: Job, view: memoryview) -> TakeholdError | None:
        """What is wrong with what a small file says of itself, in the bytes that are copied."""
        if not fits_in_one(job, self._ring):
            return None
        try:
            look_again(self._spring, job, InHand(job.recording.stamp, view))
        except HeaderDiffers as error:
            return error
        return None

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
            told: list[Fact] = [WasRead(known.id, later), *_blocks(known.id, meter)]
            if job.described is not None:
                told.insert(0, Inventoried(replace(known, description=job.described)))
            self._tell(Outcome(tuple(told), rec_key(known.id)))
        else:  # its trouble is not over: each next try waits longer
            self._tell(Outcome((WasRead(known.id, _lighter(reading)),)))
            job.fault = SourceChanged(
                f"{display(known.path)} gave other bytes than at its first read.",
                "It is read once more. Use another reader or cable, and keep the card.",
                code="reads-differ",
            )


def _stopped(job: Job | None) -> None:
    """Nothing of it may be kept, and nobody may wait for it."""
    if job is not None:
        job.fault = job.fault or SourceChanged("Stopped by a bug.", code="stopped")
        job.closed.set()


def _blocks(recording: int, meter: AudioMeter | None) -> Iterator[ChannelBlocks]:
    if meter is not None and (measured := meter.measured()).channels:
        blocks = tuple(channel.blocks for channel in measured.channels)
        yield ChannelBlocks(recording, measured.first_sample, blocks)


def _lighter(reading: Reading) -> Reading:
    """Later reads are kept by their checksums; the audio was measured at the first."""
    return reading._replace(sound=None)


def _meter(recording: Recording) -> AudioMeter | None:
    said = recording.description
    if recording.readings or said.data is None or said.format is None:
        return None
    if not said.format.block_align:
        return None
    return AudioMeter(said.data, said.format, said.metadata.time_reference)
