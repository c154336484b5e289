"""From a comparison of two whole takes to the answer for each file of the primary one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from takehold.decide.candidates import Unit, length_of
from takehold.formats.timecode import day_samples
from takehold.model.comparison import Comparison
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording

# What may be of lower quality besides; the figures are then those of all that is there.
CUT = Relation.SHORT, Relation.LONGER
LESS = Relation.SHORT, Relation.LONGER, Relation.REDUCED


def spread(mine: Unit, found: Comparison) -> Iterator[Counterpart]:
    """What a comparison says of each file: frames count from its first one, channels from 1.

    What the comparison does not blame is the same audio, or of lower quality as all of it is; a
    file of which nothing is there on the backup has no counterpart. How much longer the backup is
    shows at its end.
    """
    if len(mine.files) == 1:
        figure = found.frame if found.relation is Relation.DIFFERENT else found.frames
        since = found.frame if found.relation is Relation.SHORT else None
        answer = _answer(mine.first, found, found.relation, figure, found.channels, since)
        yield replace(answer, alone=found.alone)
        return
    begin = 0
    for number, part in enumerate(mine.parts, 1):
        length = length_of(part) or 0
        channel = 0
        for file in part:
            made = file.description.format
            width = made.channels if made else 1
            blamed, alone = (
                tuple(c - channel for c in some if channel < c <= channel + width)
                for some in (found.channels, found.alone)
            )
            last = number == len(mine.parts)
            answer = _of_file(file, found, (begin, begin + length), blamed, width, last=last)
            answer = _less(file, found, answer, alone, width)
            yield answer if last else replace(answer, duration_difference=None)
            channel += width
        begin += length


def _less(
    file: Recording, found: Comparison, answer: Counterpart, alone: tuple[int, ...], width: int
) -> Counterpart:
    """The answer, less the channels that have no backup in a `short` or `longer` one."""
    if len(alone) == width:
        return Counterpart(file.id, Relation.MISSING)
    if alone and answer.relation in (Relation.OTHER_LAYOUT, Relation.REDUCED):
        return _answer(file, found, Relation.REDUCED, None, alone)
    return replace(answer, alone=alone) if answer.relation in CUT else answer


def later(mine: Unit, its: Unit, found: Comparison) -> int | None:
    """How many frames the backup's sound lies later than both TimeReferences say."""
    one, other = mine.first.description, its.first.description
    begins = one.metadata.time_reference, other.metadata.time_reference
    if one.format is None or begins[0] is None or begins[1] is None:
        return None
    day = day_samples(one.format.sample_rate, one.metadata.timecode_rate)
    told = begins[0] - begins[1]
    return ((found.offset or 0) - told + day // 2) % day - day // 2 if day else None


def _of_file(
    file: Recording,
    found: Comparison,
    span: tuple[int, int],
    blamed: tuple[int, ...],
    width: int,
    *,
    last: bool,
) -> Counterpart:
    """The answer for a file that holds these frames of its take, first and end (not included)."""
    begin, end = span
    frame, innocent = found.frame or 0, bool(found.channels) and not blamed
    match found.relation:
        case Relation.LONGER if last:
            return _answer(file, found, Relation.LONGER, found.frames)
        case Relation.DIFFERENT if end > frame and not innocent:
            known = frame >= begin and found.frame is not None
            return _answer(file, found, found.relation, frame - begin if known else None, blamed)
        case Relation.REDUCED if len(blamed) == width:
            return Counterpart(file.id, Relation.MISSING)
        case Relation.REDUCED:
            return _answer(file, found, Relation.REDUCED, None, blamed)
        case Relation.SHORT if not innocent:
            return _short(file, found, span, blamed)
        case _:
            return _whole(file, found)


def _short(
    file: Recording, found: Comparison, span: tuple[int, int], blamed: tuple[int, ...]
) -> Counterpart:
    """As much of a file as lies in the stretch that the backup lacks."""
    begin, end = span
    frame = found.frame or 0
    first, after = max(begin, frame), min(end, frame + (found.frames or 0))
    if first >= after:
        return _whole(file, found)
    if (first, after) == span:
        return Counterpart(file.id, Relation.MISSING)
    return _answer(file, found, Relation.SHORT, after - first, blamed, first - begin)


def _whole(file: Recording, found: Comparison) -> Counterpart:
    """A file that is there from its first frame to its last, or that nothing is known of."""
    if found.relation is Relation.UNDECODED:
        return _answer(file, found, found.relation)
    reduced = found.relation in CUT and (found.residual_db, found.correlation) != (None, None)
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
    return replace(
        made,
        residual_db=found.residual_db,
        correlation=found.correlation,
        duration_difference=found.duration_difference,
    )
