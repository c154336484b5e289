"""Two cards of invented takes whose samples are known, and a comparer that knows the truth.

Samples are 24-bit integers; files are measured as the product measures them. `Cards` keeps the
samples of each file by its number and answers what a comparison of two sides would find.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from planworld import recording
from takehold.decide.match import Matched, match
from takehold.formats.audio import AudioMeter
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Relation
from takehold.model.recording import Recording
from takehold.model.sound import Description, Kind, Metadata, Rate, Span, WaveFormat

HZ = 48_000
Line = tuple[int, ...]


def payload(lines: Sequence[Line], bits: int) -> bytes:
    """Interleaved little-endian PCM of 24-bit samples; 16 bits take the upper ones."""
    width = bits // 8
    return b"".join(
        (sample >> (24 - bits)).to_bytes(width, "little", signed=True)
        for frame in zip(*lines, strict=True)
        for sample in frame
    )


@dataclass
class Cards:
    """The files of both cards; `of` is 1 for the primary, 2 for the backup."""

    samples: dict[int, tuple[Line, ...]] = field(default_factory=dict)
    files: dict[int, Recording] = field(default_factory=dict)
    asked: list[tuple[Side, Side]] = field(default_factory=list)

    def add(
        self,
        of: int,
        path: str,
        lines: Sequence[Line],
        start: int | None = None,
        bits: int = 24,
        number: int | None = None,
        **said: Any,
    ) -> int:
        """One file; its number."""
        number = number or of * 1000 + len(self.files)
        made = WaveFormat(1, len(lines), HZ, bits, len(lines) * bits // 8)
        raw = payload(lines, bits)
        meter = AudioMeter(Span(0, len(raw)), made, start)
        meter.feed(memoryview(raw), 0)
        metadata = Metadata(time_reference=start, timecode_rate=Rate(25, 1), **said)
        about = Description(Kind.WAVE, made, Span(0, len(raw)), len(lines[0]), metadata)
        base = recording(number, path.encode(), of=of, audio=raw, head=repr((path, said)).encode())
        (read,) = base.readings
        sound = read._replace(sound=meter.sound())
        self.files[number] = replace(base, description=about, readings=(sound,))
        self.samples[number] = tuple(
            tuple(s >> (24 - bits) << (24 - bits) for s in line) for line in lines
        )
        return number

    def card(self, of: int) -> list[Recording]:
        """The files of one card."""
        return [file for file in self.files.values() if file.load == of]

    def match(self) -> Matched:
        """The answers once everything that was asked for has been compared."""
        known: dict[tuple[Side, Side], Comparison] = {}
        for _ in range(8):  # those of one length are tried one after the other
            found = match(self.card(1), self.card(2), known)
            if not found.uncompared:
                return found
            self.asked += found.uncompared
            known |= {pair: self.compare(*pair) for pair in found.uncompared}
        raise AssertionError("a comparison is asked for again and again")

    def _lines(self, side: Side) -> list[Line]:
        """The channels of a side, the parts of each joined."""
        parts: dict[object, list[Line]] = {}
        for number in side:
            start = self.files[number].description.metadata.time_reference
            parts.setdefault(start if start is not None else number, []).extend(
                self.samples[number]
            )
        return [sum(pieces, ()) for pieces in zip(*parts.values(), strict=True)]

    def compare(self, ours: Side, theirs: Side) -> Comparison:
        """The truth."""
        mine, its = self._lines(ours), self._lines(theirs)
        return verdict(ours, theirs, mine, its)


def verdict(ours: Side, theirs: Side, mine: list[Line], its: list[Line]) -> Comparison:
    """What two sets of channels come to: different, short, reduced, or the same."""
    sounding = {n: line for n, line in enumerate(mine, 1) if any(line)}
    left = [line for line in its if any(line)]
    found: dict[int, tuple[str, int]] = {}
    for test in (_same, _coarser, _prefix, _other):
        for n, line in sounding.items():
            hit = None if n in found else next((o for o in left if test(line, o)), None)
            if hit is not None:
                found[n] = test.__name__, _first(line, hit)
                left.remove(hit)
    alone = tuple(n for n in sounding if n not in found)
    quiet = (n for n in range(1, len(mine) + 1) if n not in sounding)
    for n, line in zip(quiet, left, strict=False):
        found[n] = "_other", _first(mine[n - 1], line)
    differ = tuple(n for n, (how, _) in found.items() if how == "_other")
    short = [at for how, at in found.values() if how == "_prefix"]
    if differ:
        frame = min(found[n][1] for n in differ)
        return Comparison(ours, theirs, Relation.DIFFERENT, 1, frame, channels=differ)
    if short:
        return Comparison(ours, theirs, Relation.SHORT, 1, short[0], len(mine[0]) - short[0])
    if any(how == "_coarser" for how, _ in found.values()) or alone:
        figure = -90.0 if any(how == "_coarser" for how, _ in found.values()) else None
        return Comparison(ours, theirs, Relation.REDUCED, 1, channels=alone, residual_db=figure)
    return Comparison(ours, theirs, Relation.OTHER_LAYOUT, 1)


def _same(mine: Line, its: Line) -> bool:
    return mine == its


def _coarser(mine: Line, its: Line) -> bool:
    return tuple(s >> 8 << 8 for s in mine) == its


def _prefix(mine: Line, its: Line) -> bool:
    return 0 < len(its) < len(mine) and mine[: len(its)] == its


def _other(_mine: Line, _its: Line) -> bool:
    return True


def _first(mine: Line, its: Line) -> int:
    """The first frame in which they differ."""
    same = (n for n, (a, b) in enumerate(zip(mine, its, strict=False)) if a != b)
    return next(same, min(len(mine), len(its)))


def relations(found: Matched, numbers: Iterable[int]) -> list[Relation]:
    """Those of some primary files, in that order."""
    by_number = {answer.recording: answer.relation for answer in found.primaries}
    return [by_number[number] for number in numbers]
