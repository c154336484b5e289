"""One function a step: the only place where a step's errors are caught.

Runs in working threads. It sees frozen values only, never the ledger, and tells what it found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from functools import partial

from takehold.decide.inventory import Described
from takehold.decide.keys import compare_key, land_key, prove_key, rec_key, stock_key
from takehold.decide.looked_into import NOT_DESCRIBED
from takehold.engine.heads import Heads
from takehold.engine.job import Job
from takehold.engine.judging import OPINION_IN_PASSING, Spring
from takehold.engine.outcome import Outcome, Recognised, Stop, Tell
from takehold.engine.patience import Patience
from takehold.engine.publish import publish
from takehold.engine.reading import as_unreadable
from takehold.engine.recheck import Recheck, broken
from takehold.engine.recognise import is_known
from takehold.engine.ring import Ring
from takehold.engine.salvage import Salvager
from takehold.engine.stretch import Stretch
from takehold.engine.transfer import Transfer
from takehold.model.comparison import Comparison
from takehold.model.errors import (
    EvidenceError,
    FileMissing,
    SourceChanged,
    TakeholdError,
    VolumeGone,
)
from takehold.model.facts import ChannelBlocks, Compared, Proven
from takehold.model.finding import Relation
from takehold.model.recording import Copy, Recording
from takehold.model.situation import Sighted, Target
from takehold.model.sound import Complaint, Description, Kind
from takehold.model.step import (
    CatchUp,
    Compare,
    Confirm,
    Measure,
    Prove,
    Publish,
    Recognise,
    Salvage,
    Step,
    TakeStock,
)
from takehold.model.step import Transfer as TransferStep
from takehold.ports.clock import Clock
from takehold.ports.decoder import Decoder
from takehold.ports.disk import DestinationTree, Disk, Reader, SourceTree

TELL_EVERY = 200
# How a read of a copy ends that is shorter than it was, or holds other bytes.
NOT_AS_WRITTEN = frozenset({"altered", SourceChanged.code})
# How a comparison ends that may have read such a copy.
DOUBTFUL = NOT_AS_WRITTEN | {"not-decoded", FileMissing.code}
# A recording, the version before it, and who lacks it.
Owing = tuple[Recording, Recording | None, tuple[Target, ...]]
# A file with one of these is not whole: a decoder's opinion of it says nothing new.
NOT_WHOLE = frozenset({"header-unfinished", "header-untrue", "no-fmt", "no-data", "empty-file"})


@dataclass(frozen=True, slots=True)
class Work:
    """A step with what the loop adds: earlier versions, files to publish, blocks to compare.

    `asleep_ns` is the clock's count when that was seen which the step goes by.
    """

    step: Step
    previous: Mapping[int, Recording]
    files: Mapping[bytes, bytes]
    asleep_ns: int = 0
    blocks: Mapping[int, ChannelBlocks] = field(default_factory=dict)


class Performer:
    """Carries steps out."""

    def __init__(self, disk: Disk, decoder: Decoder, clock: Clock, patience: Patience) -> None:
        self._disk = disk
        self._decoder = decoder
        self._clock = clock
        self._patience = patience
        self._rings: list[Ring] = []
        self._heads = Heads()
        self._spring = partial(Spring, opinion=self._second_opinion, heads=self._heads)

    def perform(self, work: Work, tell: Tell, moved: Callable[[int], None], stop: Stop) -> None:
        """Do it. Every foreseeable fault is told, not raised; after a sleep nothing is done."""
        stop = stretch = Stretch(self._clock, work.asleep_ns, stop)
        tell = stretch.telling(tell)
        match work.step:
            case Recognise() as step:
                self._recognise(step, tell, moved, stop)
            case TakeStock() as step:
                self._take_stock(step, tell, moved, stop)
            case TransferStep() as step:
                before = work.previous.get
                owed = [(o.recording, before(o.recording.id), o.targets) for o in step.owed]
                self._from_card(step, owed, tell, moved, stop)
            case Confirm() as step:
                again = [(r, None, ()) for r in step.recordings]
                self._from_card(step, again, tell, moved, stop)
            case Salvage() as step:
                parts = self._disk, self._patient, self._clock, self._patience.seconds
                Salvager(step, *parts).run(tell, moved, stop)
            case CatchUp() as step:
                self._catch_up(step, tell, moved, stop)
            case Prove() | Measure() | Compare() as step:
                self._read_copies(step, work, tell, moved, stop)
            case Publish() as step:
                publish(step, work.files, self._disk, self._clock, tell, stretch)

    # -- inventory

    def _recognise(
        self, step: Recognise, tell: Tell, moved: Callable[[int], None], stop: Stop
    ) -> None:
        """A card that cannot be opened is taken for what it was: what is owed of it will say so."""
        same = True
        try:
            with self._disk.source(step.root) as tree:
                same = is_known(step, tree, lambda: _go_on(moved, stop, 1))
        except SourceChanged as error:  # it shall stop
            tell(Outcome(error=error))
            return
        except TakeholdError:
            pass
        tell(Outcome(recognised=Recognised(step.root, step.load.id, same)))

    def _take_stock(
        self, step: TakeStock, tell: Tell, moved: Callable[[int], None], stop: Stop
    ) -> None:
        found: list[Described] = []
        failed: TakeholdError | None = None
        try:
            with self._disk.source(step.root) as tree:
                for file in step.files:
                    if stop.is_set():
                        break
                    self._describe(tree, step, file, found, tell)
                    moved(1)
                    if len(found) >= TELL_EVERY:
                        tell(Outcome(load=step.load, described=tuple(found)))
                        found = []
        except TakeholdError as error:
            failed = error
        tell(Outcome((), f"load {step.load.id}", failed, step.load, tuple(found)))

    def _describe(
        self,
        tree: SourceTree,
        step: TakeStock,
        file: Sighted,
        found: list[Described],
        tell: Tell,
    ) -> None:
        """A file that cannot be opened or read is taken in all the same: it is owed (P7).

        One that changed since it was listed waits for the next look.
        """
        key = stock_key(step.load.id, file.path)
        try:
            with tree.open(file.path) as reader:
                if reader.stamp() != file.stamp:
                    return
                said = self._heads.describe(reader.read_at, step.load.id, file.path, file.stamp)
                if file.stamp.size > OPINION_IN_PASSING:
                    said = self._second_opinion(said, reader, file.stamp.size)
        except VolumeGone:
            raise
        except FileMissing as error:
            tell(Outcome(key=key, error=error))
            return
        except TakeholdError as error:
            complaint = Complaint(NOT_DESCRIBED, "")
            said = Description(Kind.OTHER, complaints=(complaint,))
            tell(Outcome(key=key, error=as_unreadable(error)))
        else:
            tell(Outcome(key=key))
        found.append(Described(file, said))

    def _second_opinion(self, said: Description, reader: Reader, size: int) -> Description:
        codes = {c.code for c in said.complaints}
        # What is compressed is decoded whole when it is measured (engine/measure).
        if said.kind is not Kind.WAVE or not said.frames or codes & NOT_WHOLE:
            return said
        complaint = self._decoder.complaint(reader, size, said.frames)
        if complaint is None:
            return said
        return replace(said, complaints=(*said.complaints, Complaint("not-decoded", complaint)))

    # -- reading from a card

    def _from_card(
        self,
        step: TransferStep | Confirm,
        owed: Sequence[Owing],
        tell: Tell,
        moved: Callable[[int], None],
        stop: Stop,
    ) -> None:
        try:
            with self._disk.source(step.root) as tree:
                spring = self._spring(lambda r: tree.open(r.path), lambda r: r.stamp)
                self._carry(spring, owed, tell, moved, stop)
        except TakeholdError as error:
            for recording, _, _ in owed[:1]:
                tell(Outcome(key=rec_key(recording.id), error=error))

    def _carry(
        self,
        spring: Spring,
        owed: Sequence[Owing],
        tell: Tell,
        moved: Callable[[int], None],
        stop: Stop,
    ) -> None:
        with self._ring() as ring:
            transfer = Transfer(spring, ring, tell, self._clock, self._patience.seconds)
            targets = {t.root.identity: t for _, _, ts in owed for t in ts}
            for target in targets.values():
                try:
                    transfer.add(target, self._patient(target))
                except TakeholdError as error:
                    first = next(r for r, _, ts in owed if target in ts)
                    key = land_key(first.id, target.root.identity)
                    tell(Outcome(key=key, error=error))
            named = ((Job(r, old), [t.root.identity for t in ts]) for r, old, ts in owed)
            transfer.run(named, moved, stop)

    @contextmanager
    def _patient(self, target: Target) -> Iterator[DestinationTree]:
        """Its tree; a drive that hangs already when it is opened is not waited for."""
        with ExitStack() as stack:
            opening = self._disk.destination(target.root)
            key = f"open {target.root.volume.mount_id}"
            yield self._patience.ask(key, lambda: stack.enter_context(opening))

    @contextmanager
    def _ring(self) -> Iterator[Ring]:
        ring = self._rings.pop() if self._rings else Ring()
        yield ring
        self._rings.append(ring)

    # -- from copy to copy

    def _catch_up(
        self, step: CatchUp, tell: Tell, moved: Callable[[int], None], stop: Stop
    ) -> None:
        copies = {recording.id: copy for recording, copy, _ in step.pairs}
        homes = {recording.id: home for recording, _, home in step.pairs}

        def told(outcome: Outcome) -> None:
            word, rid = outcome.key.split()[:2]
            if word == "rec" and outcome.error is not None:
                outcome = self._unread(copies[int(rid)], outcome.key, outcome.error)
            tell(outcome)
            if word == "land" and outcome.error is None:
                tell(Outcome(key=rec_key(int(rid))))  # a copy could be read, so it serves

        with ExitStack() as stack:
            trees: dict[str, DestinationTree] = {}

            def open_copy(recording: Recording) -> AbstractContextManager[Reader]:
                home = homes[recording.id].root
                if home.identity not in trees:
                    trees[home.identity] = stack.enter_context(self._disk.destination(home))
                return trees[home.identity].open(copies[recording.id].path)

            spring = Spring(open_copy, lambda _: None, counts=False)
            owed = [(recording, None, (step.target,)) for recording, _, _ in step.pairs]
            self._carry(spring, owed, told, moved, stop)

    def _unread(self, copy: Copy, key: str, error: TakeholdError) -> Outcome:
        """A copy that others should be made from is altered, is gone, or cannot be read now."""
        if error.code in NOT_AS_WRITTEN:
            return Outcome((broken(copy, "altered", self._clock),), key)
        if isinstance(error, FileMissing):
            return Outcome((broken(copy, "missing", self._clock),), key)
        return Outcome(key=key, error=error)

    # -- reading copies

    def _read_copies(
        self,
        step: Prove | Measure | Compare,
        work: Work,
        tell: Tell,
        moved: Callable[[int], None],
        stop: Stop,
    ) -> None:
        match step:
            case Prove():
                self._prove(step, tell, moved, stop)
            case Measure():
                self._measure(step, tell, moved, stop)
            case Compare():
                told: list[Outcome] = []  # at once in the end: each tells the loop to look around
                for one in (step, *step.then):
                    if not (told and stop.is_set()):
                        self._compare(one, work.blocks, told.append, moved, stop)
                for outcome in told:
                    tell(outcome)

    def _prove(self, step: Prove, tell: Tell, moved: Callable[[int], None], stop: Stop) -> None:
        try:
            with self._disk.destination(step.target.root) as tree:
                again = Recheck(tree, step.target, self._clock, tell, lambda: _go_on(moved, stop))
                for recording, copy in step.pairs:
                    if stop.is_set():
                        return
                    again.holds(recording, copy)
                    moved(recording.stamp.size)
        except TakeholdError as error:
            tell(Outcome(key=prove_key(step.pairs[0][1]), error=error))

    def _measure(self, step: Measure, tell: Tell, moved: Callable[[int], None], stop: Stop) -> None:
        """What is measured are the bytes that were proven: they are proven again right before."""
        from takehold.engine.measure import measure  # noqa: PLC0415  # numpy takes 0.1 s

        recording, copy = step.recording, step.copy
        read = partial(_go_on, moved, stop)
        told: list[Outcome] = []
        try:
            with self._disk.destination(step.target.root) as tree:
                Recheck(tree, step.target, self._clock, told.append, read).holds(recording, copy)
                for outcome in told:
                    tell(outcome)
                if any(isinstance(fact, Proven) for outcome in told for fact in outcome.facts):
                    moved(recording.stamp.size)
                    with tree.open(copy.path) as reader:
                        facts = measure(recording, reader, self._decoder, read)
                    tell(Outcome(facts, prove_key(copy)))
        except TakeholdError as error:
            tell(Outcome(key=prove_key(copy), error=error))

    def _compare(
        self,
        step: Compare,
        blocks: Mapping[int, ChannelBlocks],
        tell: Tell,
        moved: Callable[[int], None],
        stop: Stop,
    ) -> None:
        """Where a copy may be another one than was proven, it is read again before a word is said.

        What is broken is compared no more: another copy is, from this drive or another. That a
        recording's own bytes do not decode is an answer: no other copy would.
        """
        from takehold.engine.compare import compare  # noqa: PLC0415  # numpy takes 0.1 s

        sides = tuple(r.id for r, _ in step.ours), tuple(r.id for r, _ in step.theirs)
        key = compare_key(*sides)
        copies = (*step.ours, *step.theirs)
        try:
            with self._disk.destination(step.target.root) as tree:
                again = Recheck(tree, step.target, self._clock, tell, lambda: _go_on(moved, stop))
                try:
                    found = compare(
                        step, tree, self._decoder, blocks, lambda n: _go_on(moved, stop, n)
                    )
                except (EvidenceError, FileMissing) as error:
                    if error.code not in DOUBTFUL:
                        raise
                    if not all(again.holds(*pair) for pair in copies):
                        tell(Outcome(key=key))
                        return
                    if error.code != "not-decoded" or not all(map(_is_audio, copies)):
                        raise
                    found = Comparison(*sides, Relation.UNDECODED, 0)
                # Without known blocks nothing else would show that a copy is not the recording.
                unsure = found.relation is Relation.DIFFERENT
                unseen = [pair for pair in copies if unsure and pair[0].id not in blocks]
                if not all(again.holds(*pair) for pair in unseen):
                    tell(Outcome(key=key))
                    return
        except TakeholdError as error:
            tell(Outcome(key=key, error=error))
        else:
            tell(Outcome((Compared(replace(found, at=self._clock.now())),), key))


def _is_audio(pair: tuple[Recording, Copy]) -> bool:
    return pair[0].description.kind is not Kind.OTHER


def _go_on(moved: Callable[[int], None], stop: Stop, count: int = 0) -> None:
    """A buffer was read: say that the work lives, and end it there when it shall stop."""
    moved(count)
    if stop.is_set():
        raise SourceChanged("Stopped before the end.", code="stopped")
