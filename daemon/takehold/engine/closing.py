"""Closing days: a manifest when it is asked for, when its time has come, or when facts changed.

A day is closed once nothing that is there still owes it anything; what is away is said in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from typing import Protocol

from takehold.decide.backoff import due, trouble
from takehold.decide.check import Around
from takehold.decide.plan import CopyName
from takehold.engine.days import Days
from takehold.engine.glance import Glance, Shown
from takehold.engine.neighbours import Neighbours
from takehold.engine.patience import NoAnswer, Patience
from takehold.engine.stretch import Awake
from takehold.formats.names import shown
from takehold.model.errors import TakeholdError
from takehold.model.facts import (
    Answered,
    Asked,
    Broken,
    Compared,
    Fact,
    Inventoried,
    Met,
    Proven,
    Published,
    Revised,
    TroubleOver,
    Unpublished,
    WasMeasured,
    WasRead,
    Weighed,
)
from takehold.model.ledger import Ledger
from takehold.model.situation import Situation
from takehold.model.step import (
    CatchUp,
    Prove,
    Publish,
    Recognise,
    Step,
    TakeStock,
    recordings_of,
)
from takehold.ports.clock import Clock
from takehold.ports.disk import Disk

SECOND_NS = 10**9
SETTLE_TIMES = 3
PUBLISH_PATIENCE_S = 60


class Present(Protocol):
    """What the newest look said."""

    @property
    def situation(self) -> Situation:
        """Who is there."""

    @property
    def around(self) -> Around:
        """What is so at this moment only."""

    @property
    def asleep_ns(self) -> int:
        """The clock's count of sleep then."""


class Closer:
    """Writes manifests; remembers only which days were touched since the program started."""

    def __init__(self, days: Days, clock: Clock, patience: Patience) -> None:
        self.days = days
        self._clock = clock
        self._glance = Glance(clock, patience)
        self._touched: set[str] = set()
        self._neighbours = Neighbours()
        # Days whose manifest was written after the newest fact that it may tell of, and amid what.
        self._fresh: dict[str, object] = {}
        self._since: dict[str, int] = {}
        # By the steady clock: what is waited for must not depend on what a wall clock is set to.
        self._closing_ns: dict[str, int] = {}
        self._revised_ns: dict[str, int] = {}
        self.suspects: frozenset[CopyName] = frozenset()

    def remember(self, ledger: Ledger) -> None:
        """Note the days of which something became known after their last manifest was written.

        Before the program was stopped there was no time to revise them. A manifest that is dated
        ahead of the clock says nothing of what came after it; one that failed is tried again.
        """
        compared = compared_at(ledger)
        for day in ledger.revisions:
            newest = ledger.newest(day)
            if newest is not None and (
                news_since(ledger, newest, compared)
                or newest.at > self._clock.now()
                or f"manifest {day}" in ledger.troubles
            ):
                self._touched.add(day)
        self._touched |= self._neighbours.remember(ledger, self.days.settings)

    def _weighed(self, ledger: Ledger, day: str) -> list[Fact]:
        """To be recorded of a day that was found as its manifest says, though there was news."""
        self._touched.discard(day)
        newest = ledger.newest(day)
        news = newest and news_since(ledger, newest, compared_at(ledger))
        return [Weighed(day, news)] if news else []

    def since(self, day: str) -> int:
        """When the clock first wanted that day closed; never ahead of one that was set back."""
        now = self._clock.now()
        self._since[day] = min(self._since.get(day, now), now)
        return self._since[day]

    def pending(self, ledger: Ledger) -> bool:
        """Whether a manifest that stands may have to be written anew."""
        return any(ledger.newest(day) is not None for day in self._touched)

    def touched(self, ledger: Ledger, facts: Iterable[Fact]) -> None:
        """Note the days that new facts are about."""
        told = list(facts)
        if not all(map(_follows, told)):
            self._fresh.clear()
        for day in self._neighbours.touched(ledger, self.days.settings, told):
            self._touched.add(day)
        for fact in told:
            match fact:
                case Inventoried(recording):
                    self._touched.add(recording.day)
                case WasRead(recording=rid) | WasMeasured(recording=rid) | Broken(recording=rid):
                    self._touched |= {r.day for r in [ledger.recordings.get(rid)] if r}
                case Proven(copy):
                    self.suspects -= {(copy.recording, copy.root, copy.path)}
                    self._touched |= {r.day for r in [ledger.recordings.get(copy.recording)] if r}
                case Compared(comparison):
                    known = map(ledger.recordings.get, (*comparison.ours, *comparison.theirs))
                    self._touched |= {r.day for r in known if r}
                case Met(day=day):
                    self._touched.add(day)
                case Revised(day=day):
                    self._revised_ns[day] = self._clock.steady_ns()
                case _:
                    pass

    def close(
        self,
        ledger: Ledger,
        asked: Iterable[Asked],
        closing: Mapping[str, int],
        waiting: Iterable[Step],
        now: Present,
        disk: Disk,
    ) -> list[Fact]:
        """The facts of every day that can be closed now, and the answers to who asked."""
        steps = list(waiting)
        facts: list[Fact] = []
        if not closing and not self._touched:
            self.suspects = frozenset()
        wraps = [a for a in asked if a.kind == "wrap"]
        steady = self._clock.steady_ns()
        self._closing_ns = {day: self._closing_ns.get(day, steady) for day in closing}
        for day in sorted(closing):
            if _wrote(facts):
                return facts
            if self._publishing(day, steps) or self._settling(day, now):
                continue
            if quiet(ledger, day, steps):
                answers = [a for a in wraps if a.about == day]
                facts += self._close_day(ledger, day, answers, now, disk)
        for day in sorted(self._touched - set(closing)):
            if _wrote(facts):
                return facts
            if ledger.newest(day) is not None and quiet(ledger, day, steps):
                facts += self._revise(ledger, day, now, disk)
        if not any(isinstance(s, CatchUp | Prove) for s in steps):
            rechecks = [a for a in asked if a.kind == "recheck"]
            moving = {rid for step in steps for rid in recordings_of(step)}
            told = [(a, _read_again(ledger, a, now, moving)) for a in rechecks]
            facts += [f for a, says in told if says for f in self._told(ledger, a, says, now, disk)]
        return facts

    def _told(
        self, ledger: Ledger, asked: Asked, says: str, now: Present, disk: Disk
    ) -> list[Fact]:
        """The answer to a recheck, and what it found of manifests."""
        lost = self._manifests(ledger, asked.about, now, disk)
        return [*lost, Answered(asked.id, _with_manifests(says, lost), self._clock.now())]

    def _manifests(self, ledger: Ledger, about: str, now: Present, disk: Disk) -> list[Fact]:
        """The manifests that a recheck finds lost or altered on the drives that it is about."""
        facts: list[Fact] = []
        for target in now.situation.targets:
            for day in sorted(ledger.revisions) if about in ("", target.name) else ():
                with suppress(NoAnswer):
                    facts += self._glance.manifest(ledger, self.days, day, target, disk).facts
        return facts

    def _settling(self, day: str, now: Present) -> bool:
        """A file that is being written is waited for, for a while; then the manifest says so."""
        patience = SETTLE_TIMES * self.days.settings.settle_seconds
        waited_ns = self._clock.steady_ns() - self._closing_ns[day]
        return bool(now.around.unsettled) and waited_ns < patience * SECOND_NS

    def _publishing(self, day: str, steps: Iterable[Step]) -> bool:
        """A manifest on its way to a drive is waited for; one that hangs there is not."""
        begun_ns = max(self._revised_ns.get(day, 0), self._closing_ns[day])
        late = self._clock.steady_ns() - begun_ns > PUBLISH_PATIENCE_S * SECOND_NS
        return not late and any(isinstance(s, Publish) and s.day == day for s in steps)

    def _close_day(
        self, ledger: Ledger, day: str, asked: list[Asked], now: Present, disk: Disk
    ) -> list[Fact]:
        key = f"manifest {day}"
        if not asked and not due(ledger.troubles.get(key), self._clock.now()):
            return []
        found = self._looked(ledger, day, now, disk)
        if found or self.suspects:
            return found
        return self._write(ledger, day, asked, now, key)

    def _looked(self, ledger: Ledger, day: str, now: Present, disk: Disk) -> list[Fact]:
        """What a look at the drives shows before a day is signed; `suspects` wait to be read."""
        shown = self._glance.day(ledger, self.days, day, now.situation.targets, disk)
        self.suspects = shown.suspects
        return shown.facts

    def arrivals(self, ledger: Ledger, now: Present, disk: Disk) -> Shown:
        """What a look at drives that just came shows: one may be an older clone of itself."""
        return self._glance.arrivals(ledger, self.days, now.situation, disk)

    def slept(self) -> None:
        """A drive may have been exchanged meanwhile."""
        self._glance.forget()

    def _revise(self, ledger: Ledger, day: str, now: Present, disk: Disk) -> list[Fact]:
        key = f"manifest {day}"
        if not due(ledger.troubles.get(key), self._clock.now()):
            return []
        if not self.days.stale(ledger, day, now.situation, now.around):
            return self._weighed(ledger, day)
        found = self._looked(ledger, day, now, disk)
        if found or self.suspects:
            return found
        return self._write(ledger, day, [], now, key)

    def _write(
        self, ledger: Ledger, day: str, asked: list[Asked], now: Present, key: str
    ) -> list[Fact]:
        if Awake(self._clock, now.asleep_ns).over():
            return []  # what is in now was not looked at
        at = self._clock.now()
        try:
            kept = self.days.left_over(ledger, day)
            if kept is not None:
                return [kept]
            revised, new = self._written(ledger, day, now)
        except TakeholdError as error:
            failed = trouble(key, error, ledger.troubles.get(key), at)
            return [failed, *(Answered(a.id, f"! {error.says} {error.do}", at) for a in asked)]
        self._touched.discard(day)
        over: list[Fact] = [TroubleOver(key)] if key in ledger.troubles else []
        if new:  # answered for once it stands on the drives that are there
            named = [met._replace(loose=False) for met in ledger.met.values() if met.loose]
            return [revised, *named, *over]
        self._fresh.pop(day, None)
        return [*over, *(Answered(a.id, revised.name, at) for a in asked)]

    def _written(self, ledger: Ledger, day: str, now: Present) -> tuple[Revised, bool]:
        """The day's newest revision, and whether it is new: one just written need not be again."""
        there = tuple((target.name, target.root) for target in now.situation.targets)
        amid = now.around._replace(now=0), there
        newest = ledger.newest(day)
        if newest is not None and self._fresh.get(day) == amid:
            return newest, False
        written = self.days.write(ledger, day, now.situation, now.around)
        self._fresh[day] = amid
        return written


def _follows(fact: Fact) -> bool:
    """Whether a fact only comes of a manifest that was written."""
    match fact:
        case Revised() | Published() | Weighed() | Answered():
            return True
        case Met(loose=loose):
            return not loose
        case TroubleOver(key=key):
            return key.startswith("manifest ")
        case _:
            return False


def _wrote(facts: Iterable[Fact]) -> bool:
    """Whether a manifest was written: the next one names it (P11), so it is recorded first."""
    return any(isinstance(fact, Revised) for fact in facts)


def news_since(ledger: Ledger, newest: Revised, compared: Mapping[int, int]) -> int:
    """0 if a manifest tells of all that is known of its day; else the sum of all times of that.

    What came after it may change nothing that it tells: then the day is weighed once.
    """
    others = list(_other_times(ledger, newest.day, compared))
    latest, total = ledger.times(newest.day)
    latest, total = max(latest, *others, 0), total + sum(others)
    if latest < newest.at or total == ledger.weighed.get(newest.day):
        return 0
    return total


def _other_times(ledger: Ledger, day: str, compared: Mapping[int, int]) -> Iterator[int]:
    """When anything of that day was lost or compared."""
    for number in ledger.of_day.get(day, ()):
        yield compared.get(number, 0)
        yield from (broken.at for broken in ledger.broken.get(number, ()))


def compared_at(ledger: Ledger) -> dict[int, int]:
    """When each recording was last compared with others."""
    times: dict[int, int] = {}
    for comparison in ledger.comparisons.values():
        for number in (*comparison.ours, *comparison.theirs):
            times[number] = max(times.get(number, 0), comparison.at)
    return times


def _read_again(ledger: Ledger, asked: Asked, now: Present, moving: set[int]) -> str:
    """What came of a recheck: how many copies on the drives that are there were read since.

    Nothing yet while another step works on a recording whose copy is to be read.
    """
    here = {t.root.identity for t in now.situation.targets if asked.about in ("", t.name)}
    if not here:
        which = f"{shown(asked.about)} is not" if asked.about else "No destination is"
        return f"! {which} there; nothing was read. takehold status tells more."
    known = unread = 0
    for number in ledger.recordings:
        copies = [copy for copy in ledger.copies_of(number) if copy.root in here]
        late = sum(not asked.at <= copy.proof.at <= now.situation.now for copy in copies)
        if late and number in moving:
            return ""
        known, unread = known + len(copies), unread + late
    if unread:
        return f"! {unread} of {known} copies could not be read again; they are tried again."
    return f"Read again: {known} copies."


def _with_manifests(says: str, facts: Iterable[Fact]) -> str:
    """The answer to a recheck, with the days whose manifests it found lost or altered."""
    days = sorted({fact.day for fact in facts if isinstance(fact, Unpublished)})
    if not days:
        return says
    return (
        f"! {says.removeprefix('! ')} Of {', '.join(days)} the manifest, or a file that belongs"
        " to it, is gone or altered on a drive; it is put there again, altered under the next"
        " number."
    )


def quiet(ledger: Ledger, day: str, steps: Iterable[Step]) -> bool:
    """Whether no step that runs or is due concerns that day; an inventory may concern any."""
    for step in steps:
        if isinstance(step, Recognise | TakeStock):
            return False
        for rid in recordings_of(step):
            recording = ledger.recordings.get(rid)
            if recording is not None and recording.day == day:
                return False
    return True
