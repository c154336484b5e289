"""Whether another card holds what a take here lacks of its set: a backup card, or a mirror.

That the other take lacks nothing by its own account shows it only if that is the same set. All that
lacks must be seen there: at the same places, as long as the other files of its part, with sound,
and with samples of its own. What cannot be shown is not held.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise

from takehold.decide.file_set import counted, lacks, place
from takehold.decide.layouts import sounds
from takehold.decide.standing import DayStanding
from takehold.decide.zeros import said_name
from takehold.formats.levels import channels_of
from takehold.formats.timecode import day_samples
from takehold.model.finding import Counterpart, Relation
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.slate import same_words
from takehold.model.take import Part, Take

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
Known = Callable[[int], Recording]


def whole_beside(
    take: Take, view: DayStanding, beside: Mapping[int, Take], mirrors: Iterable[Take] = ()
) -> Take | None:
    """The take of a backup card that answers this one's files and has what lacks, else a mirror's.

    A mirror, `mirrors` may be some, is any other card that holds its samples.
    """

    def recording(number: int) -> Recording:
        return view.index[number].recording

    answers = [view.index[number].answer for number in take.files]
    used = {number for answer in answers if answer is not None for number in answer.others}
    shown = all(answer is not None and _shows_all(answer) for answer in answers)
    others = {t.first: t for number in used if (t := beside.get(number))} if shown else {}
    others |= {t.first: t for t in mirrors if _mirrors(take, t, recording)}
    return next((t for t in others.values() if _has_the_rest(take, t, recording)), None)


def _shows_all(answer: Counterpart) -> bool:
    """Whether all tracks of a file are there."""
    lacks_tracks = answer.alone or (answer.relation is Relation.REDUCED and answer.channels)
    return answer.relation in _SHOWN and not lacks_tracks


def _mirrors(take: Take, other: Take, recording: Known) -> bool:
    """Whether another card's take has the samples of each channel of this one that sounds."""
    starts = {part.start for part in take.parts}
    if other.load == take.load or starts.isdisjoint(part.start for part in other.parts):
        return False
    mine = [_all_measured(recording(n)) for n in take.files]
    if not all(mine):
        return False
    its = {one.digest for n in other.files for one in _all_measured(recording(n))}
    sounding = {one.digest for file in mine for one in file if one.first_sound is not None}
    return bool(sounding) and sounding <= its


def _has_the_rest(take: Take, other: Take, recording: Known) -> bool:
    if other.rerecorded or lacks(other, recording):
        return False
    here, there = ({_cell(f): f for f in map(recording, t.files)} for t in (take, other))
    same_set = take.expected == other.expected and here.keys() < there.keys()
    if same_set and all(_fits(file, there[cell]) for cell, file in here.items()):
        rest = [file for cell, file in there.items() if cell not in here]
        return _are_whole(rest, take, other, recording)
    if not is_unbroken(other):
        return False
    return (_goes_on if _in_parts(take) else _has_tracks)(take, other, recording)


def _cell(recording: Recording) -> Hashable:
    """The part and the place in it."""
    return recording.description.metadata.time_reference, place(recording)


def _fits(mine: Recording, its: Recording) -> bool:
    return _channels(mine) == _channels(its) and _frames(mine) <= _frames(its)


def _in_parts(take: Take) -> bool:
    """Whether its files follow each other in time, as far as that can be seen."""
    return len(take.parts) == len(take.files) and (len(take.files) > 1 or take.channels > 1)


def _are_whole(rest: Iterable[Recording], take: Take, other: Take, recording: Known) -> bool:
    """Files of the same set that lack here: each with all that its like have."""
    here, files = ([recording(n) for n in t.files] for t in (take, other))
    part_of = {number: part for part in other.parts for number in part.files}
    widths = {sum(_channels(recording(n)) for n in part.files) for part in other.parts}
    starts = {part.start for part in take.parts}
    for file in rest:
        part = part_of[file.id]
        if len(widths) > 1 or _frames(file) < (part.frames or 0):
            return False
        if part.start not in starts and not is_unbroken(other):
            return False
        like = here if _in_parts(take) else [f for f in here if place(f) == place(file)]
        others = [t for f in files if f is not file for t in _tracks_in(f)]
        for channel in range(_channels(file)):
            unused = _unused((f, channel) for f in like)
            if not unused and not _is_own((file, channel), others, 0, _frames(file)):
                return False
    return True


def _has_tracks(take: Take, other: Take, recording: Known) -> bool:
    """The tracks that are here lie at their places there too, and those that lack sound there."""
    mine = [{_place(f): (f, 0) for f in map(recording, part.files)} for part in take.parts]
    its = [dict(_tracks([recording(n) for n in part.files])) for part in other.parts]
    places = set(range(1, counted(take) + 1))
    for here, part in zip(mine, take.parts, strict=True):
        apart = len(mine) > 1
        begin = _later(part, other, take) if apart else 0
        end = (begin or 0) + (part.frames or 0) if apart else (other.frames or 0)
        if begin is None or len(here) < len(part.files) or not _covers(other, begin, end):
            return False
        unused = {n for n in places - here.keys() if _unused(p[n] for p in mine if n in p)}
        for nth, first, last in _within(other, begin, end):
            there = its[nth]
            if not here.keys() | places <= there.keys():
                return False
            if not all(_same(track, there[n]) for n, track in here.items()):
                return False
            for n in places - here.keys() - unused:
                rest = [track for m, track in there.items() if m != n]
                if _frames(there[n][0]) < last or not _is_own(there[n], rest, first, last):
                    return False
    gaps = _gaps(take, other)
    return gaps is not None and all(_sound_on(take, other, recording, *gap) for gap in gaps)


def _goes_on(take: Take, other: Take, recording: Known) -> bool:
    """As many tracks as sound here do so there in each stretch that lacks."""
    counts = (take.expected or 0) > 1
    lacking = _uncounted(take, other, recording) if counts else _gaps(take, other)
    return bool(lacking) and all(_sound_on(take, other, recording, *one) for one in lacking or ())


def _uncounted(take: Take, other: Take, recording: Known) -> list[tuple[int, int]]:
    """The stretches of the other where parts lack here, by their numbers; none: not known.

    A recorder begins a new part where a file is full: but for the last they are of one length, and
    more than all but the last must be there.
    """
    expected, total = take.expected or 0, other.frames or 0
    numbers = [_index(recording(part.files[0])) for part in take.parts]
    begins = [_later(part, other, take) for part in take.parts]
    if begins == [None] and numbers == [1]:
        begins = [0]
    length = max(part.frames or 0 for part in take.parts)
    known = [begin for begin in begins if begin is not None]
    rising = 0 not in numbers and numbers == sorted({*numbers})
    if len(known) < len(begins) or not rising or not length:
        return []
    origin = known[0] - (numbers[0] - 1) * length
    if origin < 0 or total <= origin + (expected - 1) * length:
        return []
    ends = [begin + (part.frames or 0) for begin, part in zip(known, take.parts, strict=True)]
    before = zip([0, *numbers], [origin, *ends], strict=True)
    after = zip([*numbers, expected + 1], [*known, total], strict=True)
    found: list[tuple[int, int]] = []
    for (last, begin), (nth, end) in zip(before, after, strict=True):
        if (lack := nth - last - 1) > 0:
            if begin >= end:
                return []
            step = max(length if nth > expected else 1, -((begin - end) // lack))
            found += [(at, min(at + step, end)) for at in range(begin, end, step)]
    return found


def _sound_on(take: Take, other: Take, recording: Known, begin: int, end: int) -> bool:
    """Whether as many tracks sound in each file of this stretch as in any part that is here."""
    here = [track for n in take.parts[0].files for track in _tracks_in(recording(n))]
    wanted = sum(_sounds(track, 0, _frames(track[0])) for track in here)
    for nth, first, last in _within(other, begin, end):
        its = [t for n in other.parts[nth].files for t in _tracks_in(recording(n))]
        if sum(_sounds(track, first, last) for track in its) < wanted:
            return False
    return wanted > 0 and _covers(other, begin, end)


def _covers(take: Take, begin: int, end: int) -> bool:
    return 0 <= begin < end <= (take.frames or 0)


def _within(take: Take, begin: int, end: int) -> Iterator[tuple[int, int, int]]:
    """What of a stretch lies in which part of an unbroken take, counted from that's first frame."""
    at = 0
    for nth, part in enumerate(take.parts):
        first, last = max(begin - at, 0), min(end - at, part.frames or 0)
        at += part.frames or 0
        if first < last:
            yield nth, first, last


def _gaps(take: Take, other: Take) -> list[tuple[int, int]] | None:
    """The stretches between a take's parts, from the other's first frame; None: not known."""
    begins = [(part, _later(part, other, take)) for part in take.parts]
    found = [
        (begin + (part.frames or 0), after)
        for (part, begin), (_, after) in pairwise(begins)
        if begin is not None and after is not None
    ]
    known = len(found) == len(take.parts) - 1
    return [(begin, end) for begin, end in found if begin < end] if known else None


def _later(part: Part, other: Take, take: Take) -> int | None:
    """How many samples after the other take a part begins; None where that is not known."""
    if part.start is None or other.start is None:
        return None
    day = day_samples(take.sample_rate, take.rate) or 1
    return (part.start - other.start + day // 2) % day - day // 2


def is_unbroken(take: Take) -> bool:
    """Whether each part begins with the sample behind the one before it, or within that."""
    return _gaps(take, take) == []


def _tracks(files: Sequence[Recording]) -> Iterator[tuple[int, Track]]:
    """The places of the tracks: of a file by itself its channels', of a set's the files'."""
    if len(files) == 1:
        yield from ((n + 1, track) for n, track in enumerate(_tracks_in(files[0])))
    else:
        yield from ((_place(r), (r, 0)) for r in files)


def _tracks_in(recording: Recording) -> list[Track]:
    return [(recording, n) for n in range(_channels(recording))]


def _index(recording: Recording) -> int:
    """Its number in its set, of letters their place in the alphabet; 0 where it says none."""
    said = recording.description.metadata.set_index
    if len(said) == 1 and "A" <= said.upper() <= "Z":
        return ord(said.upper()) - ord("A") + 1
    return int(said) if said.isdecimal() and len(said) < 9 else 0


def _place(recording: Recording) -> int:
    """Its number, else that of its only track."""
    tracks = recording.description.metadata.tracks
    return _index(recording) or (tracks[0].channel if len(tracks) == 1 else 0)


def _channels(recording: Recording) -> int:
    made = recording.description.format
    return made.channels if made else 0


def _frames(recording: Recording) -> int:
    return recording.description.frames or 0


def _all_measured(recording: Recording) -> tuple[Channel, ...]:
    return channels_of(recording.sound) if recording.sound is not None else ()


def _measured(recording: Recording, channel: int) -> Channel | None:
    channels = _all_measured(recording)
    return channels[channel] if channel < len(channels) else None


def _unused(tracks: Iterable[Track]) -> bool:
    """Whether these hold no sound at all, and there are some."""
    its = [_measured(*track) for track in tracks]
    return bool(its) and all(one is not None and one.first_sound is None for one in its)


def _sounds(track: Track, begin: int, end: int) -> bool:
    """Whether it is shown to sound in this stretch of its file."""
    one, sound = _measured(*track), track[0].sound
    if one is None or sound is None or not sounds(sound, one):
        return False
    if one.first_sound is None or one.last_sound is None:
        return False
    if begin <= one.first_sound < end or begin <= one.last_sound < end:
        return True
    return one.first_sound < begin and one.last_sound >= end and one.longest_gap < end - begin


def _is_own(track: Track, others: Iterable[Track], begin: int, end: int) -> bool:
    """Whether it sounds there, and none of these holds the same samples."""
    one = _measured(*track)
    its = (_measured(*other) for other in others)
    return _sounds(track, begin, end) and not any(o and one and o.digest == one.digest for o in its)


def _same(mine: Track, its: Track) -> bool:
    """Whether two are one track, by their samples or their names."""
    one, other = _measured(*mine), _measured(*its)
    if one is not None and other is not None and one.digest == other.digest:
        return True
    name = same_words(said_name(*mine))
    return bool(name) and name == same_words(said_name(*its))
