"""Takes in several files of which a backup card holds some tracks only, as the mix.

If no backup card has the tracks that lack of any take of that recorder, none writes them: that is
one decision. Else a file was lost, and is told by itself (decide/check_backup).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

from takehold.decide.check_spare import FEWEST, NAMED
from takehold.decide.held_twice import its_twin
from takehold.decide.noticed import KEEP, finding, these
from takehold.decide.over_it import lying_over
from takehold.decide.reads import Reads
from takehold.decide.standing import DayStanding, Standing
from takehold.decide.take_names import same_number
from takehold.formats.names import brief, display, shown
from takehold.model.finding import Finding, Relation, Severity
from takehold.model.settings import Role
from takehold.model.slate import same_words, scene_and_take


class _Sparse(NamedTuple):
    """The files of a take, or of a part of it, that a backup card lacks, and one that it holds."""

    files: tuple[Standing, ...]
    its: Standing

    @property
    def cards(self) -> tuple[int, int]:
        """The primary card, and that of the backup."""
        return self.files[0].load.id, self.its.load.id

    @property
    def tracks(self) -> list[str]:
        """The names of the tracks that lack."""
        return [track for file in self.files for track in _tracks(file)]


def sparse_findings(view: DayStanding) -> Iterator[Finding]:
    """One for two cards."""
    alike: dict[Hashable, list[_Sparse]] = defaultdict(list)
    for one in _most(view):
        alike[one.cards].append(one)
    for some in alike.values():
        yield _of_cards(some)


@lru_cache(maxsize=2)  # asked for each file that a backup lacks
def told_by_card(view: DayStanding) -> frozenset[int]:
    """The recordings that are told so, and not one by one."""
    return frozenset(file.recording.id for one in _most(view) for file in one.files)


@lru_cache(maxsize=2)  # asked for by both
def _most(view: DayStanding) -> tuple[_Sparse, ...]:
    """The takes that lack files whose tracks a backup card has of none; several of two cards."""
    if sum(map(_is_missing, view.files)) < FEWEST:
        return ()
    found: list[_Sparse] = []
    recorded: dict[str, set[str]] = defaultdict(set)
    for file in view.files:
        if file.load.role is Role.PRIMARY and _held_by(file, view):
            recorded[file.load.source] |= _held_tracks(file)
    for part in _parts(view):
        there = [its for file in part if (its := _held_by(file, view))]
        less = tuple(file for file in part if _lacks(file, view))
        if there and less and all(map(_tracks, less)):
            found.append(_Sparse(less, there[0]))
    sparse = [one for one in found if recorded[one.files[0].load.source].isdisjoint(one.tracks)]
    count = Counter(one.cards for one in sparse)
    return tuple(one for one in sparse if count[one.cards] >= FEWEST)


def _parts(view: DayStanding) -> Iterator[list[Standing]]:
    """The files of a primary card that begin together, of one scene and take, and tell all that."""
    parts: dict[Hashable, list[Standing]] = defaultdict(list)
    for one in view.files:
        if one.current and one.load.role is Role.PRIMARY:
            scene, take = scene_and_take(one.recording)
            begin = one.recording.description.metadata.time_reference
            if scene and take and begin:
                parts[one.load.id, same_words(scene), same_number(take), begin].append(one)
    yield from parts.values()


def _held_by(file: Standing, view: DayStanding) -> Standing | None:
    """The backup's file that holds this one, or some tracks of it."""
    answer = file.answer
    held = answer is not None and answer.relation is not Relation.MISSING and answer.others
    return view.of(answer.others[0]) if answer is not None and held else None


def _held_tracks(file: Standing) -> set[str]:
    """The names of its tracks, but for those that have no backup."""
    answer = file.answer
    lacking = {*answer.alone} if answer else set()
    lacking |= {*answer.channels} if answer and answer.relation is Relation.REDUCED else set()
    told = file.recording.description.metadata.tracks
    return {brief(track.name) for track in told if track.interleave not in lacking}


def _lacks(file: Standing, view: DayStanding) -> bool:
    """Whether no backup has any of it."""
    return _is_missing(file) and not its_twin(file, view) and not lying_over(file, view)


def _is_missing(file: Standing) -> bool:
    """By a card that is sure of itself: else it may hold more than was read."""
    missing = file.answer is not None and file.answer.relation is Relation.MISSING
    return missing and file.reads is Reads.AGREED and file.load.role is Role.PRIMARY


def _tracks(file: Standing) -> list[str]:
    """The names of its tracks; none where one has no name."""
    names = [brief(track.name) for track in file.recording.description.metadata.tracks]
    return names if all(names) else []


def _of_cards(some: Sequence[_Sparse]) -> Finding:
    """One for two cards: one file more, and it is asked for anew."""
    files = [file for one in some for file in one.files]
    mine, its = shown(files[0].load.label), shown(some[0].its.load.label)
    tracks = [*dict.fromkeys(track for one in some for track in one.tracks)]
    one = len(tracks) == 1
    lacking = f"{'track' if one else 'tracks'} {', '.join(tracks)}"
    takes = {scene_and_take(file.recording) for file in files}
    says = f"{its} holds other tracks only of {len(takes)} takes of {mine}: {lacking} "
    says += f"{'has' if one else 'have'} no backup"
    names = [display(file.recording.path) for file in files]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    says += f". The files are {', '.join(names[:NAMED])}{more}."
    do = f"See that these tracks need no backup. {KEEP}"
    subject, covers = f"{its} {mine} {lacking}", these(file.recording for file in files)
    load = files[0].load.id
    return finding("backup-partial", Severity.LOOK, subject, says, do, load=load, covers=covers)
