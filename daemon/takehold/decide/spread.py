"""From a comparison of two whole takes to the answer for each file of the primary one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from takehold.decide.by_digest import WHOLE, sounds_before
from takehold.decide.file_set import place
from takehold.decide.layouts import heard
from takehold.decide.side import DAY_S, Laid, lines
from takehold.decide.unit import Unit
from takehold.formats.timecode import day_samples
from takehold.model.comparison import Comparison
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording
from takehold.model.sound import Kind

# What may be of lower quality besides; the figures are then those of all that is there.
CUT = Relation.SHORT, Relation.LONGER
LESS = Relation.SHORT, Relation.LONGER, Relation.REDUCED
# Frames from the first sound on that show two to be one take. Chosen, no source.
ALIKE = 8_192


class _Place(NamedTuple):
    """Where a comparison meets a file: first frame, end (not included), and line of each channel.

    Lines are the channels of the whole side, from 1.
    """

    begin: int
    end: int
    lines: tuple[int, ...]

    def own(self, channels: Iterable[int]) -> set[int]:
        """Which of the file's channels these lines are, from 1."""
        there = set(channels)
        return {n for n, line in enumerate(self.lines, 1) if line in there}

    def missing(self, found: Comparison) -> dict[int, list[tuple[int, int]]]:
        """The frames of each of its channels that theirs lacks, counted from its own first one."""
        inside: dict[int, list[tuple[int, int]]] = {}
        for line, *stretch in found.missing or _one_stretch(found, self.lines):
            first, end = max(stretch[0], self.begin), min(stretch[1], self.end)
            for channel in self.own([line]) if first < end else ():
                inside.setdefault(channel, []).append((first - self.begin, end - self.begin))
        return inside


def spread(mine: Unit, found: Comparison) -> Iterator[Counterpart]:
    """What a comparison says of each file, which lies where the comparison laid it (decide/side).

    What is not blamed is the same audio, or of lower quality as all of it is; a file of which
    nothing that sounds is there has no counterpart. How much longer the backup is shows at the end,
    where that is not told of another part: of the tracks that end early by so much, if some do, as
    where a set lacks a file of its last part. What falls on none of several files, as their lengths
    are known, is told of the last.
    """
    if len(mine.files) == 1:
        yield _of_all(mine.first, found)
        return
    places = _places(mine.files)
    end = max(place.begin for place in places)
    early = _early(places, found)
    answers = [
        _of_file(file, found, place, last=place in early if early else place.begin == end)
        for file, place in zip(mine.files, places, strict=True)
    ]
    if found.relation not in WHOLE and all(answer.relation in WHOLE for answer in answers):
        answers[-1] = _answer(mine.files[-1], found, found.relation)
    for answer, lies in zip(answers, places, strict=True):
        told = (lies.begin == end or lies in early) and answer.relation is found.relation
        yield answer if told else answer._replace(duration_difference=None)


def _early(places: Sequence[_Place], found: Comparison) -> list[_Place]:
    """The last files of tracks that lack as much as theirs has more, of all that ours lasts."""
    ends = {line: place for place in sorted(places) for line in place.lines}
    held: Counter[int] = Counter()
    for lies in places:
        held.update(dict.fromkeys(lies.lines, lies.end - lies.begin))
    most = max(place.end for place in places) - (found.frames or 0)
    early = [place for line, place in ends.items() if held[line] <= most]
    return early if found.relation is Relation.LONGER and found.frames else []


def theirs_alone(mine: Unit, its: Unit, found: Comparison) -> tuple[tuple[int, int], ...]:
    """The channels of the backup's files that hold nothing of ours.

    None where all of ours differs, unless both begin as one sound: they may be of another take.
    """
    if found.relation is Relation.DIFFERENT and not _begins_alike(mine.first, found):
        ours = {line for place in _places(mine.files) for line in place.lines}
        if ours <= {*found.channels}:
            return ()
    places = zip(its.files, _places(its.files), strict=True)
    return tuple((f.id, n) for f, place in places for n in sorted(place.own(found.theirs_alone)))


def _begins_alike(first: Recording, found: Comparison) -> bool:
    """Whether the very same samples are shown before the first difference, and not by chance."""
    same = (found.frame or 0) - ALIKE
    exact = found.residual_db is None and found.correlation is None
    return exact and first.sound is not None and sounds_before(first.sound, same)


def begins(files: Sequence[Recording]) -> list[int]:
    """The first frame of each file, from that of the first."""
    return [place.begin for place in _places(files)]


def _places(files: Sequence[Recording]) -> list[_Place]:
    made = files[0].description.format
    runs: list[dict[int, tuple[int, int, int]]] = [{} for _ in files]
    laid = lines([_laid(file) for file in files], DAY_S * (made.sample_rate if made else 1))
    for number, line in enumerate(laid, 1):
        for run in line:
            runs[run.file][run.channel] = number, run.begin, run.end
    return [
        _Place(there[0][1], there[0][2], tuple(there[n][0] for n in sorted(there)))
        for there in runs
    ]


def _laid(file: Recording) -> Laid:
    about = file.description
    frames = file.sound.frames if file.sound else about.frames
    channels = about.format.channels if about.format else 1
    return Laid(channels, frames or 0, about.metadata.time_reference, place(file))


def _one_stretch(found: Comparison, all_lines: Iterable[int]) -> Iterator[tuple[int, int, int]]:
    """What a short one lacks of these lines, as comparisons were told that named no stretches."""
    if found.relation is Relation.SHORT:
        first = found.frame or 0
        yield from ((n, first, first + (found.frames or 0)) for n in found.channels or all_lines)


def later(mine: Unit, its: Unit, found: Comparison) -> int | None:
    """How many frames the backup's sound lies later than both TimeReferences say.

    One of 0 says nothing beside another: many recorders have no timecode, and write 0.
    """
    one, other = mine.first.description, its.first.description
    begins = one.metadata.time_reference, other.metadata.time_reference
    if one.format is None or begins[0] is None or begins[1] is None:
        return None
    if 0 in begins and any(begins):
        return None
    day = day_samples(one.format.sample_rate, one.metadata.timecode_rate)
    told = begins[0] - begins[1]
    return ((found.offset or 0) - told + day // 2) % day - day // 2 if day else None


def beyond(mine: Unit, its: Unit, found: Comparison) -> tuple[int, int]:
    """How many frames the backup holds before ours and behind it; none of lossy files, which pad.

    Frame n of ours is frame n + `offset` of theirs.
    """
    if any(file.description.kind is Kind.COMPRESSED for file in (*mine.files, *its.files)):
        return 0, 0
    ours, theirs = (max(place.end for place in _places(unit.files)) for unit in (mine, its))
    offset = found.offset or 0
    return max(offset, 0), max(theirs - offset - ours, 0)


def _of_all(file: Recording, found: Comparison) -> Counterpart:
    """The answer for the only file: all that the comparison says."""
    sounding = {n for n, channel in enumerate(heard(file), 1) if channel}
    if found.relation is Relation.REDUCED and sounding and sounding <= {*found.channels}:
        return Counterpart(file.id, Relation.MISSING)
    lost = [first for _, first, _ in found.missing]
    since = found.frame if found.relation is Relation.SHORT else min(lost, default=None)
    figure = found.frame if found.relation is Relation.DIFFERENT else found.frames
    answer = _answer(file, found, found.relation, figure, found.channels, since)
    cut = found.relation is Relation.SHORT
    missing = _several((first, end) for _, first, end in found.missing if cut)
    return answer._replace(alone=found.alone, missing=missing)


def _of_file(file: Recording, found: Comparison, place: _Place, *, last: bool) -> Counterpart:
    """The answer for one of several files: the worst of what is said of its frames and channels."""
    missing = place.missing(found)
    gone = {n for n, some in missing.items() if _frames(some) == place.end - place.begin}
    held_not = found.channels if found.relation is Relation.REDUCED else found.alone
    alone = place.own(held_not) | gone
    sounding = {n for n, channel in enumerate(heard(file), 1) if channel}
    if len(alone) == len(place.lines) or (gone and sounding and sounding <= alone):
        return Counterpart(file.id, Relation.MISSING)
    lacking = {n: some for n, some in missing.items() if n not in alone}
    since = min((first for some in lacking.values() for first, _ in some), default=None)
    if (answer := _different(file, found, place, alone)) is not None:
        return answer._replace(alone=tuple(sorted(alone)), since=since)
    if lacking:
        channels = tuple(sorted(lacking)) if len(lacking) + len(alone) < len(place.lines) else ()
        frames = _frames(s for some in lacking.values() for s in some)
        answer = _answer(file, found, Relation.SHORT, frames, channels, since)
        stretches = _several(s for some in lacking.values() for s in some)
        return answer._replace(alone=tuple(sorted(alone)), missing=stretches)
    if found.relation is Relation.LONGER and last:
        answer = _answer(file, found, Relation.LONGER, found.frames)
        return answer._replace(alone=tuple(sorted(alone)))
    if alone and found.relation is not Relation.UNDECODED:
        return _answer(file, found, Relation.REDUCED, channels=tuple(sorted(alone)))
    return _whole(file, found)._replace(alone=tuple(sorted(alone)))


def _different(
    file: Recording, found: Comparison, place: _Place, alone: set[int]
) -> Counterpart | None:
    """The answer for a file that differs, or may: all that lies behind the first difference."""
    first = found.frame or 0
    if found.relation is not Relation.DIFFERENT or place.end <= first:
        return None
    differ = place.own(found.channels) - alone
    if found.channels and not differ:
        return None
    known = found.frame is not None and first >= place.begin
    figure = first - place.begin if known else None
    return _answer(file, found, found.relation, figure, tuple(sorted(differ)))


def _frames(stretches: Iterable[tuple[int, int]]) -> int:
    """How many frames lie in any of them."""
    return sum(end - first for first, end in _joined(stretches))


def _joined(stretches: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """What lies in any of them, in order; what touches is one."""
    joined: list[tuple[int, int]] = []
    for first, end in sorted(stretches):
        if joined and first <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(joined[-1][1], end)
        else:
            joined.append((first, end))
    return joined


def _several(stretches: Iterable[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    joined = _joined(stretches)
    return tuple(joined) if len(joined) > 1 else ()


def _whole(file: Recording, found: Comparison) -> Counterpart:
    """A file that is there from its first frame to its last, or that nothing is known of."""
    if found.relation is Relation.UNDECODED:
        return _answer(file, found, found.relation)
    figures = (found.residual_db, found.correlation) != (None, None)
    reduced = figures or (found.relation is Relation.REDUCED and not found.channels)
    return _answer(file, found, Relation.REDUCED if reduced else Relation.OTHER_LAYOUT)


def _answer(
    file: Recording,
    found: Comparison,
    relation: Relation,
    frames: int | None = None,
    channels: tuple[int, ...] = (),
    since: int | None = None,
) -> Counterpart:
    theirs = found.theirs
    made = Counterpart(file.id, relation, theirs[0], frames, theirs, channels, since=since)
    if relation is not found.relation and not (found.relation in CUT and relation in LESS):
        return made
    return made._replace(
        residual_db=found.residual_db,
        correlation=found.correlation,
        duration_difference=found.duration_difference,
    )
