"""Saving what can be read of a file that cannot be read whole.

The card is read once, block by block: all large blocks first, then what gave an error in halves,
down to a page. So what is easily read is safe before the bad places are gone into. What is read is
written at its place on every destination at once; holes are zeros. A destination gets the file's
name only once it was read back, as for a copy; it never is one.

Tries and time are bounded: what is left then counts as missing.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, field
from functools import partial

from takehold.decide.keys import rec_key, salvage_key, stock_key
from takehold.decide.salvage import (
    BLOCK,
    NOTE_ENDING,
    PAGE,
    Range,
    halves,
    joined,
    pieces,
    place_of_salvage,
    said_beside,
)
from takehold.engine.landing import FLUSH_PATIENCE
from takehold.engine.outcome import Outcome, Stop, Tell
from takehold.engine.patience import Patience
from takehold.engine.proving import OTHER_NAMES, folder_of
from takehold.engine.reading import as_unreadable, read_whole
from takehold.engine.ring import Buffer
from takehold.engine.small_file import land_bytes
from takehold.engine.stretch import Awake
from takehold.formats.digest import FileDigest
from takehold.formats.names import display, shown
from takehold.model.errors import (
    CopyDiffers,
    NameTaken,
    SourceChanged,
    Stalled,
    TakeholdError,
    Unreadable,
)
from takehold.model.facts import Fact, Salvaged, TroubleOver
from takehold.model.recording import Digests, Recording
from takehold.model.situation import Target
from takehold.model.step import Salvage
from takehold.ports.clock import Clock
from takehold.ports.disk import DestinationTree, Disk, Part, Reader

MOST_ERRORS = 2000
# Spent in reads that gave an error: a device may try each for half a minute.
ERROR_SECONDS = 600
SECOND_NS = 10**9

Opening = Callable[[Target], AbstractContextManager[DestinationTree]]


class Home:
    """One destination's side. Each question to it ends, or the destination is left."""

    def __init__(
        self, target: Target, opening: Opening, size: int, stall_seconds: float, awake: Awake
    ) -> None:
        self.target = target
        self._awake = awake
        self._quick = Patience(stall_seconds)
        self._slow = Patience(stall_seconds * FLUSH_PATIENCE)
        self._key = target.root.identity
        self._stack = ExitStack()
        self._tree = self._stack.enter_context(opening(target))
        self._part: Part | None = None
        self._size = size

    def begin(self, place: bytes) -> None:
        """A new part with room for all of it."""

        def begun() -> Part:
            part = self._tree.part(folder_of(place))
            self._part = part
            part.reserve(self._size)
            return part

        self._quick.ask(self._key, begun)

    def write(self, view: memoryview, offset: int) -> None:
        """Bytes at their place."""
        part = self._held()
        self._quick.ask(self._key, partial(part.write, view, offset))

    def land(self, recording: Recording, sums: Sequence[tuple[Range, Digests]]) -> bytes:
        """Flush, read back, name; the name it got."""
        part = self._held()
        self._slow.ask(self._key, partial(part.flush, self._size))
        whole = self._read_back(part, sums)
        for number in range(1, OTHER_NAMES):
            path = place_of_salvage(recording.place, number)
            self._awake.check()
            try:
                self._quick.ask(self._key, partial(part.keep, path))
            except NameTaken:
                if self._slow.ask(self._key, partial(self._holds, path, whole)):
                    return path  # an earlier try came as far as that
            else:
                self._slow.ask(self._key, partial(self._tree.settle, folder_of(path)))
                return path
        raise NameTaken(f"{OTHER_NAMES} names beside {display(path)} are taken.")

    def note(self, path: bytes, text: bytes) -> None:
        """The small file that says what it is."""
        name, may = path + NOTE_ENDING, self._awake.check
        self._slow.ask(self._key, partial(land_bytes, self._tree, name, text, may))

    def _held(self) -> Part:
        assert self._part is not None
        return self._part

    def _read_back(self, part: Part, sums: Sequence[tuple[Range, Digests]]) -> Digests:
        """The whole file's checksums; CopyDiffers where a piece is not what was written."""
        buffer, whole = Buffer(BLOCK), FileDigest()
        with part.reader() as reader:
            for (first, end), digests in sums:
                view = buffer.view[: _pages(end - first)]
                count = self._quick.ask(self._key, partial(reader.read_into, view, first))
                if count != end - first or _digests(view[:count]) != digests:
                    where = shown(self.target.name)
                    raise CopyDiffers(f"{where} gave back other bytes than were salvaged.")
                whole.update(view[:count])
        return whole.digests()

    def _holds(self, path: bytes, whole: Digests) -> bool:
        there = self._tree.stamp_of(path)
        if there is None or there.size != self._size:
            return False
        with self._tree.open(path) as reader:
            return read_whole(reader, self._size, lambda: None)[0] == whole

    def close(self, *, hangs: bool) -> None:
        """Drop what got no name, and let go; of one that hangs, once it answers."""
        if hangs:
            threading.Thread(target=self._close, daemon=True).start()
        else:
            self._close()

    def _close(self) -> None:
        if self._part is not None:
            self._part.drop()
        self._stack.close()


@dataclass(slots=True)
class Gathered:
    """What was read: checksums of each piece as it was written, and what is missing."""

    sums: list[tuple[Range, Digests]] = field(default_factory=list)
    missing: list[Range] = field(default_factory=list)


class Salvager:
    """Carries one such step out."""

    def __init__(
        self, step: Salvage, disk: Disk, opening: Opening, clock: Clock, stall_seconds: float
    ) -> None:
        self._step = step
        self._disk = disk
        self._opening = opening
        self._clock = clock
        self._awake = Awake(clock, clock.asleep_ns())
        self._stall_seconds = stall_seconds
        self._homes: list[Home] = []
        self._faults: list[TakeholdError] = []
        self._size = step.recording.stamp.size

    def run(self, tell: Tell, moved: Callable[[int], None], stop: Stop) -> None:
        """Tell what came of it; every foreseeable fault is told, not raised."""
        key = salvage_key(self._step.recording.id)
        try:
            self._begin()
            gathered = self._read(moved, stop)
            missing = joined(gathered.missing)
            kept = self._land(gathered, missing) if self._is_more(missing) else ()
            if self._faults and not kept and self._is_more(missing):
                raise self._faults[0]
        except TakeholdError as error:
            tell(Outcome(key=key, error=error))
        else:
            tell(self._outcome(key, missing, kept))
        finally:
            for home in self._homes:
                home.close(hangs=False)

    def _outcome(
        self, key: str, missing: tuple[Range, ...], kept: tuple[tuple[str, str, bytes], ...]
    ) -> Outcome:
        """Where all of it could be read, its failures are over: it is copied as any other."""
        recording, now = self._step.recording, self._clock.now()
        appearance = self._step.root.volume.appearance
        done = Salvaged(recording.id, appearance, missing, kept, now)
        if missing:
            return Outcome((done,), key)
        stock = TroubleOver(stock_key(recording.load, recording.path))
        facts: tuple[Fact, ...] = (done, stock, TroubleOver(key))
        return Outcome(facts, rec_key(recording.id))

    def _is_more(self, missing: Iterable[Range]) -> bool:
        """Whether there is something to keep: not all is missing, and not nothing."""
        return 0 < sum(end - first for first, end in missing) < self._size

    # -- destinations

    def _begin(self) -> None:
        place = place_of_salvage(self._step.recording.place)
        for target in self._step.targets:
            try:
                home = Home(target, self._opening, self._size, self._stall_seconds, self._awake)
            except TakeholdError as error:
                self._faults.append(error)
                continue
            self._homes.append(home)
            self._each([home], lambda h: h.begin(place))
        if not self._homes:
            raise self._faults[0]

    def _each(self, homes: Sequence[Home], do: Callable[[Home], None]) -> None:
        """Ask each; one that fails is left, and the others go on."""
        for home in homes:
            try:
                do(home)
            except TakeholdError as error:
                self._faults.append(error)
                self._homes.remove(home)
                home.close(hangs=isinstance(error, Stalled))

    def _write(self, view: memoryview, piece: Range, gathered: Gathered) -> None:
        self._each(list(self._homes), lambda home: home.write(view, piece[0]))
        if not self._homes:
            raise self._faults[0]
        gathered.sums.append((piece, _digests(view)))

    def _land(
        self, gathered: Gathered, missing: tuple[Range, ...]
    ) -> tuple[tuple[str, str, bytes], ...]:
        zeros = Buffer(BLOCK)
        for hole in missing:
            for at in range(hole[0], hole[1], BLOCK):
                piece = at, min(at + BLOCK, hole[1])
                self._write(zeros.view[: piece[1] - at], piece, gathered)
        gathered.sums.sort(key=lambda one: one[0])
        text = said_beside(self._step.recording, self._step.label, missing)
        lost, best = sum(end - first for first, end in missing), dict(self._step.best)
        kept: list[tuple[str, str, bytes]] = []

        def land(home: Home) -> None:
            root = home.target.root.identity
            if lost < best.get(root, self._size):
                path = home.land(self._step.recording, gathered.sums)
                home.note(path, text)
                kept.append((home.target.name, root, path))

        self._each(list(self._homes), land)
        return tuple(kept)

    # -- the card

    def _read(self, moved: Callable[[int], None], stop: Stop) -> Gathered:
        recording = self._step.recording
        with self._disk.source(self._step.root) as tree, ExitStack() as stack:
            try:
                reader = stack.enter_context(tree.open(recording.path))
                self._same(reader)
            except TakeholdError as error:
                if isinstance(as_unreadable(error), Unreadable):
                    return Gathered(missing=[(0, self._size)])
                raise
            gathered = self._gather(reader, moved, stop)
            self._same(reader)
        return gathered

    def _same(self, reader: Reader) -> None:
        if reader.stamp() != self._step.recording.stamp:
            raise SourceChanged(f"{display(self._step.recording.path)} changed while it was read.")

    def _gather(self, reader: Reader, moved: Callable[[int], None], stop: Stop) -> Gathered:
        gathered, buffer = Gathered(), Buffer(BLOCK)
        todo = deque(pieces(self._size))
        errors = spent_ns = 0
        while todo:
            if stop.is_set():
                raise SourceChanged("Stopped before the end.", code="stopped")
            if errors >= MOST_ERRORS or spent_ns >= ERROR_SECONDS * SECOND_NS:
                gathered.missing += todo
                break
            piece = todo.popleft()
            begun = self._clock.steady_ns()
            try:
                view = self._piece(reader, buffer, piece)
            except Unreadable:
                errors += 1
                spent_ns += self._clock.steady_ns() - begun
                parts = halves(piece)
                todo += parts
                gathered.missing += () if parts else (piece,)
                moved(0 if parts else piece[1] - piece[0])
            else:
                self._write(view, piece, gathered)
                moved(piece[1] - piece[0])
        return gathered

    def _piece(self, reader: Reader, buffer: Buffer, piece: Range) -> memoryview:
        """The bytes of a piece; Unreadable for the device's error."""
        first, end = piece
        try:
            count = reader.read_into(buffer.view[: _pages(end - first)], first)
        except TakeholdError as error:
            raise as_unreadable(error) from error
        if count < end - first:
            raise SourceChanged(f"{display(self._step.recording.path)} ended while it was read.")
        return buffer.view[: end - first]


def _pages(length: int) -> int:
    return -(-length // PAGE) * PAGE


def _digests(view: memoryview) -> Digests:
    digest = FileDigest()
    digest.update(view)
    return digest.digests()
