"""The same audio in another layout, by the digests of the channels alone: no sample is touched.

1. A channel equals another where rate, coding, length and digest agree. Digital silence says
   nothing of which take it is: silent channels count for neither side, and no more those that
   stand at one low value, as an idle input does.
2. A channel of the backup answers one part of a take only, and in it each track that holds it.
3. Tracks that nothing on the backup holds are told only where nothing there is left that might be
   them, changed; else the whole takes are compared (decide/candidates). So it is with silence.
Cost: linear in the number of channels, but for sorting.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from takehold.formats.levels import channels_of
from takehold.model.finding import Counterpart, Relation
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.sound import Coding, Sound

# Below -60 dB a channel whose samples have one magnitude holds nothing; above it may be a square
# wave. Its rms is 0.0004 dB off at most (model/measured). Chosen, no source.
IDLE_PEAK, IDLE_RMS = 1e-3, 1e-4
# Sample rate, coding, frames and digest.
Heard = tuple[int, Coding, int, str]


@dataclass(slots=True)
class Layouts:
    """What the digests answer. `used` are the backup's recordings that answer.

    `alike` pairs a primary recording with a backup's where their takes share some channels and
    the others must be compared.
    """

    answers: dict[int, Counterpart] = field(default_factory=dict)
    used: set[int] = field(default_factory=set)
    alike: list[tuple[int, int]] = field(default_factory=list)


def heard(recording: Recording) -> tuple[Heard | None, ...]:
    """What its channels hold, in their order: None for silence. Empty where it was not measured."""
    sound, made = recording.sound, recording.description.format
    if sound is None or sound.coding is None or made is None or not sound.frames:
        return ()
    where = (made.sample_rate, sound.coding, sound.frames)
    return tuple(None if digest is None else (*where, digest) for digest in _digests(sound))


@lru_cache(maxsize=1 << 12)
def _digests(sound: Sound) -> tuple[str | None, ...]:
    return tuple(c.digest if _sounds(sound, c) else None for c in channels_of(sound))


def first_sounds(sound: Sound) -> list[int]:
    """The first frame with sound of each channel that has any."""
    channels = (c for c in channels_of(sound) if _sounds(sound, c))
    return [c.first_sound for c in channels if c.first_sound is not None]


def _sounds(sound: Sound, channel: Channel) -> bool:
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
        self._holders: dict[Heard, list[int]] = defaultdict(list)
        self._mates: dict[int, list[Recording]] = defaultdict(list)
        self._part_of = part_of
        self._spent: set[tuple[int, Heard]] = set()
        for backup in theirs:
            self._mates[part_of[backup.id]].append(backup)
        for backup in reversed(theirs):
            for channel in {c for c in heard(backup) if c}:
                self._holders[channel].append(backup.id)

    def holders(self, wanted: Iterable[Heard]) -> dict[Heard, int]:
        """Which recording has each of these, as far as one does."""
        return {c: held[-1] for c in wanted if (held := self._holders.get(c))}

    def take(self, holders: Mapping[Heard, int]) -> None:
        """These answer from now on."""
        for channel, holder in holders.items():
            self._holders[channel].pop()
            self._spent.add((holder, channel))

    def has_rest(self, holders: Mapping[Heard, int]) -> bool:
        """Whether there are, beside what answers, other channels that answer nothing."""
        parts = {self._part_of[holder] for holder in holders.values()}
        beside = (mate for part in parts for mate in self._mates[part])
        left = ((mate.id, c) for mate in beside for c in heard(mate) if c)
        return any(c not in holders and (mate, c) not in self._spent for mate, c in left)


def other_layouts(
    ours: Iterable[Sequence[Recording]], theirs: Sequence[Recording], part_of: Mapping[int, int]
) -> Layouts:
    """The answers for `ours`, the files of one part each, from `theirs`, in the order of paths."""
    found = Layouts()
    known = {backup.id: backup for backup in theirs}
    shelf = _Shelf(theirs, part_of)
    for part in ours:
        wanted = dict.fromkeys(c for file in part for c in heard(file) if c)
        holders = shelf.holders(wanted)
        unsure = len(holders) < len(wanted) or any(None in heard(file) for file in part)
        if holders and unsure and shelf.has_rest(holders):
            found.alike.append((part[0].id, min(holders.values())))
        elif holders:
            shelf.take(holders)
            found.used |= set(holders.values())
            answers = (a for file in part for a in _answer(file, holders, known))
            found.answers |= {answer.recording: answer for answer in answers}
    return found


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
