"""Landing copies on one destination (P2, P3).

One thread writes parts and flushes them, another reads each back from the medium, compares,
gives it its name and flushes the folder. Only then the copy is reported as proven.

Rules of this file:
1. Any error of write, flush or close kills that copy; nothing is retried here.
2. A name that is taken stays as it is: if the very same bytes stand there, that is the copy;
   else the new one gets a name of its own.
3. What a sleep of the machine came into gets no name.
4. A lander that is given up (`leave`) keeps no buffer that others wait for, and takes no more.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace

from takehold.decide.durable import promised
from takehold.decide.place import beside
from takehold.engine.job import Job
from takehold.engine.patience import told
from takehold.engine.reading import read_whole
from takehold.engine.ring import Buffer, Ring
from takehold.engine.stretch import Awake
from takehold.formats.names import display, shown
from takehold.model.errors import CopyDiffers, NameTaken, Stalled, TakeholdError, VolumeGone
from takehold.model.recording import Copy, Digests, Proof, Seen
from takehold.model.situation import Target
from takehold.ports.clock import Clock
from takehold.ports.disk import DestinationTree, Part

OTHER_NAMES = 100
SETTLE_EVERY = 32
# A flush may have to write everything that a slow drive holds back.
FLUSH_PATIENCE = 15

Report = Callable[[Job, Target, "Copy | TakeholdError"], None]
Item = tuple[str, Job, Buffer | None] | None


class Lander:
    """One destination's side of a transfer."""

    def __init__(
        self, tree: DestinationTree, target: Target, ring: Ring, report: Report, clock: Clock
    ) -> None:
        self.target = target
        self.left = False
        self.flushing = False
        self.moved_ns = clock.steady_ns()
        self._tree = tree
        self._ring = ring
        self._report = report
        self._clock = clock
        self._awake = Awake(clock, clock.asleep_ns())
        self._inbox: queue.SimpleQueue[Item] = queue.SimpleQueue()
        self._proofs: queue.SimpleQueue[tuple[Job, Part, bool] | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._open: dict[int, Job] = {}
        self._in_hand: Buffer | None = None
        self._threads = [
            threading.Thread(target=run, name=f"{name} {target.name}", daemon=True)
            for name, run in (("write", self._write), ("prove", self._prove))
        ]
        for thread in self._threads:
            thread.start()

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
        return not self.left and job.recording.id in self._open

    def begin(self, job: Job) -> None:
        """A recording follows."""
        with self._lock:
            if self.left:
                return
            self._open[job.recording.id] = job
        self._put(("begin", job, None))

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
        with self._lock:
            if self.left:
                return False
            if not (self.behind or self.flushing):
                self._touch()
            self._inbox.put(item)
            return True

    def leave(self, why: TakeholdError) -> None:
        """Give this destination up for now: its buffers go back, its open recordings are missed."""
        with self._lock:
            self.left = True
            missed, self._open = list(self._open.values()), {}
            held, self._in_hand = self._in_hand, None
        if held is not None:
            self._ring.forsake(held)
        self._drain()
        for job in missed:
            self._report(job, self.target, why)
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

    def _touch(self) -> None:
        self.moved_ns = self._clock.steady_ns()

    def _answer(self, job: Job, result: Copy | TakeholdError) -> None:
        with self._lock:
            if self._open.pop(job.recording.id, None) is None:
                return
        self._report(job, self.target, result)

    # -- writing

    def _write(self) -> None:
        part: Part | None = None
        while (item := self._inbox.get()) is not None:
            word, job, buffer = item
            self._touch()
            if buffer is not None:
                part = self._write_data(part, job, buffer)
            elif word == "begin":
                part = self._begin(job)
            elif part is not None:
                self._flush(part, job)
                part = None
            self._touch()
        if part is not None:
            part.drop()
        self._proofs.put(None)

    def _begin(self, job: Job) -> Part | None:
        if self.left:
            return None
        part: Part | None = None
        try:
            part = self._tree.part(folder_of(job.recording.place))
            self._tree.check_name(job.recording.place)
            part.reserve(job.size)
        except TakeholdError as error:
            self._fail(job, part, error)
            return None
        return part

    def _write_data(self, part: Part | None, job: Job, buffer: Buffer) -> Part | None:
        with self._lock:
            if self.left:
                self._ring.back(buffer)
                wanted = False
            else:
                self._in_hand = buffer
                wanted = True
        if not wanted:
            self._drop(part)
            return None
        try:
            if part is not None:
                part.write(buffer.view[: buffer.length], buffer.offset)
        except TakeholdError as error:
            self._fail(job, part, error)
            part = None
        with self._lock:
            held, self._in_hand = self._in_hand, None
        if held is not None:
            self._ring.back(held)
        if self.left:
            self._drop(part)
            return None
        return part

    def _flush(self, part: Part, job: Job) -> None:
        if self.left or job.fault is not None:
            part.drop()
            self._forget(job)
            return
        self.flushing = True
        try:
            durable = part.flush(job.size)
        except TakeholdError as error:
            self._fail(job, part, error)
            return
        finally:
            self.flushing = False
        self._proofs.put((job, part, durable))

    def _fail(self, job: Job, part: Part | None, error: TakeholdError) -> None:
        self._drop(part)
        name = display(job.recording.path)
        gone = isinstance(error, VolumeGone)
        if not gone and name not in error.says:  # a part's own name says nothing to a person
            told(error, f"{name} to {shown(self.target.name)}")
        self._answer(job, error)
        if gone and not self.left:
            self.leave(error)

    def _drop(self, part: Part | None) -> None:
        if part is not None:
            part.drop()

    def _forget(self, job: Job) -> None:
        with self._lock:
            self._open.pop(job.recording.id, None)

    # -- proving

    def _prove(self) -> None:
        kept: list[tuple[Job, Copy]] = []
        while (item := self._proofs.get()) is not None:
            job, part, durable = item
            job.closed.wait()
            if self.left or job.fault is not None or job.digests is None:
                part.drop()
                self._forget(job)
            else:
                self._prove_one(job, part, durable, kept)
            if kept and (self._proofs.empty() or len(kept) >= SETTLE_EVERY):
                kept = self._settle(kept)
        self._settle(kept)

    def _prove_one(self, job: Job, part: Part, durable: bool, kept: list[tuple[Job, Copy]]) -> None:
        assert job.digests is not None
        try:
            with part.reader() as reader:
                digests, seen = read_whole(reader, job.size, self._touch)
                mtime_ns = reader.stamp().mtime_ns
            if digests != job.digests:
                raise CopyDiffers(
                    f"{shown(self.target.name)} gave back other bytes than were written for "
                    f"{display(job.recording.path)}.",
                    "It is copied again by itself. If this returns, do not trust that drive.",
                )
            path, there = self._keep(job, part, job.digests)
        except TakeholdError as error:
            self._fail(job, part, error)
            return
        root = self.target.root
        if there is not None:  # another's bytes: flushed or not, only the medium can say
            seen, mtime_ns = there
            durable = durable and seen is Seen.MEDIUM
        proof = Proof(self._clock.now(), seen, durable, mtime_ns)
        copy = Copy(job.recording.id, self.target.name, root.identity, root.disks, path, proof)
        kept.append((job, copy))

    def _keep(
        self, job: Job, part: Part, digests: Digests
    ) -> tuple[bytes, tuple[Seen, int] | None]:
        """The name it has now; where the same bytes stood there, how those were read back."""
        place = path = job.recording.place
        for number in range(2, OTHER_NAMES):
            try:
                self._awake.check()
                part.keep(path)
            except NameTaken:
                there = self._stands_there(path, job.size, digests)
                if there is not None:
                    part.drop()
                    return path, there
                path = beside(place, b"other", number)
            else:
                return path, None
        raise NameTaken(f"{display(place)} and {OTHER_NAMES} names beside it are taken.")

    def _stands_there(self, path: bytes, size: int, digests: Digests) -> tuple[Seen, int] | None:
        """How the very same bytes were read back under that name, and their time; or None."""
        there = self._tree.stamp_of(path)
        if there is None or there.size != size:
            return None
        with self._tree.open(path) as reader:
            found, seen = read_whole(reader, size, self._touch)
        return (seen, there.mtime_ns) if found == digests else None

    def _settle(self, kept: list[tuple[Job, Copy]]) -> list[tuple[Job, Copy]]:
        """Make the names durable, then report; the empty list of what is still to settle."""
        folders: dict[bytes, bool | TakeholdError] = {}
        for folder in {folder_of(copy.path) for _, copy in kept}:
            try:
                folders[folder] = self._tree.settle(folder)
            except TakeholdError as error:
                folders[folder] = error
        for job, copy in kept:
            folder_durable = folders[folder_of(copy.path)]
            if isinstance(folder_durable, TakeholdError):
                self._answer(job, folder_durable)
                continue
            durable = copy.proof.durable and folder_durable
            proof = promised(copy.proof, self.target.root.volume, durable=durable)
            self._answer(job, replace(copy, proof=proof))
        return []


def folder_of(path: bytes) -> bytes:
    """The folder part of a path, b"" for none."""
    return path.rpartition(b"/")[0]


def stalled(target: Target) -> Stalled:
    """What is said of a destination that moves nothing."""
    return Stalled(
        f"{shown(target.name)} has not taken a byte for a while; the others went on without it.",
        "It is tried again by itself. Check its cable and power.",
    )
