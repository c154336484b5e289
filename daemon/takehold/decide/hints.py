"""Which files of two cards belong together by their audio, though not all of it is the same?

Each hint is a pair of numbers, a primary recording's and a backup's; those that are one another's
beginning, or nearly the same, of what nothing answers yet.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterator, Sequence

from takehold.decide.by_digest import (
    Key,
    beginning,
    compare,
    form_and_length,
    mostly_the_same,
    name_of,
    sounds_before,
)
from takehold.decide.layouts import heard
from takehold.decide.unit import Unit
from takehold.decide.weighing import Compared
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation
from takehold.model.recording import Recording

Hint = tuple[int, int]

# A comparison's words that two sides may be other recordings altogether.
STRANGE = frozenset({Relation.DIFFERENT, Relation.UNDECODED})
# Files of one length that are looked at block by block, so that many cost no more.
MOST_ALIKE = 8


def beginnings(ours: Sequence[Recording], theirs: Sequence[Recording]) -> Iterator[Hint]:
    """Of which one is the beginning of the other, by their blocks; those of one name first."""
    found: set[int] = set()
    for key in (_name_and_beginning, beginning):
        mine, its = ([r for r in some if r.id not in found] for some in (ours, theirs))
        for hint in _cut(mine, its, key):
            found.update(hint)
            yield hint


def _cut(ours: Sequence[Recording], theirs: Sequence[Recording], key: Key) -> Iterator[Hint]:
    shelf: dict[Hashable, list[Recording]] = defaultdict(list)
    for backup in reversed(theirs):
        if (begin := key(backup)) is not None:
            shelf[begin].append(backup)
    for recording in ours if shelf else ():
        begin = key(recording)
        there = shelf.get(begin, []) if begin is not None else []
        if there and compare(recording, there[-1]).relation in (Relation.SHORT, Relation.LONGER):
            yield recording.id, there.pop().id


def _name_and_beginning(recording: Recording) -> Hashable | None:
    begin = beginning(recording)
    return None if begin is None else (name_of(recording), begin)


def nearly_the_same(ours: Sequence[Recording], theirs: Sequence[Recording]) -> Iterator[Hint]:
    """Files of one length of which most blocks are the same."""
    shelf: dict[Hashable, list[Recording]] = defaultdict(list)
    for backup in reversed(theirs):
        if (form := form_and_length(backup)) is not None:
            shelf[form].append(backup)
    for recording in ours if shelf else ():
        there = shelf.get(form_and_length(recording), [])[-MOST_ALIKE:]
        for backup in reversed(there):
            if mostly_the_same(recording, backup):
                yield recording.id, backup.id
                break


def compared_before(
    ours: Sequence[Recording], theirs: Sequence[Recording], compared: Compared
) -> Iterator[Hint]:
    """Those that were compared, and are not other audio throughout."""
    mine, its = {r.id: r for r in ours}, {r.id: r for r in theirs}
    for sides, told in sorted(compared.items()) if mine and its else ():
        one, other = mine.get(sides[0][0]), its.get(sides[1][0])
        if one and other and (told.relation not in STRANGE or shares_some(told, one)):
            yield one.id, other.id


def other_throughout(mine: Unit, its: Unit, compared: Compared) -> bool:
    """Whether two were compared, and have nothing in common."""
    told = compared.get((mine.side, its.side))
    if told is None or told.relation is not Relation.DIFFERENT:
        return False
    return not shares_some(told, mine.first)


def shares_some(told: Comparison, one: Recording) -> bool:
    """Whether two that differ have a beginning with sound in common, or a track with sound."""
    if told.relation is not Relation.DIFFERENT or one.sound is None:
        return False
    unlike = {*told.channels, *told.alone}
    rest = (c for n, c in enumerate(heard(one), 1) if n not in unlike)
    track = bool(told.channels) and len(told.ours) == 1 and any(rest)
    return track or sounds_before(one.sound, (told.frame or 0) - one.sound.block_frames)
