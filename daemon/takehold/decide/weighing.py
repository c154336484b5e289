"""Two takes, or what is left of them, that were paired: how the one answers the other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from takehold.decide.by_digest import (
    BY_BLOCKS,
    WHOLE,
    comparable,
    compare,
    name_of,
    whole_blocks,
)
from takehold.decide.spread import later, spread, theirs_alone
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
        lies, rest = later(mine, its, known), theirs_alone(its, known)
        if known.relation is Relation.SAME_AUDIO:  # in one layout: file by file
            return list(_one_by_one(mine, its, lies)), False
        answers = [replace(answer, later=lies, theirs_alone=rest) for answer in spread(mine, known)]
        return list(_by_blocks(mine, its, answers)), False
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


def _by_blocks(mine: Unit, its: Unit, answers: Sequence[Counterpart]) -> Iterator[Counterpart]:
    """A comparison ends with the first part that differs; of later ones their blocks tell."""
    one_each = [len(part) for part in mine.parts] == [len(part) for part in its.parts]
    for number, answer in enumerate(answers):
        if answer.relation is Relation.DIFFERENT and answer.frames is None and one_each:
            told = compare(mine.files[number], its.files[number])
            if told.relation in WHOLE:
                whole = replace(answer, relation=Relation.OTHER_LAYOUT, channels=(), alone=())
                yield replace(whole, since=None)
                continue
            if told.relation is Relation.DIFFERENT and told.frames is not None:
                yield replace(answer, frames=told.frames, channels=told.channels)
                continue
        yield answer


def mirror(backup: Recording, answers: Sequence[Counterpart]) -> Counterpart:
    """The answer for a backup's recording that is in these; of several the weakest counts.

    A channel of it is alone if none of these holds it.
    """
    weakest = max(answers, key=lambda a: STRENGTH[a.relation])
    alone = [{n for file, n in a.theirs_alone if file == backup.id} for a in answers]
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
