"""Which takes of the two cards should be compared, where no digest says how they are related?

Units (decide/unit) are paired one to one, by the strongest tie first: where in timecode they begin
with scene, take and name; the path; the file UID; the name, or what those of a set have in common;
where one recorder begins; scene and take; the length where there is no timecode; and timecode that
overlaps with equal length; of several those of one recorder and length. What is left of the backup
then, and lies in timecode behind a hole in what was paired, goes with it. The order of the
recordings does not matter.
Cost: linear in their number, but for sorting.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from fractions import Fraction

from takehold.decide.layouts import silent
from takehold.decide.take_names import same_number, set_name, without_word
from takehold.decide.unit import Unit
from takehold.formats.names import same_key
from takehold.model.slate import same_words, scene_and_take
from takehold.model.sound import Kind

Key = Callable[[Unit], Hashable | None]

# Seconds that two equal lengths may differ: what lossy encoders pad, 0.1 s, and as much again.
# From memory, no source.
TOLERANCE = Fraction(1, 4)
# Neighbours in timecode that are looked at, so that many takes at one timecode cost no more.
NEIGHBOURS = 4


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


def suspected(ours: Sequence[Unit], theirs: Sequence[Unit]) -> list[tuple[Unit, Unit]]:
    """Units of two days that may be one recording: names come again, so samples must tell.

    The same file UID; the same beginning with the name, or scene and take; the same name and about
    the same length, where one has no timecode.
    """
    pairing = _Pairing(ours, theirs)
    for key in _ACROSS_DAYS:
        pairing.by(key)
    found = list(pairing.pairs)
    for key in _COPY_NAMES:
        pairing.by(key)
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
        for number, (mine, its) in enumerate(self.pairs if self._theirs else ()):
            if mine.start is not None and (slate := _slate(its)) is not None:
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
    return after and forms[0] == forms[1] and originator(its) == originator(other)


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
    # Many recorders have no timecode, and write 0.
    return (unit.start, unit.seconds) if unit.start and unit.seconds else None


def _length_alone(unit: Unit) -> Hashable | None:
    return None if unit.start or all(map(silent, unit.files)) else _length(unit)


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


def _set_path(unit: Unit) -> str | None:
    """What the paths of a set have in common: a poly file, or a lossy copy of it, has that."""
    return _shared(unit, [same_key(file.path) for file in unit.files])


def _set_name(unit: Unit) -> str | None:
    """The same of their names."""
    return _shared(unit, [same_key(file.path.rsplit(b"/", 1)[-1]) for file in unit.files])


def _set_word(unit: Unit) -> str | None:
    """The same, where a word stands behind the copy's name, as `_Mix`."""
    name = _set_name(unit)
    if name is None or len(unit.files) > 1 or not unit.compressed:
        return name
    return without_word(name) or None


def _shared(unit: Unit, names: list[str]) -> str | None:
    stems = [name.rpartition(".")[0] for name in names]
    if len(stems) > 1:
        return set_name(stems) or None
    return stems[0] or None if _is_audio(unit) else None


def _begin_stem(unit: Unit) -> Hashable | None:
    stem = _stem(unit)
    return None if stem is None or unit.start is None else (unit.start, stem)


def originator(unit: Unit) -> str:
    """The recorder that its first file names (bext)."""
    return unit.first.description.metadata.originator


# What tells units of one key apart; a length that is not known is like no other's.
_CLOSE: tuple[Callable[[Unit], Hashable], ...] = (
    lambda unit: (originator(unit), unit.seconds or unit.first.id),
    lambda unit: unit.seconds or unit.first.id,
    originator,
    lambda _: None,
)
_ACROSS_DAYS: tuple[Key, ...] = (_uid, _begin_stem, _begin_slate)
# A lossy copy has the name of what it was made from.
_COPY_NAMES: tuple[Key, ...] = (_stem, _set_name, _set_word)
COPY_KEYS: tuple[Key, ...] = (_path_stem, _stem, _set_path, *_COPY_NAMES[1:])
# Scene and take alone do not say it of what is left over.
SPARE_KEYS: tuple[Key, ...] = (
    _begin_slate_name,
    _begin_slate,
    _begin_length,
    _path,
    _uid_name,
    _uid,
    _name_of,
    *COPY_KEYS,
)
KEYS: tuple[Key, ...] = (
    *SPARE_KEYS,
    lambda unit: (originator(unit), unit.start) if unit.start else None,
    *(_slate, _length_alone),
)
# Two primary cards may hold other takes of the same names.
MIRROR_KEYS: tuple[Key, ...] = (_begin_slate_name, _begin_slate, _begin_length, _uid_name, _uid)
