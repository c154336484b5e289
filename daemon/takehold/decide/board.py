"""Two cards while they are being matched: what is answered so far, and how (decide/match)."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from takehold.decide.anew import paired_anew
from takehold.decide.by_digest import (
    HELD,
    KEYS,
    WHOLE,
    Key,
    audio_and_name,
    compare,
    same_audio,
)
from takehold.decide.candidates import hinted, paired, suspected
from takehold.decide.hints import STRANGE, beginnings, compared_before, nearly_the_same
from takehold.decide.layouts import other_layouts, quiet, silent
from takehold.decide.rolled_together import lying_with, together
from takehold.decide.spare import better, lower_copies, mirrored_cards, spares
from takehold.decide.takes import takes
from takehold.decide.tracks_beside import tracks_beside
from takehold.decide.twins import Twins, other_layout
from takehold.decide.unit import Unit, units
from takehold.decide.weighing import Compared, file_by_file, mirror, weigh
from takehold.model.comparison import Side
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Recording
from takehold.model.sound import Kind
from takehold.model.take import Take


def by_load(recordings: Iterable[Recording]) -> dict[int, list[Recording]]:
    """Recordings by the load that they are on."""
    loads: dict[int, list[Recording]] = defaultdict(list)
    for recording in recordings:
        loads[recording.load].append(recording)
    return loads


@dataclass(slots=True)
class Board:
    """What is answered so far. `used` are the backup's recordings that answer something.

    `twins` are answers that take nothing: for what was made from other files, or lies on a second
    card, or is answered by files of another day. `alike` pairs recordings whose takes share some
    channels while the others must be compared.
    """

    ours: list[Recording]
    theirs: list[Recording]
    words: tuple[str, ...]
    compared: Compared
    answers: dict[int, Counterpart] = field(default_factory=dict)
    used: set[int] = field(default_factory=set)
    uncompared: list[tuple[Side, Side]] = field(default_factory=list)
    parts: dict[int, int] = field(default_factory=dict)
    twins: dict[int, Counterpart] = field(default_factory=dict)
    alike: list[tuple[int, int]] = field(default_factory=list)
    _grouped: tuple[list[Take], list[Take]] | None = None
    _spent: set[tuple[int, int]] = field(default_factory=set)

    def by_digests(self) -> None:
        """Answer what the digests tell."""
        self._grouped = None
        self.alike = []
        for key in KEYS:
            self._pair(key)
        self._layouts()
        self.second_cards()

    def by_names(self) -> None:
        """Answer what is left by names and timecode, by blocks and what comparisons told."""
        if self.is_open():
            mine, its = self._units()
            cut = beginnings(self.left(), self.free())
            pairs = paired(mine, its, [*self.alike, *cut])
            pairs, wanted = paired_anew(mine, its, pairs, self.compared)
            self._weigh(pairs)
            self.uncompared += wanted

    def by_audio(self) -> None:
        """Answer by audio alone: a payload with sound, channels, or a beginning with sound."""
        for key in (_sounding_name, same_audio):
            self._pair(key)
        self._layouts()
        left, free = self.left(), self.free()
        known = compared_before(left, free, self.compared)
        hints = [*self.alike, *beginnings(left, free), *nearly_the_same(left, free), *known]
        if hints:
            self._weigh(hinted(*self._units(), hints))
        self.uncompared += self._suspected()

    def derive(self, made: AbstractSet[int], beyond: Iterable[Recording]) -> None:
        """Answer those that were made from others by what the backup holds of them."""
        held = Twins([*self.theirs, *beyond])
        found = (held.of(r) for r in self.ours if r.id in made)
        self.twins |= {answer.recording: answer for answer in found if answer is not None}

    def second_cards(self, beyond: Iterable[Recording] = ()) -> None:
        """A primary card with the same takes as another: what answers those answers these.

        One to one between the two cards; two takes of one card with the same bytes are two.
        """
        if len(left := self.left()) < len(self.ours) and len(by_load(self.ours)) > 1 and left:
            backups = {r.id: r for r in (*self.theirs, *beyond)}
            for key in KEYS:
                self._same_as_another(key, backups)

    def prefer_the_better(self, beyond: Mapping[int, Counterpart]) -> None:
        """Of several files that may answer a recording the stronger does, whatever its path.

        `beyond` are the answers by files of other days, which are no stronger for that.
        """
        alone = self.free()
        told = {**{n: a for n, a in beyond.items() if n in self.twins}, **self.answers}
        if not alone or all(a.relation in WHOLE for a in told.values()):
            return
        waiting = {number for ours, _ in self.uncompared for number in ours}
        known = {n: answer for n, answer in told.items() if n not in waiting}
        found = better(*self._beside(alone), self.compared, known)
        uses = Counter(other for a in told.values() for other in set(a.others))
        for answer in found:
            uses.subtract(set(told[answer.recording].others))
            self.twins.pop(answer.recording, None)
            self._give(answer)
        given_back = {other for other, count in uses.items() if count == 0}
        self.used -= given_back
        if given_back:  # it may answer what was left
            self.by_names()

    def mirrors_that_differ(self) -> None:
        """What is left of a primary card, held against the backup that answers another card's.

        A mirror of it may hold a cut copy. The backup's files that answer its own card are none.
        """
        left = self.left()
        if not left or not self.answers or len(by_load(self.ours)) < 2:
            return
        ours, theirs = self._takes()
        known, open_ones = {r.id: r for r in self.ours}, {r.id for r in left}
        takes_left = (take.files for take in ours if not open_ones.isdisjoint(take.files))
        whole = (known[n] for files in takes_left for n in files if n not in self.answers)
        mine = units(ours, known, whole)
        answered = (a for a in self.answers.values() if a.recording in known)
        card_of = {other: known[a.recording].load for a in answered for other in a.others}
        used = [r for r in self.theirs if r.id in card_of]
        its = units(theirs, {r.id: r for r in self.theirs}, used)
        found, uncompared = mirrored_cards(mine, its, card_of, self.compared)
        self.twins |= {number: answer for number, answer in found.items() if number in open_ones}
        self.uncompared += uncompared

    def tracks_beside(self, beyond: Iterable[Recording]) -> None:
        """What holds tracks of another file of its card only: what answers that answers it."""
        if left := self.left():
            known = {**self.twins, **self.answers}
            held = {r.id: r for r in (*self.theirs, *beyond)}
            answered = [r for r in self.ours if r.id in known]
            self.twins |= tracks_beside(left, answered, known, held)

    def lower_copies(self) -> None:
        """A lossy file and a better one of its sound beside it: what answers one answers the other.

        Of its own card first, else of another primary card. It takes nothing.
        """
        held = {n: a for n, a in self.answers.items() if a.relation in HELD}
        if not held or all(r.description.kind is not Kind.COMPRESSED for r in self.ours):
            return
        ours, theirs = self._takes()
        known, its = {r.id: r for r in self.ours}, {r.id: r for r in self.theirs}
        used = units(theirs, its, (r for r in self.theirs if r.id in self.used))
        of_file = {file.id: unit for unit in used for file in unit.files}
        backup_of = {n: of_file[a.others[0]] for n, a in held.items()}
        beside = units(ours, known, (r for r in self.ours if r.id in held))
        for load, files in by_load(self.left()).items():
            own = [unit for unit in beside if unit.first.load == load]
            others = [unit for unit in beside if unit.first.load != load]
            mine = units(ours, known, files)
            found, uncompared = lower_copies(mine, (own, others), backup_of, self.compared)
            self.twins |= found
            self.uncompared += uncompared

    def _same_as_another(self, key: Key, backups: Mapping[int, Recording]) -> None:
        """Those left that have the same key as an answered one of another card."""
        known = {**self.twins, **self.answers}
        shelf: dict[Hashable, list[Recording]] = defaultdict(list)
        for recording in self.ours:
            answer, name = known.get(recording.id), key(recording)
            if answer is not None and answer.others and name is not None:
                shelf[name].append(recording)
        for recording in self.left():
            name = key(recording)
            there = shelf.get(name, ()) if name is not None else ()
            for other in there:
                if other.load != recording.load and (other.id, recording.load) not in self._spent:
                    self._spent.add((other.id, recording.load))
                    self.twins[recording.id] = as_well(recording, known[other.id], backups)
                    break

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

    def _give(self, answer: Counterpart) -> None:
        self.answers[answer.recording] = answer
        self.used.update(answer.others)

    def _pair(self, key: Key) -> None:
        """File by file, those with the same key; of several the first paths."""
        shelf: dict[Hashable, list[Recording]] = defaultdict(list)
        for candidate in reversed(self.free()):
            if (name := key(candidate)) is not None:
                shelf[name].append(candidate)
        for recording in self.left() if shelf else ():
            name = key(recording)
            if name is not None and shelf[name]:
                self._give(compare(recording, shelf[name].pop()))

    def _takes(self) -> tuple[list[Take], list[Take]]:
        """The takes of both cards, those in one that a file of the other may hold."""
        if self._grouped is None:
            ours, theirs = _by_take(self.ours, self.words), _by_take(self.theirs, self.words)
            known = {r.id: r for r in (*self.ours, *self.theirs)}
            both = together(ours, theirs, known), together(theirs, ours, known)
            self._grouped = list(both[0]), list(both[1])
        return self._grouped

    def _units(self) -> tuple[list[Unit], list[Unit]]:
        """What is left of both cards, whole takes where nothing of them is answered.

        What another card holds further of what is answered is no counterpart of other audio.
        """
        ours, theirs = self._takes()
        mine = units(ours, {r.id: r for r in self.ours}, self.left())
        its = {r.id: r for r in self.theirs}
        held = Twins(r for r in self.ours if r.id in self.answers)
        cards = {n: {its[other].load for other in a.others} for n, a in self.answers.items()}
        twins = ((r, held.of(r)) for r in self.free())
        free = [r for r, t in twins if t is None or any(r.load in cards[n] for n in t.others)]
        return mine, units(theirs, its, free)

    def _layouts(self) -> None:
        """By their channels. Silence goes with its part."""
        if not self.is_open():
            return
        ours, theirs = map(_part_of, self._takes())
        self.parts = {**ours, **theirs}
        open_parts: dict[int, list[Recording]] = defaultdict(list)
        for recording in self.left():
            open_parts[ours.get(recording.id, recording.id)].append(recording)
        homes = {r.id: theirs.get(r.id, r.id) for r in self.theirs}
        found = other_layouts(open_parts.values(), self.free(), homes)
        for answer in found.answers.values():
            self._give(answer)
        self.alike = [*found.alike, *self._silence(homes)]

    def _silence(self, homes: Mapping[int, int]) -> Iterator[tuple[int, int]]:
        """Silence goes with its part, unless the backup's part holds something else instead."""
        whole: dict[int, set[int]] = defaultdict(set)
        for answer in self.answers.values():
            if answer.relation in WHOLE:
                part = self.parts.get(answer.recording, answer.recording)
                whole[part].update(answer.others)
        strange: dict[int, list[Recording]] = defaultdict(list)
        for backup in self.free():
            strange[homes[backup.id]].append(backup)
        for recording in filter(silent, self.left()):
            others = sorted(whole.get(self.parts.get(recording.id, recording.id), ()))
            beside = [m for home in {homes[n]: 0 for n in others} for m in strange[home]]
            same = (m for m in beside if silent(m) and quiet(m) == quiet(recording))
            mate = next(same, beside[0] if beside else None)
            if mate is not None:
                strange[homes[mate.id]].remove(mate)
            if mate is not None and not (silent(mate) and quiet(mate) == quiet(recording)):
                yield recording.id, mate.id
            elif others:
                self._give(other_layout(recording, tuple(others)))

    def _suspected(self) -> Iterator[tuple[Side, Side]]:
        """What is left, where names, timecode and length say that the samples may tell of it."""
        if not self.left() or not self.free():
            return
        told = self.compared.items()
        known = {n for pair, how in told if how.relation not in STRANGE for n in sum(pair, ())}
        for one, other in suspected(*self._units()):
            sides = one.side, other.side
            read = all(file.digests is not None for file in (*one.files, *other.files))
            if read and sides not in self.compared and known.isdisjoint(sum(sides, ())):
                yield sides

    def _weigh(self, pairs: Iterable[tuple[Unit, Unit]]) -> None:
        for one, other in pairs:
            for first, second in file_by_file(one, other):
                answers, wanted = weigh(first, second, self.compared)
                for answer in answers:
                    self._give(answer)
                self.used |= set(second.side)
                self.uncompared += [(first.side, second.side)] if wanted else []

    def told(self) -> tuple[tuple[Counterpart, ...], tuple[Counterpart, ...]]:
        """All of it, seen from both cards."""
        all_ = {**self.twins, **self.answers}
        ours = [all_.get(r.id) or Counterpart(r.id, Relation.MISSING) for r in self.ours]
        return tuple(ours), tuple(self._mirrored())

    def _mirrored(self) -> list[Counterpart]:
        """The answers from the other side; of several the weakest counts."""
        seen: dict[int, list[Counterpart]] = defaultdict(list)
        for answer in self.answers.values():
            for other in answer.others:
                seen[other].append(answer)
        twins = Twins(self.ours) if len(self.used) < len(self.theirs) else None
        parts = {self.parts.get(r.id, r.id): seen[r.id] for r in self.theirs if r.id in seen}
        found: dict[int, Counterpart] = {}
        alone: list[Recording] = []
        for backup in self.theirs:
            if backup.id in seen:
                found[backup.id] = mirror(backup, seen[backup.id])
                continue
            twin = twins.of(backup) if twins else None
            mates = parts.get(self.parts.get(backup.id, backup.id))
            if twin is None and mates and silent(backup):
                twin = other_layout(backup, (mates[0].recording,))
            found[backup.id] = twin or Counterpart(backup.id, Relation.MISSING)
            if twin is None and backup.id not in self.used:
                alone.append(backup)
        if alone and self.ours:
            found |= self._spares(alone)
        return [found[r.id] for r in self.theirs]

    def _spares(self, alone: list[Recording]) -> dict[int, Counterpart]:
        """What is left of the backup, held against what is answered already."""
        further = lying_with(self._takes()[1], self.used)
        found, uncompared = spares(*self._beside(alone), self.compared, further)
        self.uncompared += uncompared
        return found

    def _beside(self, alone: list[Recording]) -> tuple[list[Unit], list[Unit]]:
        """What is answered, and what is left of the backup."""
        ours, theirs = self._takes()
        answered = [r for r in self.ours if r.id in self.answers or r.id in self.twins]
        mine = units(ours, {r.id: r for r in self.ours}, answered)
        return mine, units(theirs, {r.id: r for r in self.theirs}, alone)


def _sounding_name(recording: Recording) -> Hashable | None:
    return None if silent(recording) else audio_and_name(recording)


def as_well(
    recording: Recording, answer: Counterpart, backups: Mapping[int, Recording]
) -> Counterpart:
    """The answer for another recording of the same payload."""
    if answer.relation in (Relation.IDENTICAL, Relation.SAME_AUDIO):
        return compare(recording, backups[answer.others[0]])
    return answer._replace(recording=recording.id)


def _by_take(recordings: Iterable[Recording], words: Sequence[str]) -> list[Take]:
    """The takes of the cards, those beside that were recorded again for themselves."""
    found = takes(recordings, words)
    return [*found, *(again for take in found for again in take.again)]


def _part_of(found: Iterable[Take]) -> dict[int, int]:
    """The part of each recording, named by its first file."""
    parts = (part for take in found for part in take.parts)
    return {number: part.files[0] for part in parts for number in part.files}
