"""A unit: what of a take is compared at once.

It is a take of which nothing is answered yet, or its parts in a row of which that is so; else the
files of a part that are left.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from takehold.model.comparison import Side
from takehold.model.recording import Recording
from takehold.model.sound import Kind
from takehold.model.take import Take


class Unit(NamedTuple):
    """What is compared at once: the files of each part, part after part."""

    parts: tuple[tuple[Recording, ...], ...]

    @property
    def first(self) -> Recording:
        """The recording that stands for it."""
        return self.parts[0][0]

    @property
    def files(self) -> tuple[Recording, ...]:
        """All its recordings."""
        return tuple(file for part in self.parts for file in part)

    @property
    def side(self) -> Side:
        """Their numbers."""
        return tuple(file.id for file in self.files)

    @property
    def compressed(self) -> bool:
        """Whether it is a FLAC or MP3."""
        return self.first.description.kind is Kind.COMPRESSED

    @property
    def start(self) -> Fraction | None:
        """Where it begins, in seconds since midnight."""
        said, made = self.first.description.metadata, self.first.description.format
        if said.time_reference is None or made is None or not made.sample_rate:
            return None
        return Fraction(said.time_reference, made.sample_rate)

    @property
    def seconds(self) -> Fraction | None:
        """Its length without the gaps between its parts."""
        made = self.first.description.format
        lengths = [length_of(part) for part in self.parts]
        if made is None or not made.sample_rate or None in lengths:
            return None
        return Fraction(sum(length or 0 for length in lengths), made.sample_rate)


def length_of(part: Iterable[Recording]) -> int | None:
    """The frames of a part, those of its longest file; None where that of one is not known."""
    lengths = [file.description.frames for file in part]
    return None if None in lengths else max((length or 0 for length in lengths), default=None)


def units(
    found: Iterable[Take], recordings: Mapping[int, Recording], open_ones: Iterable[Recording]
) -> list[Unit]:
    """Those of the recordings that are not answered yet, in the order of their paths."""
    left = {recording.id: recording for recording in open_ones}
    made: list[Unit] = []
    for take in found:
        parts = [tuple(recordings[n] for n in part.files) for part in take.parts]
        for piece in _whole(parts, left):
            made.append(Unit(piece))
            for file in made[-1].files:
                del left[file.id]
    made += [Unit(((recording,),)) for recording in left.values()]
    return sorted(made, key=lambda unit: (unit.first.path, unit.first.id))


def _whole(
    parts: list[tuple[Recording, ...]], left: Mapping[int, Recording]
) -> Iterator[tuple[tuple[Recording, ...], ...]]:
    """What is left of a take: parts in a row that are left whole, and the rests of others."""
    for free, run in groupby(parts, lambda part: all(file.id in left for file in part)):
        if free:
            yield tuple(run)
            continue
        for part in run:
            if rest := tuple(file for file in part if file.id in left):
                yield (rest,)
