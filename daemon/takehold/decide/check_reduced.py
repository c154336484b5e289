"""Backups that hold a recording at a lower quality, or some of its tracks only.

If most of what one card holds of another is so, that is one decision.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from takehold.decide.backup_words import (
    HIGHER,
    cut_peaks,
    displaced,
    lower_quality,
    quality,
    tracks,
    unshown,
)
from takehold.decide.beside_better import beside_better
from takehold.decide.check_spare import FEWEST, NAMED, spare_findings
from takehold.decide.layouts import silent
from takehold.decide.noticed import KEEP, answered, finding, of_file, these
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display, shown
from takehold.model.finding import Counterpart, Finding, Relation, Severity
from takehold.model.settings import Role

LOOK = Severity.LOOK


class _Less(NamedTuple):
    """A primary recording, and what is less of it on the backup.

    `how` is the quality that is held ("" for the same), `alone` the channels without a backup.
    """

    mine: Standing
    its: Standing
    answer: Counterpart
    how: str
    alone: tuple[int, ...]

    @property
    def code(self) -> str:
        """What lacks a track counts for more than how the others are held."""
        code = "backup-reduced"
        if self.how == HIGHER:
            code = "primary-reduced"
        if self.alone:
            code = "backup-partial"
        return code

    @property
    def cards(self) -> tuple[int, int]:
        """The primary card, and that of the backup."""
        return self.mine.load.id, self.its.load.id

    @property
    def figures(self) -> str:
        """Those that decided on the quality."""
        return lower_quality(self.mine, self.answer) if self.how else ""

    @property
    def lacking(self) -> str:
        """Which tracks have no backup, "" for none."""
        has = "has" if len(self.alone) == 1 else "have"
        return f"{tracks(self.mine, self.alone)} {has} no backup" if self.alone else ""

    @property
    def besides(self) -> str:
        """What is said of its quality that is so of this file only."""
        moved = displaced(self.mine, self.answer)
        moved = moved if self.answer.relation is Relation.REDUCED else ""  # else it is told there
        return cut_peaks(self.mine, self.its, self.answer) + moved if self.how else ""

    @property
    def plain(self) -> bool:
        """Whether nothing is to be said of it that is so of this file only."""
        return not (self.besides or unshown(self.answer) or (self.how and not self.figures))

    @property
    def do(self) -> str:
        """What to do."""
        if self.how == HIGHER:
            do = "Keep the backup card's file: it is the better one."
            return do + " See that the other tracks need no backup." * bool(self.alone)
        if self.how and unshown(self.answer):
            return "Listen to both. " + KEEP
        meant = ["a backup of this quality is what was meant"] * bool(self.how)
        meant += ["these tracks need no backup"] * bool(self.alone)
        return f"See that {' and that '.join(meant)}. {KEEP}"


def reduced_findings(view: DayStanding) -> Iterator[Finding]:
    """One for each recording, or for all of two cards that are so in the same way.

    And what is told of further copies.
    """
    pairs = [pair for one in view.files if one.current and (pair := _pair(one, view))]
    held = Counter((mine.load.id, its.load.id) for mine, its, _ in pairs)
    less = [one for pair in pairs if (one := _less(*pair))]
    ways = Counter((one.cards, one.how) for one in less)
    alike: dict[tuple[object, ...], list[_Less]] = defaultdict(list)
    for one in less:
        count = ways[one.cards, one.how]
        most = one.plain and count >= FEWEST and 2 * count > held[one.cards]
        way = (one.how, one.lacking) if most else one.mine.recording.id
        alike[one.cards, way].append(one)
    for some in alike.values():
        yield _of_cards(some, view) if len(some) > 1 else _of_one(some[0], view)
    yield from spare_findings(view)


def _pair(mine: Standing, view: DayStanding) -> tuple[Standing, Standing, Counterpart] | None:
    """A primary recording, and the first file that answers it."""
    answer = mine.answer
    if mine.load.role is not Role.PRIMARY or answer is None or not answer.others:
        return None
    its = view.of(answer.others[0])
    return None if its is None or beside_better(mine, view) else (mine, its, answer)


def _less(mine: Standing, its: Standing, answer: Counterpart) -> _Less | None:
    """What is less of a recording, None where nothing is."""
    reduced = answer.relation is Relation.REDUCED
    alone = answer.channels if reduced else answer.alone
    told = reduced or answer.relation in (Relation.SHORT, Relation.LONGER)
    worse = told and (lower_quality(mine, answer) or (reduced and not alone))
    if not worse and not alone:
        return None
    return _Less(mine, its, answer, quality(mine, its) if worse else "", alone)


def _covers(one: _Less, view: DayStanding) -> str:
    """A decision holds for just this answer."""
    others = filter(None, map(view.of, one.answer.others))
    return answered(one.answer, (other.recording for other in others))


def _of_one(one: _Less, view: DayStanding) -> Finding:
    says = f"the backup holds it at {one.how} quality" if one.how else ""
    if one.how == HIGHER:
        says += " than this file"
    if one.how and unshown(one.answer):
        says = f"{'this file' if one.how == HIGHER else 'the backup'} has too few bits for it, "
        says += "which is quieter than the last, and nothing shows that both are one sound"
    if one.how and not one.figures and silent(one.mine.recording):
        says += "; it is silent, and nothing shows that both are one sound"
    says += (f": {one.figures}" if one.figures else "") + one.besides
    if one.alone:
        says += (
            "; and other tracks of it only" if says else "the backup holds other tracks of it only"
        )
        says += f": {one.lacking}"
    found = of_file(one.mine, one.code, LOOK, says, one.do)
    return found._replace(covers=_covers(one, view))


def _of_cards(some: Sequence[_Less], view: DayStanding) -> Finding:
    """One for two cards: one file more, or another answer, and it is asked for anew."""
    first = some[0]
    mine, its = shown(first.mine.load.label), shown(first.its.load.label)
    ways = [f"at {first.how} quality" + " than that card" * (first.how == HIGHER)] * bool(first.how)
    ways += [f"in other tracks only: {first.lacking}"] * bool(first.alone)
    says = f"{its} holds {len(some)} files of {mine} {' and '.join(ways)}"
    if first.figures:
        worst = max(some, key=lambda one: one.answer.residual_db or -math.inf)
        says += f"; the worst is {display(worst.mine.recording.path)}: {worst.figures}"
    names = [display(one.mine.recording.path) for one in some]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    says += f". They are {', '.join(names[:NAMED])}{more}."
    about = "\n".join(
        [these(one.mine.recording for one in some), *(_covers(o, view) for o in some)]
    )
    subject = f"{its} {mine} {first.how} {first.lacking}"
    return finding(first.code, LOOK, subject, says, first.do, load=first.mine.load.id, covers=about)
