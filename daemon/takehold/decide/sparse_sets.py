"""Sets of files of which a backup card holds some tracks only, as the mix: one decision for a card.

A file that the backup lacks is told by itself where that is rare: then it was lost.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

from takehold.decide.by_digest import HELD
from takehold.decide.check_spare import FEWEST, NAMED
from takehold.decide.file_set import tie
from takehold.decide.held_twice import its_twin
from takehold.decide.noticed import KEEP, finding, these
from takehold.decide.over_it import lying_over
from takehold.decide.reads import Reads
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display, shown
from takehold.model.finding import Finding, Relation, Severity
from takehold.model.settings import Role


class _Sparse(NamedTuple):
    """The files of a set that a backup card lacks, and one of those that it holds."""

    files: tuple[Standing, ...]
    its: Standing

    @property
    def cards(self) -> tuple[int, int]:
        """The primary card, and that of the backup."""
        return self.files[0].load.id, self.its.load.id

    @property
    def lacking(self) -> str:
        """The tracks of these files, by number and name."""
        words = [*dict.fromkeys(word for file in self.files for word in _tracks(file))]
        return f"{'track' if len(words) == 1 else 'tracks'} {', '.join(words)}"


def sparse_findings(view: DayStanding) -> Iterator[Finding]:
    """One for all sets of two cards that lack the same tracks there."""
    alike: dict[Hashable, list[_Sparse]] = defaultdict(list)
    for one in _most(view):
        alike[one.cards, one.lacking].append(one)
    for some in alike.values():
        yield _of_cards(some)


@lru_cache(maxsize=2)  # asked for each file that a backup lacks
def told_by_card(view: DayStanding) -> frozenset[int]:
    """The recordings that are told so, and not one by one."""
    return frozenset(file.recording.id for one in _most(view) for file in one.files)


def _most(view: DayStanding) -> list[_Sparse]:
    """The sets that lack files, of cards of which most sets do."""
    if sum(map(_is_missing, view.files)) < FEWEST:
        return []
    lacking: list[_Sparse] = []
    sets: Counter[tuple[int, int]] = Counter()
    for files in _sets(view):
        there = [its for file in files if (its := _held_by(file, view))]
        if len(files) > 1 and there:
            less = tuple(file for file in files if _lacks(file, view))
            sets[files[0].load.id, there[0].load.id] += 1
            lacking += [_Sparse(less, there[0])] if less else []
    count = Counter(one.cards for one in lacking)
    return [o for o in lacking if count[o.cards] >= FEWEST and 2 * count[o.cards] > sets[o.cards]]


def _sets(view: DayStanding) -> Iterator[list[Standing]]:
    sets: dict[Hashable, list[Standing]] = defaultdict(list)
    for one in view.files:
        if one.current and one.load.role is Role.PRIMARY:
            sets[one.load.id, tie(one.recording)].append(one)
    yield from sets.values()


def _held_by(file: Standing, view: DayStanding) -> Standing | None:
    """The backup's file that holds all of this one."""
    answer = file.answer
    held = answer is not None and answer.relation in HELD and not answer.channels
    return view.of(answer.others[0]) if answer is not None and held and answer.others else None


def _lacks(file: Standing, view: DayStanding) -> bool:
    """Whether no backup has any of it."""
    return _is_missing(file) and not its_twin(file, view) and not lying_over(file, view)


def _is_missing(file: Standing) -> bool:
    """By a card that is sure of itself: else it may hold more than was read."""
    missing = file.answer is not None and file.answer.relation is Relation.MISSING
    return missing and file.reads is Reads.AGREED and file.load.role is Role.PRIMARY


def _tracks(file: Standing) -> Iterator[str]:
    """Its tracks as a set counts them, else its name."""
    told = file.recording.description.metadata.tracks
    for track in told:
        yield f"{track.channel} ({shown(track.name)})" if track.name else str(track.channel)
    if not told:
        yield display(file.recording.path)


def _of_cards(some: Sequence[_Sparse]) -> Finding:
    """One for two cards: one file more, and it is asked for anew."""
    first = some[0]
    files = [file for one in some for file in one.files]
    mine, its = shown(files[0].load.label), shown(first.its.load.label)
    has = "have" if first.lacking.startswith("tracks") else "has"
    sets = "1 set" if len(some) == 1 else f"{len(some)} sets"
    says = f"{its} holds other tracks only of {sets} of files of {mine}: {first.lacking} {has} no "
    says += "backup"
    names = [display(file.recording.path) for file in files]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    says += f". They are {', '.join(names[:NAMED])}{more}."
    do = f"See that these tracks need no backup. {KEEP}"
    subject, covers = f"{its} {mine} {first.lacking}", these(file.recording for file in files)
    return finding(
        "backup-partial",
        Severity.LOOK,
        subject,
        says,
        do,
        load=files[0].load.id,
        covers=covers,
    )
