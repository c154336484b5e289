"""One side of a comparison as one recording: parts after each other, files beside each other.

All frames count from the side's first one.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from takehold.model.sound import BLOCK_FRAMES

DAY_S = 24 * 60 * 60


class Laid(NamedTuple):
    """A file of a side; `begin` is its TimeReference, `place` what it is in its part."""

    channels: int
    frames: int
    begin: int | None
    place: Hashable = None


class Run(NamedTuple):
    """Frames `begin` to `end` (not included) of a channel: all of a file's channel, from 0."""

    begin: int
    end: int
    file: int
    channel: int


Line = tuple[Run, ...]


def lines(files: Sequence[Laid], day: int) -> tuple[Line, ...]:
    """Where the samples of each channel are. `day` are the samples of 24 hours.

    Files of one TimeReference are one part. Parts that have one lie where it says, across
    midnight too, unless they would overlap; else one begins where the other ends. A channel goes on
    at the place of its file: a part may lack one of them.
    """
    parts = _parts(files)
    width = max((_width(files, part) for part in parts), default=0)
    runs: list[list[Run]] = [[] for _ in range(width)]
    firsts = _firsts(files, parts)
    for part, begin in zip(parts, _begins(files, parts, day), strict=True):
        for number in part:
            for channel in range(files[number].channels):
                run = Run(begin, begin + files[number].frames, number, channel)
                runs[firsts[number] + channel].append(run)
    return tuple(map(tuple, runs))


def _width(files: Sequence[Laid], part: Sequence[int]) -> int:
    return sum(files[n].channels for n in part)


def _firsts(files: Sequence[Laid], parts: Sequence[Sequence[int]]) -> dict[int, int]:
    """The line of each file's first channel: that of its place in the widest part, else in turn."""
    turn: dict[int, int] = {}
    for part in parts:
        for nth, number in enumerate(part):
            turn[number] = _width(files, part[:nth])
    widest = max(parts, key=lambda part: _width(files, part), default=())
    at = {(files[n].place, files[n].channels): turn[n] for n in widest}
    places = [[(files[n].place, files[n].channels) for n in part] for part in parts]
    if all(len({*its}) == len(its) and at.keys() >= {*its} for its in places):
        return {n: at[place] for part, its in zip(parts, places, strict=True)
                for n, place in zip(part, its, strict=True)}  # fmt: skip
    return turn


def _parts(files: Sequence[Laid]) -> list[list[int]]:
    """Neighbours that begin together; where that is not known, that are of one length."""
    known = all(file.begin is not None for file in files)
    parts: list[list[int]] = []
    for number, file in enumerate(files):
        last = files[parts[-1][0]] if parts else None
        here = last and (last.begin == file.begin if known else last.frames == file.frames)
        if here:
            parts[-1].append(number)
        else:
            parts.append([number])
    widths = {_width(files, part) for part in parts}
    return parts if known or len(widths) == 1 else [[n] for n in range(len(files))]


def _begins(files: Sequence[Laid], parts: Sequence[Sequence[int]], day: int) -> list[int]:
    first = files[0].begin if files else None
    begins, end = [], 0
    for part in parts:
        begin = files[part[0]].begin
        at = end if begin is None or first is None else (begin - first) % day
        begins.append(max(at, end))
        end = begins[-1] + max(files[n].frames for n in part)
    return begins


def blocks(first_sample: int, frames: int) -> Iterator[tuple[int, int]]:
    """The frames of each block of a file (model/measured.Channel), first and end (not included)."""
    last = first_sample + frames
    begin = first_sample - first_sample % BLOCK_FRAMES if frames else last
    for edge in range(begin, last, BLOCK_FRAMES):
        yield max(edge - first_sample, 0), min(edge + BLOCK_FRAMES, last) - first_sample


def offsets(ours: int | None, theirs: int | None, day: int) -> tuple[int, ...]:
    """By how many frames a moment may lie later in theirs than in ours, the likeliest first.

    From both first TimeReferences, and as if both began together.
    """
    if ours is None or theirs is None:
        return (0,)
    told = (ours - theirs + day // 2) % day - day // 2
    return (told, 0) if told else (0,)


def stretches(edges: set[int], most: int = BLOCK_FRAMES) -> Iterator[tuple[int, int]]:
    """What lies between neighbouring edges, in pieces of at most so many frames."""
    for begin, end in pairwise(sorted(edges)):
        for at in range(begin, end, most):
            yield at, min(at + most, end)


def at(line: Line, begin: int, end: int) -> Run | None:
    """The run that holds all these frames."""
    return next((run for run in line if run.begin <= begin and end <= run.end), None)
