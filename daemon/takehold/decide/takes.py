"""Which recordings of a day are one take?

On one load, from the strongest tie to the weakest:
1. A file set: one iXML FAMILY_UID, told apart by TOTAL_FILES, so that monos that were split from
   a poly file later are a set of their own. Its numbers repeat on other machines: they count for
   one originator and roll only (iXML specification; short UIDs were seen), and what begins at
   another time and names another scene or take is none of that set (one UID in all files was seen).
2. Files of one originator, roll, scene and take with the same TimeReference and length. A
   TimeReference of 0 says nothing by itself: a take's number must, a file set or the names.
3. Parts of a file that was split: TimeReference[k+1] = TimeReference[k] + frames[k], modulo the
   timecode day; or nearly so, after a file that is as long as a file may be.
What was made from other files of the card (decide/derived) is a take of its own.
Each file has its place in a set once: if a whole set lies twice on a card, it is two takes.
What goes on on the next card of that role is one take (decide/over_cards).
The order of the recordings does not matter. Cost: linear in their number, but for sorting.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache, partial
from itertools import chain, pairwise
from typing import TYPE_CHECKING, NamedTuple

from takehold.decide.derived import derived as from_others
from takehold.decide.file_set import place, tie
from takehold.decide.over_cards import connected, over_cards
from takehold.decide.take_names import marked, same_number
from takehold.formats.timecode import day_samples
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings
from takehold.model.slate import same_words, scene_and_take
from takehold.model.sound import Kind, Track
from takehold.model.take import Part, Take

if TYPE_CHECKING:  # the standing of a day asks for takes itself
    from takehold.decide.standing import DayStanding

# Bytes at which recorders begin the next file (their manuals; names withheld). Little below it a
# file counts as full.
LIMITS = (
    *(640 * 10**6, 640 << 20, 650 * 10**6, 650 << 20, 10**9, 1 << 30, 2 * 10**9, 1 << 31),
    *(3_600 * 10**6, 4 * 10**9, 1 << 32),
)
FULL = 0.98
# More than the gaps that splitting recorders are known to leave, about 5 s.
GAP_SECONDS = 10


# Originator, roll, scene, take, sample rate, and the channels of each file.
_Alike = tuple[str, str, str, str, int, tuple[int, ...]]


class _Piece(NamedTuple):
    """Files that begin together, and what they have in common with other pieces of a take."""

    files: tuple[Recording, ...]
    family: Hashable | None
    expected: int | None
    alike: _Alike
    sample_rate: int
    day: int
    start: int | None
    frames: int | None

    @property
    def full(self) -> bool:
        """Whether its largest file is as long as some recorder makes a file."""
        size = max(file.stamp.size for file in self.files)
        return any(limit * FULL <= size <= limit for limit in LIMITS)


@lru_cache(maxsize=2)  # each check asks; a day that is kept here cannot leave memory
def takes_of_day(view: DayStanding, settings: Settings) -> dict[int, tuple[Take, ...]]:
    """The takes of each load of a day, from the newest versions of its files.

    And from those whose name another recording has now.
    """
    shelves: dict[int, list[Recording]] = {load.id: [] for load in view.loads}
    for standing in view.files:
        if standing.current or standing.deleted:
            shelves[standing.load.id].append(standing.recording)
    roles = {load.id: load.role for load in view.loads}
    found: list[Take] = []
    for role in Role:
        here = [files for load, files in shelves.items() if roles[load] is role]
        if role is Role.BODYPACK:  # its file of hours is the original of nothing, and of no other
            for files in here:
                firsts, later = _told_apart(files, settings.rerecorded)
                found += [*firsts, *later]
        else:
            found += _rolled((file for files in here for file in files), settings.rerecorded)
    on: dict[int, list[Take]] = {load: [] for load in shelves}
    for take in _across(found, roles):
        on[take.load].append(take)
    return {load: in_order(there, settings.day_starts_at) for load, there in on.items()}


def takes(
    recordings: Iterable[Recording], words: Iterable[str] = (), starts_at: int = 0
) -> tuple[Take, ...]:
    """The takes of cards of one role, in the order of their timecode in a day from `starts_at` on.

    `words` mark what was recorded again; `starts_at` is in minutes since midnight.
    """
    return in_order(_rolled(recordings, words), starts_at)


def _rolled(recordings: Iterable[Recording], words: Iterable[str]) -> Iterator[Take]:
    """The takes load by load; one that goes on on another load is the first one's."""
    known = {recording.id: recording for recording in recordings}
    loads: dict[int, list[Recording]] = defaultdict(list)
    for recording in known.values():
        loads[recording.load].append(recording)
    told = [_told_apart(files, words) for files in loads.values()]
    firsts = over_cards((t for one, _ in told for t in one), known, _built)
    later = over_cards((t for _, one in told for t in one), known, partial(_built, again=True))
    on: dict[int, tuple[list[Take], list[Take]]] = {load: ([], []) for load in loads}
    for again, some in enumerate((firsts, later)):
        for take in some:
            on[take.load][again].append(take)
    for mine in on.values():
        yield from _beside(*mine)


def _told_apart(
    recordings: Iterable[Recording], words: Iterable[str]
) -> tuple[list[Take], list[Take]]:
    """The originals, and what was recorded again."""
    tells = marked(words)
    audio = [r for r in recordings if r.description.kind is not Kind.OTHER]
    audio.sort(key=lambda r: r.id)
    made = from_others(audio)
    again = {r.id for r in audio if tells(r)}
    rolled = [r for r in audio if r.id not in again]
    firsts = _built([r for r in rolled if r.id not in made])
    firsts += _built([r for r in rolled if r.id in made], derived=True)
    later = _built([r for r in audio if r.id in again], again=True)
    return firsts, later


def in_order(found: Iterable[Take], starts_at: int) -> tuple[Take, ...]:
    """By their timecode, in a day from `starts_at` minutes since midnight on."""
    return tuple(sorted(found, key=lambda take: _order(take, starts_at)))


def position(take: Take, starts_at: int) -> int | None:
    """Samples from the day's beginning, `starts_at` minutes since midnight, to the take's."""
    if take.start is None:
        return None
    begins = starts_at * 60 * take.sample_rate
    return (take.start - begins) % (day_samples(take.sample_rate, take.rate) or 1)


def _order(take: Take, starts_at: int) -> tuple[bool, float, int]:
    at = position(take, starts_at)
    return at is None, (at or 0) / (take.sample_rate or 1), take.first


def _built(
    recordings: Sequence[Recording], *, again: bool = False, derived: bool = False
) -> list[Take]:
    pieces = [*_pieces(recordings)]
    return [_take(group, again=again, derived=derived) for group in _joined(pieces)]


def _pieces(recordings: Iterable[Recording]) -> Iterator[_Piece]:
    """Sets and single files, each cut where its files begin at another time."""
    tied: dict[Hashable, list[Recording]] = defaultdict(list)
    for recording in recordings:
        tied[tie(recording)].append(recording)
    for tied_by, files in tied.items():
        layers: dict[int, list[Recording]] = defaultdict(list)
        met: dict[Hashable, int] = defaultdict(int)
        for file in files:
            there = (file.description.metadata.time_reference, place(file))
            layers[met[there]].append(file)
            met[there] += 1
        for number, layer in layers.items():
            yield from _cut(layer, (tied_by, number), complete=number == 0)


def _cut(layer: list[Recording], family: Hashable, *, complete: bool) -> Iterator[_Piece]:
    """Of a set that lies twice on a card only one is expected to be whole."""
    starts: dict[Hashable, list[Recording]] = defaultdict(list)
    for file in layer:
        starts[file.description.metadata.time_reference].append(file)
    expected = max((f.description.metadata.total_files or 0 for f in layer), default=0)
    for files in starts.values():
        files.sort(key=_channel)
        yield _piece(files, family, expected if complete and expected else None)


def _channel(recording: Recording) -> tuple[int, int, str, int]:
    said = recording.description.metadata
    channel = min((track.channel for track in said.tracks), default=1 << 32)
    return channel, len(said.set_index), said.set_index, recording.id


def _piece(files: list[Recording], family: Hashable, expected: int | None) -> _Piece:
    first = files[0].description
    made, said = first.format, first.metadata
    rate = made.sample_rate if made else 0
    scene, take = map(same_words, scene_and_take(files[0]))
    channels = tuple(f.description.format.channels if f.description.format else 0 for f in files)
    alike = (said.originator, said.tape, scene, take, rate, channels)
    day = day_samples(rate, said.timecode_rate)
    lengths = [file.description.frames for file in files]
    frames = None if None in lengths else max(length or 0 for length in lengths)
    start = said.time_reference
    return _Piece(tuple(files), family, expected, alike, rate, day, start, frames)


def _joined(pieces: list[_Piece]) -> list[list[_Piece]]:
    """The pieces of each take, in the order of time."""
    edges = chain(_families(pieces), _gapless(pieces), _nearly(pieces))
    groups = connected(len(pieces), edges)
    return [_in_time([pieces[number] for number in group]) for group in groups]


def _families(pieces: list[_Piece]) -> Iterator[tuple[int, int]]:
    """Those of one set that name one scene and take."""
    first: dict[Hashable, int] = {}
    for number, piece in enumerate(pieces):
        slate = piece.alike[2:4]
        yield first.setdefault((piece.family, slate), number), number


def _gapless(pieces: list[_Piece]) -> Iterator[tuple[int, int]]:
    """A part that begins with the sample after another's last one."""
    at: dict[tuple[_Alike, int | None], list[int]] = defaultdict(list)
    for number, piece in enumerate(pieces):
        if piece.start is not None:
            at[(piece.alike, piece.start)].append(number)
    for (alike, _), numbers in list(at.items()):
        for nth, number in enumerate(numbers):
            end = _end(pieces[number])
            mates = at.get((alike, end), ()) if end is not None and pieces[number].frames else ()
            if nth < len(mates):
                yield number, mates[nth]


def _end(piece: _Piece) -> int | None:
    if piece.start is None or piece.frames is None or not piece.day:
        return None
    return (piece.start + piece.frames) % piece.day


def _nearly(pieces: list[_Piece]) -> Iterator[tuple[int, int]]:
    """The next part of a full file of that scene and take, some samples or a whole part later."""
    shelf: dict[Hashable, list[int]] = defaultdict(list)
    for number, piece in enumerate(pieces):
        named = piece.alike[2] or piece.alike[3]
        if named and piece.start is not None and piece.frames and piece.day:
            shelf[piece.alike].append(number)
    for numbers in shelf.values():
        numbers.sort(key=lambda number: (pieces[number].start or 0, number))
        for one, other in pairwise(numbers):
            before, after = pieces[one], pieces[other]
            gap = (after.start or 0) - (before.start or 0) - (before.frames or 0)
            least = -GAP_SECONDS * before.sample_rate
            most = max((before.frames or 0) / FULL, GAP_SECONDS * before.sample_rate)
            if before.full and before.start != after.start and least <= gap <= most:
                yield one, other


def _in_time(group: list[_Piece]) -> list[_Piece]:
    """Sorted by timecode; where it passes midnight, what comes after the longest pause is first."""
    group.sort(key=lambda piece: (piece.start is None, piece.start or 0, piece.files[0].id))
    if len(group) == 1 or group[-1].start is None or not group[0].day:
        return group
    day = group[0].day
    pauses = [((group[i].start or 0) - (group[i - 1].start or 0)) % day for i in range(len(group))]
    begin = pauses.index(max(pauses))
    return [*group[begin:], *group[:begin]]


def _take(group: list[_Piece], *, again: bool, derived: bool) -> Take:
    files = [file for piece in group for file in piece.files]
    said = [file.description.metadata for file in files]
    names = [scene_and_take(file) for file in files]
    first = group[0]
    made = [file.description.format for file in first.files]
    return Take(
        load=files[0].load,
        scene=next((scene for scene, _ in names if scene), ""),
        take=next((take for _, take in names if take), ""),
        tape=said[0].tape,
        originator=said[0].originator,
        parts=tuple(Part(tuple(f.id for f in p.files), p.start, p.frames) for p in group),
        sample_rate=first.sample_rate,
        channels=sum(form.channels for form in made if form),
        rate=next((s.timecode_rate for s in said if s.timecode_rate), None),
        circled=any(s.circled for s in said),
        note=next((s.note for s in said if s.note), ""),
        tracks=_tracks(first.files),
        expected=max((p.expected or 0 for p in group), default=0) or None,
        types=tuple(dict.fromkeys(word for s in said for word in s.types)),
        rerecorded=again,
        derived=derived,
    )


def _tracks(files: Iterable[Recording]) -> tuple[Track, ...]:
    return tuple(track for file in files for track in file.description.metadata.tracks)


def _beside(firsts: list[Take], later: Iterable[Take]) -> list[Take]:
    """What was recorded again goes to its original: by scene and take, else by its timecode."""
    named: dict[Hashable, int] = {}
    for nth, take in enumerate(firsts):
        if (take.scene or take.take) and not take.derived:
            named.setdefault((same_words(take.scene), same_number(take.take)), nth)
    own = [(t.start, n) for n, t in enumerate(firsts) if not t.derived]
    timed = sorted((start, n) for start, n in own if start is not None)
    again: dict[int, list[Take]] = defaultdict(list)
    alone: list[Take] = []
    for take in sorted(later, key=lambda take: (take.start or 0, take.first)):
        name = (same_words(take.scene), same_number(take.take))
        number = named.get(name)
        number = _around(take, firsts, timed) if number is None else number
        if number is None:
            alone.append(take)
        else:
            again[number].append(take)
    whole = [
        t._replace(again=(*t.again, *again[n])) if n in again else t for n, t in enumerate(firsts)
    ]
    return [*whole, *alone]


def _across(found: list[Take], roles: Mapping[int, Role]) -> Iterator[Take]:
    """What was recorded again on another card goes to its original: the recorder's, not a backup's.

    A backup card's goes to that of a backup card. What has none is a take like others: all that is
    asked of a take is asked of it.
    """
    for backup in (False, True):
        side = [take for take in found if (roles[take.load] is Role.BACKUP) is backup]
        packs = [t for t in side if roles[t.load] is Role.BODYPACK and not t.rerecorded]
        rest = [t for t in side if roles[t.load] is not Role.BODYPACK and not t.rerecorded]
        yield from packs
        later = [take for take in side if take.rerecorded]
        told = _beside(rest, later) if later else rest
        yield from (t._replace(rerecorded=False) if t.rerecorded else t for t in told)


def _around(take: Take, firsts: list[Take], timed: list[tuple[int, int]]) -> int | None:
    """The original that was being recorded at that timecode."""
    if take.start is None:
        return None
    at = bisect_right(timed, (take.start, len(firsts))) - 1
    if at < 0:
        return None
    start, number = timed[at]
    within = take.start < start + (firsts[number].frames or 0)
    return number if within and firsts[number].sample_rate == take.sample_rate else None
