"""Whether a backup card holds what a take here lacks of its set.

That a backup's take lacks nothing by its own account shows it only if that is the same set. Else
what lacks must be seen there: sound on the tracks that lack, or more than the parts that are there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set

from takehold.decide.file_set import lacks
from takehold.decide.standing import DayStanding
from takehold.decide.zeros import said_name
from takehold.formats.levels import channels_of
from takehold.formats.timecode import day_samples
from takehold.model.finding import Relation
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.slate import same_words
from takehold.model.take import Take

# What answers by less, or is not compared yet, shows nothing of what lacks.
_SHOWN = frozenset(
    {
        Relation.IDENTICAL,
        Relation.SAME_AUDIO,
        Relation.OTHER_LAYOUT,
        Relation.REDUCED,
        Relation.LONGER,
    }
)

Track = tuple[Recording, int]
"""A file, and which of its channels, from 0."""


def is_whole_beside(take: Take, view: DayStanding, beside: Mapping[int, Take]) -> bool:
    """Whether what answers the take's files is of a backup card's take that has what lacks."""
    answers = [view.index[number].answer for number in take.files]
    found = [answer for answer in answers if answer is not None and answer.relation in _SHOWN]
    if len(found) < len(answers):
        return False
    used = {number for answer in found for number in answer.others}
    others = {t.first: t for number in used if (t := beside.get(number))}
    return any(_has_the_rest(take, other, view, used) for other in others.values())


def _has_the_rest(take: Take, other: Take, view: DayStanding, used: Set[int]) -> bool:
    def recording(number: int) -> Recording:
        return view.index[number].recording

    if other.rerecorded or lacks(other, recording):
        return False
    parts = [[recording(number) for number in part.files] for part in take.parts]
    its = [recording(number) for number in other.files]
    if take.expected == other.expected and _in_parts(take) == _in_parts(other):
        rest = [r for r in its if r.id not in used]
        return bool(rest) and (_in_parts(take) or all(_sounds((r, 0)) for r in rest))
    if _in_parts(take):
        return _goes_on(take, other, _index(parts[0][0]))
    return all(_has_tracks(take.expected or 0, files, dict(_tracks(its))) for files in parts)


def _in_parts(take: Take) -> bool:
    """Whether its files follow each other in time, as far as that can be seen."""
    return len(take.parts) == len(take.files) and (len(take.files) > 1 or take.channels > 1)


def _has_tracks(expected: int, files: Sequence[Recording], tracks: Mapping[int, Track]) -> bool:
    """The tracks that are here lie at their places there too, and those that lack sound there."""
    here = {_index(r): (r, 0) for r in files}
    lacking = set(range(1, expected + 1)) - set(here)
    there = all(place in tracks and _sounds(tracks[place]) for place in lacking)
    return there and all(n in tracks and _same(mine, tracks[n]) for n, mine in here.items())


def _goes_on(take: Take, other: Take, first: int) -> bool:
    """It holds more than all parts but the last, from where the first of them began.

    A recorder begins a new part where a file is full: but for the last they are of one length.
    `first` is the number of the first part that is here.
    """
    length = max(part.frames or 0 for part in take.parts)
    if other.channels < take.channels or not length:
        return False
    if (other.frames or 0) <= ((take.expected or 0) - 1) * length:
        return False
    if first < 2:
        return True
    if take.start is None or other.start is None:
        return False
    day = day_samples(take.sample_rate, take.rate) or 1
    return (take.start - other.start) % day >= (first - 1) * length


def _tracks(files: Sequence[Recording]) -> Iterator[tuple[int, Track]]:
    """The places of the tracks: of a file by itself its channels', of a set's the files'."""
    if len(files) == 1:
        yield from ((n + 1, (files[0], n)) for n in range(_channels(files[0])))
    else:
        yield from ((_index(r), (r, 0)) for r in files)


def _index(recording: Recording) -> int:
    """Its number in its set, 0 where it says none."""
    said = recording.description.metadata.set_index
    return int(said) if said.isdecimal() and len(said) < 9 else 0


def _channels(recording: Recording) -> int:
    made = recording.description.format
    return made.channels if made else 0


def _measured(recording: Recording, channel: int) -> Channel | None:
    sound = recording.sound
    channels = channels_of(sound) if sound is not None else ()
    return channels[channel] if channel < len(channels) else None


def _sounds(track: Track) -> bool:
    """What was not measured is not known to be silent."""
    one = _measured(*track)
    return one is None or one.first_sound is not None


def _same(mine: Track, its: Track) -> bool:
    """Whether two are one track, by their samples or their names."""
    one, other = _measured(*mine), _measured(*its)
    if one is not None and other is not None and one.digest == other.digest:
        return True
    name = same_words(said_name(*mine))
    return bool(name) and name == same_words(said_name(*its))
