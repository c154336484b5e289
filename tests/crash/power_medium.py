"""What the disks hold when the power ends: all that was flushed, and by luck more.

Until a disk is flushed, of what was written to it since its last flush anything may have reached
the medium: nothing, all, or any part in any order. A sector of 512 bytes is whole, old or new; that
much is common practice of disks, no source.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from crash.power_recording import DISKS, Recording
from faultlab.write_log import FLUSH, NOTE, WRITE, Record

SECTOR = 512
CHUNK = 1 << 16
NOTHING, ALL = 0, 1
"""Lucks that are no dice: of what was not flushed nothing, or all of it, is there."""

Pieces = Sequence[tuple[int, bytes]]


@dataclass(frozen=True, slots=True, order=True)
class Point:
    """The power ends after so many records of the log, with some luck."""

    position: int
    luck: int

    def __str__(self) -> str:
        return f"{self.position}:{self.luck}"


class Medium:
    """One disk."""

    def __init__(self, base: Path) -> None:
        self._flushed = bytearray(base.read_bytes())
        # Chunks that are not all zero: the others are left out of an image.
        count = len(self._flushed) // CHUNK + 1
        self._used = {n for n in range(count) if self._flushed[_chunk(n)].strip(b"\0")}
        self._waiting: list[tuple[int, bytes]] = []
        self._writes = 0

    def take(self, record: Record) -> None:
        """What a record of the log does to it."""
        if record.kind == WRITE:
            self._waiting.append((record.offset, record.data))
            self._writes += 1
        elif record.kind == FLUSH:
            for offset, data in self._waiting:
                self._put(offset, data)
            self._waiting = []

    def lucky(self, luck: int, dice: random.Random) -> tuple[int, tuple[tuple[int, bytes], ...]]:
        """How many writes are flushed, and what of the others is there: equal for equal images."""
        flushed = self._writes - len(self._waiting)
        if luck == NOTHING:
            return flushed, ()
        if luck == ALL:
            return flushed, tuple(self._waiting)
        return flushed, tuple(_some(self._waiting, dice))

    def image(self, path: Path, more: Pieces) -> None:
        """Write the whole disk to a file, with some of what was not flushed."""
        with path.open("wb") as file:
            os.ftruncate(file.fileno(), len(self._flushed))
            for number in sorted(self._used):
                os.pwrite(file.fileno(), self._flushed[_chunk(number)], number * CHUNK)
            for offset, data in more:
                os.pwrite(file.fileno(), data, offset)

    def _put(self, offset: int, data: bytes) -> None:
        self._flushed[offset : offset + len(data)] = data
        self._used.update(range(offset // CHUNK, (offset + len(data) - 1) // CHUNK + 1))


def _chunk(number: int) -> slice:
    return slice(number * CHUNK, (number + 1) * CHUNK)


def _some(waiting: Pieces, dice: random.Random) -> Iterator[tuple[int, bytes]]:
    """Each write lost, there, or torn; by dice that are themselves more or less kind."""
    kept, torn = dice.choice((0.1, 0.5, 0.9)), dice.choice((0.0, 0.3))
    for offset, data in waiting:
        if dice.random() < torn:
            for at in range(0, len(data), SECTOR):
                if dice.random() < kept:
                    yield offset + at, data[at : at + SECTOR]
        elif dice.random() < kept:
            yield offset, data


class Media:
    """All disks of a recording, on their way through its log."""

    def __init__(self, recording: Recording, seed: int) -> None:
        self._recording = recording
        self._seed = seed
        self.log = recording.records()
        self._begin()

    def _begin(self) -> None:
        self._position = 0
        self.disks = {name: Medium(self._recording.base(name)) for name in DISKS}

    def at(self, point: Point) -> Mapping[str, tuple[int, tuple[tuple[int, bytes], ...]]]:
        """Go there; for each disk, what is flushed and what luck adds: a name of this state."""
        if point.position < self._position:
            self._begin()
        each = list(self.disks.values())
        for record in self.log[self._position : point.position]:
            each[record.disk].take(record)
        self._position = point.position
        return {
            name: medium.lucky(point.luck, random.Random(f"{self._seed} {point} {name}"))
            for name, medium in self.disks.items()
        }


def boundaries(log: Sequence[Record]) -> list[int]:
    """Positions right before and right after each flush, while the program works."""
    near = {n for n, r in enumerate(log) if r.kind == FLUSH}
    near |= {n + 1 for n, r in enumerate(log) if r.kind in (FLUSH, NOTE)}
    return [n for n in worked(log) if n in near]


def between(log: Sequence[Record]) -> list[int]:
    """All other positions while the program works: after each write that no flush follows."""
    near = set(boundaries(log))
    return [n for n in worked(log) if n not in near and log[n - 1].kind == WRITE]


def worked(log: Sequence[Record]) -> Iterator[int]:
    """Positions from each beginning of the program to right after its end."""
    works = False
    for number, record in enumerate(log):
        if works:
            yield number
        if record.kind == NOTE:
            if works:
                yield number + 1
            works = record.data.startswith(b"begin")


def points(log: Sequence[Record], lucks: int) -> list[Point]:
    """Each boundary with each luck, and each position between with one that is dice."""
    found = [Point(n, luck) for n in boundaries(log) for luck in range(lucks)]
    found += [Point(n, max(lucks, 2)) for n in between(log)]
    return sorted(found)
