"""Proving what was written on one destination (P3), in a thread of its own.

Flush, read back from the medium, compare, give the name, flush the folder, and only then say so.

Rules of this file:
1. Any error of a flush kills that copy; nothing is retried here.
2. A name that is taken stays as it is: if the very same bytes stand there, that is the copy;
   else the new one gets a name of its own.
3. What a sleep of the machine came into gets no name.
4. A large part is flushed and read back piece by piece while the rest is written: the copy must
   still be flushed as a whole before it gets its name. Small ones are flushed together.
"""

from __future__ import annotations

import queue
from collections.abc import Sequence
from copy import copy as another

from takehold.decide.durable import promised
from takehold.decide.place import beside
from takehold.engine.course import Course
from takehold.engine.job import Job
from takehold.engine.reading import ReadBack, read_whole
from takehold.engine.stretch import Awake
from takehold.formats.names import display, shown
from takehold.model.errors import CopyDiffers, NameTaken, TakeholdError
from takehold.model.recording import Copy, Digests, Proof, Seen
from takehold.ports.clock import Clock
from takehold.ports.disk import DestinationTree, Part

OTHER_NAMES = 100
AT_ONCE = 16


class Written:
    """A part on its way: written by one thread, then flushed, read back and named by another.

    Only the proving thread drops it: it may be reading it.
    """

    __slots__ = ("back", "dead", "durable", "job", "part")

    def __init__(self, job: Job, part: Part) -> None:
        self.job = job
        self.part = part
        self.back = ReadBack(part)
        self.durable = False
        self.dead = False


# A piece is written up to there; all of it is written; it is given up (None).
Notice = tuple[Written, int | None]


class Prover:
    """Takes notices in the order they were given, so that a part's end follows its pieces."""

    def __init__(self, tree: DestinationTree, course: Course, clock: Clock) -> None:
        self._tree = tree
        self._course = course
        self._clock = clock
        self._awake = Awake(clock, clock.asleep_ns())
        self._notices: queue.SimpleQueue[Notice | None] = queue.SimpleQueue()

    def written(self, written: Written, end: int) -> None:
        """So many bytes of it are written; all of them if that is the job's size."""
        self._notices.put((written, end))

    def given_up(self, written: Written) -> None:
        """Nothing more of it is written: it is dropped."""
        self._notices.put((written, None))

    def close(self) -> None:
        """No more notices."""
        self._notices.put(None)

    def run(self) -> None:
        """Work until closed."""
        whole: list[Written] = []
        while (notice := self._notices.get()) is not None:
            written, end = notice
            if end is None:
                self._drop(written)
            elif end < written.job.size:
                self._read_ahead(written, end)
            else:
                whole.append(written)
            if whole and (len(whole) >= AT_ONCE or self._notices.empty()):
                self.prove(whole)
                whole = []
        self.prove(whole)

    def _read_ahead(self, written: Written, end: int) -> None:
        if self._course.left or written.dead:
            return
        try:
            if self._flushed_piece(written):
                written.back.up_to(end, self._course.touch)
        except TakeholdError as error:
            self._fail(written, error)

    def _flushed_piece(self, written: Written) -> bool:
        with self._course.flushing_now():
            return written.part.flush_piece()

    def prove(self, whole: Sequence[Written]) -> None:
        """What is written as a whole: flushed together, each read back, their names settled.

        Also by another thread, for parts of which no notice was given.
        """
        self._flush(whole)
        kept: list[tuple[Job, Copy]] = []
        for written in whole:
            if self._counts(written):
                self._prove_one(written, kept)
            if self._counts(written):
                self._course.let_go()
            else:
                self._drop(written)
        self._settle(kept)

    def _counts(self, written: Written) -> bool:
        """Whether it may still get its name; not what is being stopped, or failed."""
        return not (self._course.left or written.dead or written.job.fault)

    def _flush(self, whole: Sequence[Written]) -> None:
        counting = [written for written in whole if self._counts(written)]
        with self._course.flushing_now():
            if len(counting) > 1:
                self._flush_together(counting)
            for written in counting:
                if not written.dead:
                    self._flush_one(written)

    def _flush_together(self, several: Sequence[Written]) -> None:
        try:
            self._tree.flush_together([written.part for written in several])
        except TakeholdError as error:
            for written in several:
                self._fail(written, another(error))

    def _flush_one(self, written: Written) -> None:
        try:
            written.durable = written.part.flush(written.job.size)
        except TakeholdError as error:
            self._fail(written, error)
        self._course.touch()

    def _prove_one(self, written: Written, kept: list[tuple[Job, Copy]]) -> None:
        job = written.job
        try:
            back, seen, mtime_ns = written.back.whole(job.size, self._course.touch)
            job.closed.wait()
            if job.fault is not None or job.digests is None or self._course.left:
                written.dead = True
                return
            if back != job.handed:
                raise CopyDiffers(
                    f"{shown(self._course.target.name)} gave back other bytes than were written "
                    f"for {display(job.recording.path)}.",
                    "It is copied again by itself. If this returns, do not trust that drive.",
                )
            path, there = self._keep(job, written.part, job.digests)
        except TakeholdError as error:
            self._fail(written, error)
            return
        durable = written.durable
        if there is not None:  # another's bytes: flushed or not, only the medium can say
            seen, mtime_ns = there
            durable = durable and seen is Seen.MEDIUM
        proof = Proof(self._clock.now(), seen, durable, mtime_ns)
        target = self._course.target
        root = target.root
        copy = Copy(job.recording.id, target.name, root.identity, root.disks, path, proof)
        kept.append((job, copy))

    def _fail(self, written: Written, error: TakeholdError) -> None:
        written.dead = True
        self._course.fail(written.job, error)

    def _drop(self, written: Written) -> None:
        written.back.close()
        written.part.drop()
        self._course.forget(written.job)
        self._course.let_go()

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
            found, seen = read_whole(reader, size, self._course.touch)
        return (seen, there.mtime_ns) if found == digests else None

    def _settle(self, kept: Sequence[tuple[Job, Copy]]) -> None:
        """Make the names durable, then report."""
        folders: dict[bytes, bool | TakeholdError] = {}
        with self._course.flushing_now():
            for folder in {folder_of(copy.path) for _, copy in kept}:
                try:
                    folders[folder] = self._tree.settle(folder)
                except TakeholdError as error:
                    folders[folder] = error
        for job, copy in kept:
            folder_durable = folders[folder_of(copy.path)]
            if isinstance(folder_durable, TakeholdError):
                self._course.answer(job, folder_durable)
                continue
            durable = copy.proof.durable and folder_durable
            volume = self._course.target.root.volume
            proof = promised(copy.proof, volume, durable=durable)
            self._course.answer(job, copy._replace(proof=proof))


def folder_of(path: bytes) -> bytes:
    """The folder part of a path, b"" for none."""
    return path.rpartition(b"/")[0]
