"""Backup recordings that lie on another shooting day than what they answer.

A recorder's date may be wrong, or its clock just the other side of a day's beginning. Then its
files have the same audio and fall on another day. What two days leave open by digests is matched by
audio alone (decide/match.by_audio_alone), never by names: those come again every day.

1. The backup's day is the one before; else the one after; else any other of the cards that first
   came in on one day.
2. One to one, and the same whichever of the days is asked. So a day needs two days to either side,
   and those of the cards that came in with its own.
3. What is left then of a second card, primary or backup, may hold what the day beside has on both
   cards already: it takes nothing, and is told on its own day only (decide/further).
Cost: that of the digests of these days, once for all that is known of each.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from functools import lru_cache
from itertools import product

from takehold.decide.further import (
    Held,
    of_the_same_date,
    second_backups,
    second_primaries,
)
from takehold.decide.match import Beyond, Left, Matched, by_audio_alone, left_open
from takehold.decide.sides import is_card, same_disk, sides
from takehold.model.finding import Counterpart
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Settings
from takehold.model.sound import Kind

NOTHING = Matched((), (), ())


def beyond(ledger: Ledger, day: str, settings: Settings) -> tuple[Beyond, bool]:
    """What other days' cards have to do with a day; and whether it leaves anything open to them."""
    known = _Days(ledger, settings)
    left = known.left(day)
    if not left.ours and not left.theirs:
        return Beyond(), False
    together = [known.together(first) for first in known.groups(day)]
    mine = [known.before(day), known.after(day), *together]
    its = [known.before(_shifted(day, 1)), known.after(_shifted(day, -1)), *together]
    ours, theirs = {r.id for r in left.ours}, {r.id for r in left.theirs}
    answers = {a.recording: a for m in mine for a in m.primaries if a.recording in ours}
    mirrors = {a.recording: a for m in its for a in m.backups if a.recording in theirs}
    left_over = (r for r in left.ours if r.id not in answers)
    answers |= of_the_same_date(left_over, tuple(answers.values()), ledger)
    held = known.held_beside(day)
    answers |= second_primaries(
        (r for r in left.ours if r.id not in answers), held, ledger, settings
    )
    alone = (r for r in left.theirs if r.id not in mirrors)
    copies, unsure = second_backups(alone, held, ledger.comparisons)
    mirrors |= copies
    others = {n for a in (*answers.values(), *mirrors.values()) for n in a.others}
    files = tuple(ledger.recordings[n] for n in sorted(others))
    wanted = [pair for m in mine for pair in m.uncompared if pair[0][0] in ours]
    return Beyond(answers, mirrors, files, (*wanted, *unsure)), True


def reach(ledger: Ledger, recording: Recording, settings: Settings) -> set[str]:
    """The other days whose files it may answer, or be answered by."""
    days = {_shifted(recording.day, by) for by in (-2, -1, 1, 2)}
    load = ledger.loads[recording.load]
    if is_card(load, settings):
        days |= {ledger.recordings[n].day for n in _came_in(ledger, load.day, settings)}
    return days - {recording.day, ""}


def _came_in(ledger: Ledger, first: str, settings: Settings) -> Iterator[int]:
    """The recordings of the cards that first came in on a day."""
    for load in ledger.loads.values():
        if load.day == first and is_card(load, settings):
            for numbers in ledger.of_load.get(load.id, {}).values():
                yield from numbers


class _Days:
    """What the days around one leave open, and what they answer of each other."""

    def __init__(self, ledger: Ledger, settings: Settings) -> None:
        self._ledger, self._settings = ledger, settings
        self._before: dict[str, Matched] = {}
        self._after: dict[str, Matched] = {}

    def left(self, day: str) -> Left:
        """What the digests of its own cards leave open."""
        if not day or not self._ledger.of_day.get(day):
            return Left()
        return _left(self._ledger, self._news(day), day, self._settings)

    def _held(self, day: str) -> tuple[Held, ...]:
        """What it has on both cards."""
        if not day or not self._ledger.of_day.get(day):
            return ()
        return _whole(self._ledger, self._news(day), day, self._settings).held

    def _news(self, day: str) -> tuple[int, int]:
        return self._ledger.news[day], self._ledger.news[""]

    def before(self, day: str) -> Matched:
        """What the backup cards of the day before answer of this one."""
        if day not in self._before:
            theirs = self.left(_shifted(day, -1)).theirs
            self._before[day] = self._matched(self.left(day).ours, theirs)
        return self._before[day]

    def after(self, day: str) -> Matched:
        """What those of the day after answer of the rest."""
        if day not in self._after:
            self._after[day] = self._rest(day, _shifted(day, 1))
        return self._after[day]

    def _rest(self, day: str, next_day: str) -> Matched:
        if not self.left(day).ours or not self.left(next_day).theirs:
            return NOTHING
        ours = _without(self.left(day).ours, self.before(day).primaries)
        theirs = _without(self.left(next_day).theirs, self.before(_shifted(next_day, 1)).backups)
        return self._matched(ours, theirs)

    def held_beside(self, day: str) -> list[Held]:
        """What both days beside have on both cards, or on one and this day's backup cards."""
        before, after = _shifted(day, -1), _shifted(day, 1)
        if not self.left(day).ours and not self.left(day).theirs:
            return []
        from_here = (*self.after(before).primaries, *self.before(after).primaries)
        astray = ((self._ledger.recordings[a.recording], a) for a in from_here)
        return [*self._held(before), *self._held(after), *astray]

    def groups(self, day: str) -> list[str]:
        """When the cards first came in of which this day leaves something open."""
        left = self.left(day)
        loads = [self._ledger.loads[n] for n in {r.load for r in (*left.ours, *left.theirs)}]
        return sorted({load.day for load in loads if is_card(load, self._settings)})

    def together(self, first: str) -> Matched:
        """What is matched between days further apart, of the cards that came in on one day."""
        there = [self._ledger.recordings[n] for n in _came_in(self._ledger, first, self._settings)]
        cards, days = {r.load for r in there}, sorted({r.day for r in there})
        if len(days) < 2:
            return NOTHING
        ours = {day: [r for r in self._open(day) if r.load in cards] for day in days}
        theirs = {day: [r for r in self._unused(day) if r.load in cards] for day in days}
        return _joined(self._apart(ours, theirs))

    def _apart(
        self, ours: dict[str, list[Recording]], theirs: dict[str, list[Recording]]
    ) -> Iterator[Matched]:
        for mine, its in product(sorted(ours), sorted(theirs)):
            if its in (_shifted(mine, -1), mine, _shifted(mine, 1)):
                continue
            found = self._matched(ours[mine], theirs[its])
            ours[mine] = _without(ours[mine], found.primaries)
            theirs[its] = _without(theirs[its], found.backups)
            yield found

    def _open(self, day: str) -> list[Recording]:
        """The primary recordings of a day that its neighbours do not answer."""
        return _without(
            self.left(day).ours, (*self.before(day).primaries, *self.after(day).primaries)
        )

    def _unused(self, day: str) -> list[Recording]:
        """The backup's of a day that answer nothing of its neighbours."""
        left = self.left(day).theirs
        if not left:
            return []
        taken = self.before(_shifted(day, 1)).backups, self.after(_shifted(day, -1)).backups
        return _without(left, (*taken[0], *taken[1]))

    def _matched(self, ours: Iterable[Recording], theirs: Iterable[Recording]) -> Matched:
        mine, its = list(ours), list(theirs)
        if not mine or not its:
            return NOTHING
        loads = {r.load for r in (*mine, *its)}
        there = [self._ledger.loads[number] for number in sorted(loads)]
        own = {backup.id for backup, _ in same_disk(there, self._settings)}
        its = [r for r in its if r.load not in own]
        return by_audio_alone(mine, its, self._ledger.comparisons, self._settings.rerecorded)


@lru_cache(maxsize=64)  # asked for each of the days around, whatever else becomes known meanwhile
def _left(ledger: Ledger, news: tuple[int, int], day: str, settings: Settings) -> Left:
    return _whole(ledger, news, day, settings)._replace(held=())


@lru_cache(maxsize=2)  # a day's files, of which all but what is left open may sleep
def _whole(ledger: Ledger, _news: tuple[int, int], day: str, settings: Settings) -> Left:
    both = sides(ledger, day, settings)
    if not both.primaries and not both.backups:
        return Left()
    found = left_open(both.primaries, both.backups, settings.rerecorded)
    return Left(_audio(found.ours), _audio(found.theirs), found.held)


def _audio(recordings: Iterable[Recording]) -> tuple[Recording, ...]:
    """Those that were read and hold sound."""
    return tuple(
        r
        for r in recordings
        if r.description.kind is not Kind.OTHER and r.sound is not None and r.sound.frames
    )


def _without(recordings: Iterable[Recording], answered: Iterable[Counterpart]) -> list[Recording]:
    gone = {answer.recording for answer in answered}
    return [r for r in recordings if r.id not in gone]


def _joined(found: Iterable[Matched]) -> Matched:
    made = list(found)
    return Matched(
        tuple(a for m in made for a in m.primaries),
        tuple(a for m in made for a in m.backups),
        tuple(pair for m in made for pair in m.uncompared),
    )


def _shifted(day: str, by: int) -> str:
    """The day so many days later, "" where there is none."""
    try:
        return (date.fromisoformat(day) + timedelta(days=by)).isoformat()
    except (ValueError, OverflowError):
        return ""
