"""Which files of a backup card answer which primary recording, and how?

1. What the digests say comes first: the same bytes, the same payload, the same channels in another
   layout. What is left is paired by its names and its timecode (decide/candidates), and what its
   blocks do not tell is said by a comparison of the samples, once that was made.
2. One to one: a backup's channel answers one part of a take only, the strongest relation first.
3. What was made from other files of its card (decide/derived) takes no channel from them: it is
   answered by what answers them.
4. The order of the files does not matter.
5. Only reads count: a file that was not read yet confirms nothing.
Cost: linear in the number of files, but for sorting.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace

from takehold.decide.candidates import Unit, paired, units
from takehold.decide.derived import derived
from takehold.decide.layouts import heard, other_layouts, silent
from takehold.decide.spread import later, spread
from takehold.decide.takes import takes
from takehold.decide.twins import Twins, other_layout
from takehold.formats.names import same_key
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording
from takehold.model.sound import Kind, Sound
from takehold.model.take import Take

Key = Callable[[Recording], Hashable | None]
Compared = Mapping[tuple[Side, Side], Comparison]

# The audio is there, whatever stands around it.
WHOLE = frozenset({Relation.IDENTICAL, Relation.SAME_AUDIO, Relation.OTHER_LAYOUT})
# The blocks of two files tell it exactly.
BY_BLOCKS = WHOLE | {Relation.SHORT, Relation.LONGER}
STRENGTH = {relation: number for number, relation in enumerate(Relation)}


@dataclass(frozen=True, slots=True)
class Matched:
    """The answers for the primary recordings, and for the backup's, in the order of their paths.

    `uncompared` are pairs of sides whose samples should be compared.
    """

    primaries: tuple[Counterpart, ...]
    backups: tuple[Counterpart, ...]
    uncompared: tuple[tuple[Side, Side], ...]


def match(
    primaries: Iterable[Recording],
    backups: Iterable[Recording],
    compared: Compared | None = None,
    words: Iterable[str] = (),
) -> Matched:
    """Match two cards; `words` mark what was recorded again (decide/takes)."""
    ours, theirs = _in_order(primaries), _in_order(backups)
    made = {n for files in _by_load(ours).values() for n in derived(files)}
    board = _Board([r for r in ours if r.id not in made], theirs)
    board.solve(words, compared or {})
    if made:
        board.ours = ours
        board.derive(made)
        board.solve(words, compared or {})
    return board.matched()


def _in_order(recordings: Iterable[Recording]) -> list[Recording]:
    return sorted(recordings, key=lambda r: (r.path, r.id))


def _grouped(recordings: Iterable[Recording], words: Iterable[str]) -> list[Take]:
    """The takes of each load, those beside that were recorded again for themselves."""
    found = [take for files in _by_load(recordings).values() for take in takes(files, words)]
    return [*found, *(again for take in found for again in take.again)]


def _by_load(recordings: Iterable[Recording]) -> dict[int, list[Recording]]:
    loads: dict[int, list[Recording]] = defaultdict(list)
    for recording in recordings:
        loads[recording.load].append(recording)
    return loads


def _part_of(found: Iterable[Take]) -> dict[int, int]:
    """The part of each recording, named by its first file."""
    parts = (part for take in found for part in take.parts)
    return {number: part.files[0] for part in parts for number in part.files}


@dataclass(slots=True)
class _Board:
    """What is answered so far. `used` are the backup's recordings that answer something.

    `twins` are the answers for what was made from other files: they take nothing.
    """

    ours: list[Recording]
    theirs: list[Recording]
    answers: dict[int, Counterpart] = field(default_factory=dict)
    used: set[int] = field(default_factory=set)
    uncompared: list[tuple[Side, Side]] = field(default_factory=list)
    parts: dict[int, int] = field(default_factory=dict)
    twins: dict[int, Counterpart] = field(default_factory=dict)

    def solve(self, words: Iterable[str], compared: Compared) -> None:
        """Answer what is left, by digests and by what comparisons told."""
        for key in (_path_and_bytes, _bytes, _audio_and_name, _audio):
            self.pair(key)
        if self.is_open():
            ours, theirs = _grouped(self.ours, words), _grouped(self.theirs, words)
            alike = self.layouts(_part_of(ours), _part_of(theirs))
            self.candidates(ours, theirs, alike, compared)

    def derive(self, made: AbstractSet[int]) -> None:
        """Answer those that were made from others by what the backup holds of them."""
        held = Twins(self.theirs)
        found = (held.of(r) for r in self.ours if r.id in made)
        self.twins = {answer.recording: answer for answer in found if answer is not None}

    def is_open(self) -> bool:
        """Whether there is a backup, and some recording of either card is left alone."""
        answered = len(self.answers) + len(self.twins)
        alone = answered < len(self.ours) or len(self.used) < len(self.theirs)
        return alone and bool(self.ours and self.theirs)

    def left(self) -> list[Recording]:
        """The primary recordings without an answer."""
        return [r for r in self.ours if r.id not in self.answers and r.id not in self.twins]

    def free(self) -> list[Recording]:
        """The backup's recordings that answer nothing."""
        return [r for r in self.theirs if r.id not in self.used]

    def give(self, answer: Counterpart) -> None:
        """Keep an answer."""
        self.answers[answer.recording] = answer
        self.used.update(answer.others)

    def pair(self, key: Key) -> None:
        """File by file, those with the same key; of several the first paths."""
        shelf: dict[Hashable, list[Recording]] = defaultdict(list)
        for candidate in reversed(self.free()):
            if (name := key(candidate)) is not None:
                shelf[name].append(candidate)
        for recording in self.left() if shelf else ():
            name = key(recording)
            if name is not None and shelf[name]:
                self.give(compare(recording, shelf[name].pop()))

    def layouts(self, ours: Mapping[int, int], theirs: Mapping[int, int]) -> list[tuple[int, int]]:
        """By their channels; gives the pairs that share some. Silence goes with its part."""
        self.parts = {**ours, **theirs}
        open_parts: dict[int, list[Recording]] = defaultdict(list)
        for recording in self.left():
            open_parts[ours.get(recording.id, recording.id)].append(recording)
        homes = {r.id: theirs.get(r.id, r.id) for r in self.theirs}
        found = other_layouts(open_parts.values(), self.free(), homes)
        for answer in found.answers.values():
            self.give(answer)
        return [*found.alike, *self._silence(homes)]

    def _silence(self, homes: Mapping[int, int]) -> Iterator[tuple[int, int]]:
        """Silence goes with its part, unless the backup's part holds something else instead."""
        whole: dict[int, set[int]] = defaultdict(set)
        for answer in self.answers.values():
            if answer.relation in WHOLE:
                part = self.parts.get(answer.recording, answer.recording)
                whole[part].update(answer.others)
        strange: dict[int, list[int]] = defaultdict(list)
        for backup in reversed(self.free()):
            if not silent(backup):
                strange[homes[backup.id]].append(backup.id)
        for recording in filter(silent, self.left()):
            others = sorted(whole.get(self.parts.get(recording.id, recording.id), ()))
            odd = [strange[homes[other]] for other in others if strange.get(homes[other])]
            if odd:
                yield recording.id, odd[0].pop()
            elif others:
                self.give(other_layout(recording, tuple(others)))

    def candidates(
        self,
        ours: list[Take],
        theirs: list[Take],
        alike: list[tuple[int, int]],
        compared: Compared,
    ) -> None:
        """By names and timecode, whole takes where nothing of them is answered."""
        mine = units(ours, {r.id: r for r in self.ours}, self.left())
        its = units(theirs, {r.id: r for r in self.theirs}, self.free())
        for one, other in paired(mine, its, alike):
            for first, second in _file_by_file(one, other):
                answers, wanted = _weigh(first, second, compared)
                for answer in answers:
                    self.give(answer)
                self.used |= set(second.side)
                self.uncompared += [(first.side, second.side)] if wanted else []

    def matched(self) -> Matched:
        """All of it, seen from both cards."""
        all_ = {**self.twins, **self.answers}
        ours = [all_.get(r.id) or Counterpart(r.id, Relation.MISSING) for r in self.ours]
        return Matched(tuple(ours), tuple(self._mirrored()), tuple(self.uncompared))

    def _mirrored(self) -> list[Counterpart]:
        """The answers from the other side; of several the weakest counts."""
        seen: dict[int, list[Counterpart]] = defaultdict(list)
        for answer in self.answers.values():
            for other in answer.others:
                seen[other].append(answer)
        twins = Twins(self.ours) if len(self.used) < len(self.theirs) else None
        parts = {self.parts.get(r.id, r.id): seen[r.id] for r in self.theirs if r.id in seen}
        found: list[Counterpart] = []
        for backup in self.theirs:
            if backup.id in seen:
                found.append(_mirror(backup, seen[backup.id]))
                continue
            twin = twins.of(backup) if twins else None
            mates = parts.get(self.parts.get(backup.id, backup.id))
            if twin is None and mates and silent(backup):
                twin = other_layout(backup, (mates[0].recording,))
            found.append(twin or Counterpart(backup.id, Relation.MISSING))
        return found


def _mirror(backup: Recording, answers: list[Counterpart]) -> Counterpart:
    weakest = max(answers, key=lambda a: STRENGTH[a.relation])
    others = tuple(a.recording for a in answers)
    return Counterpart(
        backup.id,
        weakest.relation,
        weakest.recording,
        weakest.frames,
        others,
        residual_db=weakest.residual_db,
        correlation=weakest.correlation,
    )


def _file_by_file(mine: Unit, its: Unit) -> list[tuple[Unit, Unit]]:
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
        _name(one) == _name(other)
        and compare(one, other).relation in BY_BLOCKS
        and mine.metadata.time_reference == its.metadata.time_reference
        and not (cut and (its.frames or 0) > (mine.frames or 0))
    )


def _weigh(mine: Unit, its: Unit, compared: Compared) -> tuple[Sequence[Counterpart], bool]:
    """The answers for the files of a unit, and whether its samples should be compared."""
    single = len(mine.files) == len(its.files) == 1
    first = its.first.id
    if any(file.digests is None for file in (*mine.files, *its.files)):
        unread = [Counterpart(f.id, Relation.UNREAD, first, others=its.side) for f in mine.files]
        return unread, False
    known = compared.get((mine.side, its.side))
    if known is not None:
        lies = later(mine, its, known)
        return [replace(answer, later=lies) for answer in spread(mine, known)], False
    if single:
        answer = compare(mine.first, its.first)
        unsure = answer.relation in (Relation.DIFFERENT, Relation.UNCOMPARED)
        return [answer], unsure and _comparable(mine.first, its.first)
    waits = [Counterpart(f.id, Relation.UNCOMPARED, first, others=its.side) for f in mine.files]
    return waits, True


def _comparable(one: Recording, other: Recording) -> bool:
    """Whether both hold samples that can be decoded; of an MP3 nobody knows yet how many."""
    described = (one.description, other.description)
    return all(d.kind is Kind.COMPRESSED or (d.kind is Kind.WAVE and d.frames) for d in described)


def _bytes(recording: Recording) -> Hashable | None:
    return recording.digests


def _path_and_bytes(recording: Recording) -> Hashable | None:
    return None if recording.digests is None else (_path(recording), recording.digests)


def _audio(recording: Recording) -> Hashable | None:
    """Of silence the payload says nothing of which file it is."""
    return None if silent(recording) else _payload(recording)


def _payload(recording: Recording) -> Hashable | None:
    if recording.sound is None or recording.sound.frames == 0:
        return None
    return (recording.description.format, recording.sound.digest)


def _audio_and_name(recording: Recording) -> Hashable | None:
    audio = _payload(recording)
    return None if audio is None else (_name(recording), audio)


def _path(recording: Recording) -> Hashable | None:
    return same_key(recording.path)


def _name(recording: Recording) -> Hashable | None:
    return same_key(recording.path.rsplit(b"/", 1)[-1])


def compare(one: Recording, other: Recording) -> Counterpart:
    """How `other`, the backup's file, answers `one`, by their digests alone."""
    relation, frames, channels = _relation(one, other)
    since = other.sound.frames if relation is Relation.SHORT and other.sound else None
    return Counterpart(one.id, relation, other.id, frames, (other.id,), channels, since=since)


def _relation(one: Recording, other: Recording) -> tuple[Relation, int | None, tuple[int, ...]]:
    if one.digests is None or other.digests is None:
        return Relation.UNREAD, None, ()
    if one.digests == other.digests:
        return Relation.IDENTICAL, None, ()
    mine, its = one.description, other.description
    alike = (mine.kind, mine.format) == (its.kind, its.format)
    if one.sound is None or other.sound is None or not alike:
        wait = _comparable(one, other)
        return Relation.UNCOMPARED if wait else Relation.DIFFERENT, None, ()
    relation, frames = _audio_relation(one.sound, other.sound)
    differ = _differing(one, other) if relation is Relation.DIFFERENT else ()
    return relation, frames, differ


def _differing(one: Recording, other: Recording) -> tuple[int, ...]:
    """Which of several channels differ, of two recordings of one length."""
    mine, its = heard(one), heard(other)
    if len(mine) < 2 or len(mine) != len(its) or len({c[:3] for c in (*mine, *its) if c}) != 1:
        return ()
    return tuple(n for n, (a, b) in enumerate(zip(mine, its, strict=True), 1) if a != b)


def _audio_relation(one: Sound, other: Sound) -> tuple[Relation, int | None]:
    """The relation of two audio measures of one format, and the frames that go with it."""
    if one.digest == other.digest and one.frames == other.frames:
        return Relation.SAME_AUDIO, None
    if one.frames and other.frames and not (one.blocks and other.blocks):
        # A rebuilt catalogue knows no blocks: where they part cannot be told.
        return Relation.DIFFERENT, None
    shared = _shared_frames(one, other)
    if _is_prefix(one, other, shared):
        return Relation.SHORT, one.frames - other.frames
    if _is_prefix(other, one, shared):
        return Relation.LONGER, other.frames - one.frames
    return Relation.DIFFERENT, shared


def _shared_frames(one: Sound, other: Sound) -> int:
    """Frames up to the start of the first block that differs."""
    blocks = min(len(one.blocks), len(other.blocks)) // 8
    for number in range(blocks):
        here = slice(number * 8, number * 8 + 8)
        if one.blocks[here] != other.blocks[here]:
            return number * one.block_frames
    return min(one.frames, other.frames, blocks * one.block_frames)


def _is_prefix(one: Sound, other: Sound, shared: int) -> bool:
    """The backup is shorter and all its whole blocks are the primary's.

    Its last, started block cannot be compared by digest; the whole ones speak for it.
    """
    whole = other.frames // other.block_frames * other.block_frames
    return other.frames < one.frames and (shared >= whole > 0 or other.frames == 0)
