"""The same audio in another layout, by the digests of the channels alone: no sample is touched.

1. A channel equals another where rate, coding, length and digest agree. Digital silence says
   nothing of which take it is: silent channels count for neither side, and no more those that
   stand at one low value, as an idle input does.
2. A channel of the backup answers one part of a take only, and in it each track that holds it.
3. Tracks that nothing on the backup holds are told only where nothing there is left that might be
   them, changed; else the whole takes are compared (decide/candidates), first those with the most
   channels in common, of these those that begin together, then those of one name. So it is with
   silence, with idle channels that differ, and where two copies hold one track each that the other
   does not.
4. The part of the backup that holds most of a take answers; others only what it lacks.
Cost: linear in the number of channels, but for sorting.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import islice

from takehold.formats.levels import channels_of
from takehold.formats.names import same_key
from takehold.model.finding import Counterpart, Relation
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.sound import Coding, Sound

# Below -60 dB a channel whose samples have one magnitude holds nothing; above it may be a square
# wave. Its rms is 0.0004 dB off at most (model/measured). Chosen, no source.
IDLE_PEAK, IDLE_RMS = 1e-3, 1e-4
# Parts of the backup that hold one channel and are looked at for others, so that a tone in many
# takes costs no more. Chosen, no source.
MOST_ALIKE = 8
# Sample rate, coding, frames and digest.
Heard = tuple[int, Coding, int, str]
# Fewer channels in common, another beginning, another name.
_Rank = tuple[int, bool, bool]


@dataclass(slots=True)
class Layouts:
    """What the digests answer. `used` are the backup's recordings that answer.

    `alike` pairs a primary recording with a backup's where their takes share some channels and
    the others must be compared; the likeliest pairs first, a recording may be in several.
    """

    answers: dict[int, Counterpart] = field(default_factory=dict)
    used: set[int] = field(default_factory=set)
    alike: list[tuple[int, int]] = field(default_factory=list)


def heard(recording: Recording) -> tuple[Heard | None, ...]:
    """What its channels hold, in their order: None for silence. Empty where it was not measured."""
    where, channels = _measured(recording)
    return tuple((*where, digest) if sounding else None for digest, sounding in channels)


def quiet(recording: Recording) -> list[Heard]:
    """What those of its channels hold that are silent or idle, in one order."""
    where, channels = _measured(recording)
    return sorted((*where, digest) for digest, sounding in channels if not sounding)


def _measured(
    recording: Recording,
) -> tuple[tuple[int, Coding, int], tuple[tuple[str, bool], ...]]:
    """Rate, coding and frames; and of each channel the digest, and whether it sounds."""
    sound, made = recording.sound, recording.description.format
    if sound is None or sound.coding is None or made is None or not sound.frames:
        return (0, Coding.INTEGER, 0), ()
    return (made.sample_rate, sound.coding, sound.frames), _digests(sound)


@lru_cache(maxsize=1 << 12)
def _digests(sound: Sound) -> tuple[tuple[str, bool], ...]:
    return tuple((c.digest, sounds(sound, c)) for c in channels_of(sound))


def first_sounds(sound: Sound) -> list[int]:
    """The first frame with sound of each channel that has any."""
    channels = (c for c in channels_of(sound) if sounds(sound, c))
    return [c.first_sound for c in channels if c.first_sound is not None]


def sounds(sound: Sound, channel: Channel) -> bool:
    """Whether one of its channels holds more than silence, or an idle input."""
    if channel.first_sound is None:
        return False
    peak = channel.peak / (2**31 if sound.coding is Coding.INTEGER else 1)
    one_value = channel.zeros == 0 and 0 < peak < IDLE_PEAK
    return not one_value or abs(channel.rms / peak - 1) > IDLE_RMS


def silent(recording: Recording) -> bool:
    """Whether all its channels were measured and are digital silence, or idle."""
    channels = heard(recording)
    return bool(channels) and not any(channels)


class _Shelf:
    """The backup's channels that answer nothing yet; `part_of` tells the part of each recording."""

    def __init__(self, theirs: Sequence[Recording], part_of: Mapping[int, int]) -> None:
        self._holders: dict[Heard, dict[int, None]] = defaultdict(dict)  # in order
        self._mates: dict[int, list[Recording]] = defaultdict(list)
        self._part_of = part_of
        self._spent: set[tuple[int, Heard]] = set()
        self._marked: dict[tuple[Heard, int | str | None], int] = {}
        for backup in theirs:
            self._mates[part_of[backup.id]].append(backup)
            for channel in filter(None, heard(backup)):
                self._holders[channel][backup.id] = None
                for mark in _marks(backup):
                    self._marked.setdefault((channel, mark), backup.id)

    def holders(self, wanted: Iterable[Heard]) -> dict[Heard, int]:
        """Which recording has each of these, as far as one does; first the part with most."""
        found: dict[Heard, int] = {}
        while there := [c for c in wanted if c not in found and self._holders.get(c)]:
            rarest = min((self._holders[c] for c in there), key=len)
            parts = dict.fromkeys(self._part_of[n] for n in islice(rarest, MOST_ALIKE))
            most = max((self._held_in(part, there) for part in parts), key=len)
            found |= most
        return found

    def rivals(self, ours: Recording, wanted: Sequence[Heard]) -> Iterator[tuple[_Rank, int]]:
        """Which parts hold some of these, by one file of each; the least rank is the likeliest."""
        there = [c for c in wanted if self._holders.get(c)]
        rarest = min((self._holders[c] for c in there), key=len)
        marks = _marks(ours)
        known = ((c, mark) for mark in marks for c in there)
        likely = [self._marked[one] for one in known if one in self._marked]
        parts = dict.fromkeys(self._part_of[n] for n in (*likely, *islice(rarest, MOST_ALIKE)))
        for part in parts:
            if held := self._held_in(part, there):
                its = _marks(self._mates[part][0])
                rank = -len(held), its[0] != marks[0], its[1] != marks[1]
                yield rank, next(iter(held.values()))

    def _held_in(self, part: int, wanted: Sequence[Heard]) -> dict[Heard, int]:
        held = {c: mate.id for mate in reversed(self._mates[part]) for c in self._free(mate)}
        return {c: held[c] for c in wanted if c in held}

    def _free(self, backup: Recording) -> Iterator[Heard]:
        """Its channels that answer nothing."""
        return (c for c in heard(backup) if c and (backup.id, c) not in self._spent)

    def take(self, holders: Mapping[Heard, int]) -> None:
        """These answer from now on."""
        for channel, holder in holders.items():
            del self._holders[channel][holder]
            self._spent.add((holder, channel))

    def leaves_doubt(
        self, ours: Sequence[Recording], holders: Mapping[Heard, int], *, all_held: bool
    ) -> bool:
        """Whether something beside what answers `ours` may be the rest of it, changed.

        Where either side has a channel without one of its own on the other, that is any such
        channel; so it is where some of it is silent, or two copies hold a part each. Where all is
        held, it is as many channels of which the idle ones differ.
        """
        theirs = self._beside(holders)
        mine = Counter(c for file in ours for c in heard(file) if c)
        its = Counter(c for mate in theirs for c in self._free(mate))
        strange = its.keys() - holders.keys()
        if (strange or not all_held) and mine - its and its - mine:
            return True
        if strange:
            of_part = Counter(self._part_of[mate.id] for mate in theirs for _ in self._free(mate))
            copies = len(of_part) > 1 and max(of_part.values()) >= len(holders)
            if copies or any(None in heard(file) for file in ours):
                return True
        idle = [sorted(c for file in side for c in quiet(file)) for side in (ours, theirs)]
        widths = [sum(len(heard(file)) for file in side) for side in (ours, theirs)]
        return all_held and idle[0] != idle[1] and widths[0] == widths[1]

    def alone(self, holders: Mapping[Heard, int]) -> tuple[tuple[int, int], ...]:
        """The channels, from 1, of the recordings that answer which hold something else."""
        files = [mate for mate in self._beside(holders) if mate.id in holders.values()]
        return tuple(
            (file.id, number)
            for file in files
            for number, c in enumerate(heard(file), 1)
            if c and c not in holders and (file.id, c) not in self._spent
        )

    def _beside(self, holders: Mapping[Heard, int]) -> list[Recording]:
        """All files of the parts that answer."""
        parts = dict.fromkeys(self._part_of[holder] for holder in holders.values())
        return [mate for part in parts for mate in self._mates[part]]


def other_layouts(
    ours: Iterable[Sequence[Recording]], theirs: Sequence[Recording], part_of: Mapping[int, int]
) -> Layouts:
    """The answers for `ours`, the files of one part each, from `theirs`, in the order of paths."""
    found = Layouts()
    known = {backup.id: backup for backup in theirs}
    shelf = _Shelf(theirs, part_of)
    rivals: list[tuple[_Rank, tuple[int, int]]] = []
    for part in ours:
        wanted = dict.fromkeys(c for file in part for c in heard(file) if c)
        holders = shelf.holders(wanted)
        all_held = len(holders) == len(wanted)
        if holders and shelf.leaves_doubt(part, holders, all_held=all_held):
            its = shelf.rivals(part[0], tuple(wanted))
            rivals += [(rank, (part[0].id, mate)) for rank, mate in its]
        elif holders:
            alone = shelf.alone(holders)
            shelf.take(holders)
            found.used |= set(holders.values())
            answers = (a for file in part for a in _answer(file, holders, known))
            found.answers |= {a.recording: a._replace(theirs_alone=alone) for a in answers}
    found.alike += [hint for _, hint in sorted(rivals, key=lambda one: one[0])]
    return found


def _marks(recording: Recording) -> tuple[int | None, str]:
    """Its TimeReference, of which 0 tells no time, and its name."""
    begin = recording.description.metadata.time_reference or None
    return begin, same_key(recording.path.rpartition(b"/")[2])


def _answer(
    file: Recording, holders: Mapping[Heard, int], known: Mapping[int, Recording]
) -> Iterable[Counterpart]:
    """How the channels that `holders` have answer a file of their part, if they do."""
    channels = heard(file)
    others = tuple(dict.fromkeys(holders[c] for c in channels if c and c in holders))
    lacking = tuple(n for n, c in enumerate(channels, 1) if c and c not in holders)
    recoded = len(others) == 1 and _recoded(file, known[others[0]])
    whole = Relation.SAME_AUDIO if recoded else Relation.OTHER_LAYOUT
    relation = Relation.REDUCED if lacking else whole
    if others:
        yield Counterpart(file.id, relation, others[0], others=others, channels=lacking)


def _recoded(one: Recording, other: Recording) -> bool:
    """Whether one is the other in FLAC."""
    kinds = one.description.kind, other.description.kind
    return kinds[0] is not kinds[1] and heard(one) == heard(other)
