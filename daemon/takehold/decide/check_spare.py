"""A file of a backup card that answers nothing, and is another copy of what is answered already."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Hashable, Iterator, Sequence
from typing import NamedTuple

from takehold.decide.backup_words import (
    cut_peaks,
    displaced,
    from_there,
    full_name,
    lacks,
    lower_quality,
    on_tracks,
    other_audio,
    quality,
    seconds,
    tracks,
    undecoded,
)
from takehold.decide.beside_better import spare_beside_better
from takehold.decide.by_digest import WHOLE
from takehold.decide.noticed import answered, finding, these
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display, shown
from takehold.model.finding import Counterpart, Finding, Relation, Severity
from takehold.model.settings import Role

LOOK, NOTE = Severity.LOOK, Severity.NOTE
LISTEN = "Listen to it: it may be a recording that no primary card holds."
# So many are no accident. Chosen, no source.
FEWEST = 3
# Files that are named; more are counted.
NAMED = 20


class _Spare(NamedTuple):
    """A file that is a further copy of `mine`, and what is to be said of it."""

    its: Standing
    mine: Standing
    answer: Counterpart
    severity: Severity
    says: str
    do: str

    @property
    def way(self) -> Hashable:
        """What it has in common with others of its card of which no more is to be said."""
        if self.severity is LOOK or self.answer.relation is not Relation.REDUCED:
            return self.its.recording.id
        if cut_peaks(self.mine, self.its, self.answer):
            return self.its.recording.id
        return self.its.load.id, self.mine.load.id, self.held

    @property
    def held(self) -> str:
        """How it holds the recording."""
        return " and ".join(_less(self.mine, self.its, self.answer, figures=False))


def spare_findings(view: DayStanding) -> Iterator[Finding]:
    """How a backup's file that answers nothing differs from what it is a further copy of.

    Nothing is lost where it holds less and another file all of it: then all of a card that are so
    are told at once. Else a person looks. Of an MP3 beside that file nothing is said.
    """
    alike: dict[Hashable, list[_Spare]] = defaultdict(list)
    for standing in view.files:
        if standing.current and standing.load.role is Role.BACKUP and (one := _of(standing, view)):
            alike[one.way].append(one)
    for some in alike.values():
        if len(some) < FEWEST:
            yield from (_of_one(one, view) for one in some)
        else:
            yield _of_card(some, view)


def _of(standing: Standing, view: DayStanding) -> _Spare | None:
    answer = standing.answer
    mine = None if answer is None or answer.other is None else view.of(answer.other)
    if answer is None or mine is None or mine.answer is None:
        return None
    if standing.recording.id in mine.answer.others or spare_beside_better(standing, mine, view):
        return None
    severity, says, do = _told(standing, mine, answer, view)
    severity = severity if mine.answer.relation in WHOLE else LOOK
    return _Spare(standing, mine, answer, severity, says, do) if says else None


def _covers(one: _Spare, view: DayStanding) -> str:
    """A decision holds for just this answer."""
    others = filter(None, map(view.of, one.answer.others))
    return answered(one.answer, (other.recording for other in others))


def _of_one(one: _Spare, view: DayStanding) -> Finding:
    its, mine = full_name(one.its), full_name(one.mine)
    beside = f"{mine} is answered by another file of a backup card"
    if one.mine.answer and one.mine.answer.relation is Relation.DIFFERENT:
        beside = f"another file was taken for {mine} and holds other audio"
    subject, says = display(one.its.recording.place), f"{its}: {beside}; {one.says}."
    number = one.its.recording.id
    found = finding("backup-spare", one.severity, subject, says, one.do, number)
    return found._replace(covers=_covers(one, view))


def _of_card(some: Sequence[_Spare], view: DayStanding) -> Finding:
    """What is so of many: that recorder, or that card, holds its takes so."""
    first = some[0]
    its, mine = shown(first.its.load.label), shown(first.mine.load.label)
    says = f"{its}: {len(some)} of its files hold recordings of {mine} {first.held}; other files "
    says += "of a backup card answer these"
    if lower_quality(first.mine, first.answer):
        worst = max(some, key=lambda one: one.answer.residual_db or -math.inf)
        says += f"; the worst is {display(worst.its.recording.path)}: "
        says += lower_quality(worst.mine, worst.answer)
    names = [display(one.its.recording.path) for one in some]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    says += f". They are {', '.join(names[:NAMED])}{more}."
    about = [these(one.its.recording for one in some), *(_covers(one, view) for one in some)]
    subject, covers = f"{its} {mine} {first.held}", "\n".join(about)
    return finding("backup-spare", NOTE, subject, says, load=first.its.load.id, covers=covers)


def _told(
    standing: Standing, mine: Standing, answer: Counterpart, view: DayStanding
) -> tuple[Severity, str, str]:
    """How grave it is, what of the recording this file holds ("" for all), and what to do."""
    severity, says, do = LOOK, "", LISTEN
    match answer.relation:
        case Relation.SHORT:
            says = lacks(mine, answer, "this one") + displaced(mine, answer)
            severity, do = NOTE, ""
        case Relation.REDUCED:
            says = "this one holds it " + " and ".join(_less(mine, standing, answer))
            severity, do = NOTE, ""
        case Relation.LONGER:
            says = f"this one holds {seconds(mine, answer.frames)} more" + displaced(mine, answer)
            do = "Listen to its end: the primary's file may be cut."
        case Relation.DIFFERENT:
            where = from_there(mine, answer.frames) + on_tracks(mine, answer.channels)
            says = f"this one {other_audio(mine, standing, where)}"
        case Relation.UNDECODED:
            says = f"this one cannot be compared with it: {undecoded(mine, answer, view)}"
        case Relation.UNCOMPARED:
            says = "how this one differs from it is being looked at"
            do = "Leave the drive connected, or connect one that has both cards' files."
        case _:
            pass
    return severity, says, do


def _less(
    mine: Standing, its: Standing, answer: Counterpart, *, figures: bool = True
) -> Iterator[str]:
    """How it holds the recording, with the figures that tell."""
    if known := lower_quality(mine, answer):
        told = f" ({known}{cut_peaks(mine, its, answer)})" if figures else ""
        yield f"at {quality(mine, its)} quality{told}"
    if answer.channels:
        yield f"without {tracks(mine, answer.channels)}"
    elif not known:
        yield "in part, or at another quality"
