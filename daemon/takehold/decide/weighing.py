"""Two takes, or what is left of them, that were paired: how the one answers the other."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence

from takehold.decide.by_digest import (
    BY_BLOCKS,
    WHOLE,
    comparable,
    compare,
    name_of,
    sounds_before,
    whole_blocks,
)
from takehold.decide.layouts import Heard, heard, quiet
from takehold.decide.spread import CUT, begins, beyond, later, spread, theirs_alone
from takehold.decide.unit import Unit
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording

Compared = Mapping[tuple[Side, Side], Comparison]
STRENGTH = {relation: number for number, relation in enumerate(Relation)}


def file_by_file(mine: Unit, its: Unit) -> list[tuple[Unit, Unit]]:
    """Two takes file by file, where names, beginnings and blocks tell how each is answered.

    The last files may be missing on the backup, unless what is there holds more.
    """
    files = list(zip(mine.files, its.files, strict=False))
    cut = len(mine.files) > len(its.files)
    known = len(mine.parts) == 1 or mine.start is not None
    if known and len(mine.files) >= len(its.files) and all(_twins(*f, cut=cut) for f in files):
        return [(Unit(((a,),)), Unit(((b,),))) for a, b in files]
    return [(mine, its)]


def _twins(one: Recording, other: Recording, *, cut: bool) -> bool:
    mine, its = one.description, other.description
    return (
        name_of(one) == name_of(other)
        and compare(one, other).relation in BY_BLOCKS
        and mine.metadata.time_reference == its.metadata.time_reference
        and not (cut and (its.frames or 0) > (mine.frames or 0))
    )


def weigh(mine: Unit, its: Unit, compared: Compared) -> tuple[Sequence[Counterpart], bool]:
    """The answers for the files of a unit, and whether its samples should be compared."""
    single = len(mine.files) == len(its.files) == 1
    first = its.first.id
    if any(file.digests is None for file in (*mine.files, *its.files)):
        unread = [Counterpart(f.id, Relation.UNREAD, first, others=its.side) for f in mine.files]
        return unread, False
    known = compared.get((mine.side, its.side))
    if known is not None:
        lies, rest = later(mine, its, known), theirs_alone(mine, its, known)
        if known.relation is Relation.SAME_AUDIO:  # in one layout: file by file
            return list(_one_by_one(mine, its, lies)), False
        answers = [answer._replace(later=lies, theirs_alone=rest) for answer in spread(mine, known)]
        told = list(_by_digests(mine, its, known.offset or 0, answers))
        return _at_ends(mine, its, known, told), False
    if single:
        answer = compare(mine.first, its.first)
        unsure = answer.relation in (Relation.DIFFERENT, Relation.UNCOMPARED)
        cut = answer.relation in (Relation.SHORT, Relation.LONGER)
        unsure |= cut and not whole_blocks(mine.first, its.first)
        return [answer], unsure and comparable(mine.first, its.first)
    waits = [Counterpart(f.id, Relation.UNCOMPARED, first, others=its.side) for f in mine.files]
    return waits, True


def _one_by_one(mine: Unit, its: Unit, lies: int | None) -> Iterator[Counterpart]:
    for one, other in zip(mine.files, its.files, strict=True):
        yield Counterpart(one.id, Relation.SAME_AUDIO, other.id, others=(other.id,), later=lies)


def _by_digests(
    mine: Unit, its: Unit, offset: int, answers: Sequence[Counterpart]
) -> Iterator[Counterpart]:
    """A comparison ends with the first part that differs; of later ones their digests tell.

    They do of parts that begin at one place: frame n of ours is frame n + `offset` of theirs.
    """
    if all(answer.relation is not Relation.DIFFERENT for answer in answers):
        yield from answers
        return
    ours, theirs = _together(mine), _together(its)
    where = {file.id: begin for begin, part in ours.items() for file in part}
    for file, answer in zip(mine.files, answers, strict=True):
        begin = where[file.id]
        if answer.relation is Relation.DIFFERENT and answer.frames is None:
            yield _in_its_part(answer, file, ours[begin], theirs.get(begin + offset, []))
        else:
            yield answer


def _together(unit: Unit) -> dict[int, list[Recording]]:
    """The files that begin together, by that frame of the unit."""
    found: dict[int, list[Recording]] = defaultdict(list)
    for file, begin in zip(unit.files, begins(unit.files), strict=True):
        found[begin].append(file)
    return found


def _in_its_part(
    answer: Counterpart, file: Recording, ours: Sequence[Recording], theirs: Sequence[Recording]
) -> Counterpart:
    """What the digests of two parts say of a file; of two equal channels theirs must hold two."""
    wanted, held = (Counter(c for file in part for c in _channels(file)) for part in (ours, theirs))
    own = _channels(file)
    told = compare(file, theirs[0]) if len(ours) == len(theirs) == 1 else None
    same = bool(own) and all(wanted[channel] <= held[channel] for channel in own)
    if same or (told is not None and told.relation in WHOLE):
        whole = answer._replace(relation=Relation.OTHER_LAYOUT, channels=(), alone=())
        return whole._replace(since=None)
    if told is None or told.relation is not Relation.DIFFERENT or told.frames is None:
        return answer
    begin_alike = file.sound is not None and sounds_before(file.sound, told.frames)
    if not begin_alike and not _in_one_order(file, theirs[0]):
        return answer
    return answer._replace(frames=told.frames, channels=told.channels)


def _channels(file: Recording) -> list[Heard]:
    """What its channels hold, those without sound too."""
    return [*filter(None, heard(file)), *quiet(file)]


def _in_one_order(one: Recording, other: Recording) -> bool:
    """Whether no channel of one lies elsewhere in the other, of two of one length.

    Else the blocks, which are of all channels together, differ where nothing else does.
    """
    mine, its = heard(one), heard(other)
    if len(mine) == len(its) == 1:
        return True
    unlike = [pair for pair in zip(mine, its, strict=False) if pair[0] != pair[1]]
    moved = {a for a, _ in unlike if a} & {b for _, b in unlike if b}
    return one.description.frames == other.description.frames and not moved


def _at_ends(
    mine: Unit, its: Unit, known: Comparison, answers: list[Counterpart]
) -> list[Counterpart]:
    """The answers of which the first tell what the backup holds before, the last what behind."""
    before, behind = beyond(mine, its, known) if known.relation in CUT else (0, 0)
    if not (before or behind):
        return answers
    first, last = ({file.id for file in mine.parts[n]} for n in (0, -1))
    told = []
    for one in answers:
        ends = before * (one.recording in first), behind * (one.recording in last)
        told.append(one._replace(beyond=ends) if one.relation in CUT else one)
    return told


def mirror(backup: Recording, answers: Sequence[Counterpart]) -> Counterpart:
    """The answer for a backup's recording that is in these; of several the weakest counts.

    A channel of it is alone if none of these holds it; all of one that is missing are.
    """
    weakest = max(answers, key=lambda a: STRENGTH[a.relation])
    alone = [{n for file, n in a.theirs_alone if file == backup.id} for a in answers]
    alone = [set()] if weakest.relation is Relation.MISSING else alone
    others = tuple(a.recording for a in answers)
    return Counterpart(
        backup.id,
        weakest.relation,
        weakest.recording,
        weakest.frames,
        others,
        residual_db=weakest.residual_db,
        correlation=weakest.correlation,
        alone=tuple(sorted(set.intersection(*alone))),
    )
