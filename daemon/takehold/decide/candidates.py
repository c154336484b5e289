"""Which takes of the two cards should be compared, where no digest says how they are related?

A unit is a take of which nothing is answered yet, or its parts in a row of which that is so; else
the files of a part that are left. Units are paired one to one, by the strongest tie first: where in
timecode they begin with scene, take and name; the path; the file UID; the name; scene and take; and
timecode that overlaps with equal length; of several those of one recorder and length. What is left
of the backup then, and lies in timecode behind a hole in what was paired, goes with it. The order
of the recordings does not matter.
Cost: linear in their number, but for sorting.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from takehold.decide.take_names import same_number, same_words, scene_and_take
from takehold.formats.names import same_key
from takehold.model.comparison import Side
from takehold.model.recording import Recording
from takehold.model.sound import Kind
from takehold.model.take import Take

Key = Callable[["Unit"], Hashable | None]

# Seconds that two equal lengths may differ: what lossy encoders pad, 0.1 s, and as much again.
# From memory, no source.
TOLERANCE = Fraction(1, 4)
# Neighbours in timecode that are looked at, so that many takes at one timecode cost no more.
NEIGHBOURS = 4


@dataclass(frozen=True, slots=True)
class Unit:
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


def paired(
    ours: Sequence[Unit], theirs: Sequence[Unit], alike: Iterable[tuple[int, int]] = ()
) -> list[tuple[Unit, Unit]]:
    """The units that should be compared, each in one pair; `alike` share some of their channels."""
    pairing = _Pairing(ours, theirs)
    pairing.by_hint(alike)
    for key in KEYS:
        pairing.by(key)
    pairing.by_time()
    pairing.behind_holes()
    return pairing.pairs


def hinted(
    ours: Sequence[Unit], theirs: Sequence[Unit], alike: Iterable[tuple[int, int]]
) -> list[tuple[Unit, Unit]]:
    """The units that hold two files which are `alike`, each in one pair."""
    pairing = _Pairing(ours, theirs)
    pairing.by_hint(alike)
    return pairing.pairs


def keyed(
    ours: Sequence[Unit], theirs: Sequence[Unit], keys: Iterable[Key]
) -> list[tuple[Unit, Unit]]:
    """The units with the same key, each in one pair."""
    pairing = _Pairing(ours, theirs)
    for key in keys:
        pairing.by(key)
    return pairing.pairs


def as_long(ours: Sequence[Unit], theirs: Sequence[Unit]) -> list[tuple[Unit, Unit]]:
    """The units with as many seconds exactly, each in one pair."""
    return keyed(ours, theirs, [_length])


def suspected(ours: Sequence[Unit], theirs: Sequence[Unit]) -> list[tuple[Unit, Unit]]:
    """Units of two days that may be one recording: names come again, so samples must tell.

    The same file UID; the same beginning with the name, or scene and take; the same name and about
    the same length, where one has no timecode.
    """
    pairing = _Pairing(ours, theirs)
    for key in _ACROSS_DAYS:
        pairing.by(key)
    found = list(pairing.pairs)
    pairing.by(_stem)
    for one, other in pairing.pairs[len(found) :]:
        lengths = one.seconds, other.seconds
        if lengths[0] and lengths[1] and abs(lengths[0] - lengths[1]) <= TOLERANCE:
            found += [(one, other)] if one.start is None or other.start is None else []
    return found


class _Pairing:
    def __init__(self, ours: Sequence[Unit], theirs: Sequence[Unit]) -> None:
        self._ours = {unit.first.id: unit for unit in ours}
        self._theirs = {unit.first.id: unit for unit in theirs}
        self.pairs: list[tuple[Unit, Unit]] = []

    def _pair(self, mine: Unit, its: Unit) -> None:
        del self._ours[mine.first.id], self._theirs[its.first.id]
        self.pairs.append((mine, its))

    def by_hint(self, alike: Iterable[tuple[int, int]]) -> None:
        """Those that are known to belong together, by one file of each."""
        mine = {file.id: unit for unit in self._ours.values() for file in unit.files}
        its = {file.id: unit for unit in self._theirs.values() for file in unit.files}
        for one, other in alike:
            first, second = mine.get(one), its.get(other)
            if first is None or second is None:
                continue
            if first.first.id in self._ours and second.first.id in self._theirs:
                self._pair(first, second)

    def by(self, key: Key) -> None:
        """Those with the same key; of several those of one recorder and length, the first paths."""
        shelf: dict[Hashable, list[Unit]] = defaultdict(list)
        for its in self._theirs.values():
            if (name := key(its)) is not None:
                shelf[name].append(its)
        met: dict[Hashable, list[Unit]] = defaultdict(list)
        for mine in self._ours.values() if shelf else ():
            name = key(mine)
            if name is not None and name in shelf:
                met[name].append(mine)
        for name, some in met.items():
            for pair in _closest(some, shelf[name]):
                self._pair(*pair)

    def by_time(self) -> None:
        """Those of equal length whose timecode overlaps by half or more, the nearest start."""
        mine, its = _timed(self._ours.values()), _timed(self._theirs.values())
        starts = [start for start, _, _ in its]
        for start, seconds, unit in mine:
            at = bisect_left(starts, start)
            near = its[max(at - NEIGHBOURS, 0) : at + NEIGHBOURS]
            fits = [
                (abs(begin - start), n)
                for n, (begin, length, other) in enumerate(near)
                if other.first.id in self._theirs
                and abs(length - seconds) <= TOLERANCE
                and abs(begin - start) * 2 <= seconds
            ]
            if fits:
                self._pair(unit, near[min(fits)[1]][2])

    def behind_holes(self) -> None:
        """Later parts of a take whose parts before them are missing: within its timecode."""
        shelf: dict[Hashable, list[tuple[Fraction, int]]] = defaultdict(list)
        for number, (mine, _) in enumerate(self.pairs if self._theirs else ()):
            if mine.start is not None and (slate := _slate(mine)) is not None:
                shelf[slate].append((mine.start, number))
        for found in shelf.values():
            found.sort()
        for start, _, other in _timed(self._theirs.values()):
            found = shelf.get(_slate(other), [])
            at = bisect_left(found, (start, 0)) - 1
            if at >= 0 and _goes_on(*self.pairs[found[at][1]], other):
                mine, its = self.pairs[found[at][1]]
                self.pairs[found[at][1]] = mine, Unit((*its.parts, *other.parts))
                del self._theirs[other.first.id]


def _closest(ours: Sequence[Unit], theirs: Sequence[Unit]) -> Iterator[tuple[Unit, Unit]]:
    """Units that one key does not tell apart, in pairs; those with the most in common first."""
    mine, its = list(ours), list(theirs)
    for what in _CLOSE if len(mine) > 1 or len(its) > 1 else _CLOSE[-1:]:
        shelf: dict[Hashable, list[Unit]] = defaultdict(list)
        for other in reversed(its):
            shelf[what(other)].append(other)
        found = [(one, there.pop()) for one in mine if (there := shelf.get(what(one)))]
        yield from found
        gone = {unit.first.id for pair in found for unit in pair}
        mine, its = [[u for u in left if u.first.id not in gone] for left in (mine, its)]


def _goes_on(mine: Unit, its: Unit, other: Unit) -> bool:
    """Whether `other` lies behind `its`, of one recorder and form, and ends no later than `mine`.

    It may be on another card: the first was full and was changed.
    """
    ends = _end(mine), _end(its), _end(other)
    if ends[0] is None or ends[1] is None or ends[2] is None or other.start is None:
        return False
    after = ends[1] <= other.start and ends[2] <= ends[0] + TOLERANCE
    forms = [[f.description.format for f in unit.parts[0]] for unit in (its, other)]
    return after and forms[0] == forms[1] and _originator(its) == _originator(other)


def _end(unit: Unit) -> Fraction | None:
    """Where its last part ends, in seconds since the midnight before it."""
    last = Unit(unit.parts[-1:])
    return None if last.start is None or last.seconds is None else last.start + last.seconds


def _timed(found: Iterable[Unit]) -> list[tuple[Fraction, Fraction, Unit]]:
    timed = [(u.start, u.seconds, u) for u in found]
    known = [(start, length, u) for start, length, u in timed if start is not None and length]
    return sorted(known, key=lambda one: (*one[:2], one[2].first.path, one[2].first.id))


def _is_audio(unit: Unit) -> bool:
    return unit.first.description.kind is not Kind.OTHER


def _name_of(unit: Unit) -> str:
    return same_key(unit.first.path.rsplit(b"/", 1)[-1])


def _slate(unit: Unit) -> Hashable | None:
    if not _is_audio(unit):
        return None
    scene, take = scene_and_take(unit.first)
    return (same_words(scene), same_number(take)) if scene or take else None


def _begin_slate(unit: Unit) -> Hashable | None:
    slate = _slate(unit)
    return None if slate is None or unit.start is None else (unit.start, slate)


def _begin_slate_name(unit: Unit) -> Hashable | None:
    begin = _begin_slate(unit)
    return None if begin is None else (begin, _name_of(unit))


def _length(unit: Unit) -> Hashable | None:
    return unit.seconds or None if _is_audio(unit) else None


def _begin_length(unit: Unit) -> Hashable | None:
    return None if unit.start is None or not unit.seconds else (unit.start, unit.seconds)


def _path(unit: Unit) -> Hashable | None:
    return same_key(unit.first.path)


def _uid(unit: Unit) -> Hashable | None:
    return unit.first.description.metadata.file_uid or None


def _uid_name(unit: Unit) -> Hashable | None:
    uid = _uid(unit)
    return None if uid is None else (uid, _name_of(unit))


def _stem(unit: Unit) -> Hashable | None:
    """The name without its ending: of audio the same may stand there in another kind of file."""
    return _name_of(unit).rpartition(".")[0] or None if _is_audio(unit) else None


def _path_stem(unit: Unit) -> Hashable | None:
    """The path without its ending."""
    stem = _stem(unit)
    return None if stem is None else (same_key(unit.first.path.rpartition(b"/")[0]), stem)


def _begin_stem(unit: Unit) -> Hashable | None:
    stem = _stem(unit)
    return None if stem is None or unit.start is None else (unit.start, stem)


def _originator(unit: Unit) -> Hashable:
    return unit.first.description.metadata.originator


# What tells units of one key apart; a length that is not known is like no other's.
_CLOSE: tuple[Callable[[Unit], Hashable], ...] = (
    lambda unit: (_originator(unit), unit.seconds or unit.first.id),
    lambda unit: unit.seconds or unit.first.id,
    _originator,
    lambda _: None,
)
_ACROSS_DAYS: tuple[Key, ...] = (_uid, _begin_stem, _begin_slate)
# Scene and take alone do not say it of what is left over.
SPARE_KEYS: tuple[Key, ...] = (
    _begin_slate_name,
    _begin_slate,
    _begin_length,
    _path,
    _uid_name,
    _uid,
    _name_of,
    _path_stem,
    _stem,
)
# A lossy copy has the name of what it was made from.
COPY_KEYS: tuple[Key, ...] = (_path_stem, _stem)
KEYS: tuple[Key, ...] = (*SPARE_KEYS, _slate)
# Two primary cards may hold other takes of the same names.
MIRROR_KEYS: tuple[Key, ...] = (_begin_slate_name, _begin_slate, _begin_length, _uid_name, _uid)
