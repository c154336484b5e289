"""Closing days: a manifest when it is asked for, when its time has come, or when facts changed.

A day is closed once nothing that is there still owes it anything; what is away is said in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

from takehold.decide.backoff import due, trouble
from takehold.decide.check import Around
from takehold.decide.plan import recordings_of
from takehold.decide.standing import DayStanding, day_standing
from takehold.engine.days import Days
from takehold.model.errors import TakeholdError
from takehold.model.facts import (
    Answered,
    Asked,
    Broken,
    Fact,
    Inventoried,
    Proven,
    TroubleOver,
    WasRead,
)
from takehold.model.ledger import Ledger
from takehold.model.situation import Situation, Target
from takehold.model.step import Prove, Step, TakeStock
from takehold.ports.clock import Clock
from takehold.ports.disk import Disk

SETTLE_TIMES = 3


class Present(Protocol):
    """What the newest look said."""

    @property
    def situation(self) -> Situation:
        """Who is there."""

    @property
    def around(self) -> Around:
        """What is so at this moment only."""


class Closer:
    """Writes manifests; remembers only which days were touched since the program started."""

    def __init__(self, days: Days, clock: Clock) -> None:
        self.days = days
        self._clock = clock
        self._touched: set[str] = set()
        self._since: dict[str, int] = {}

    def since(self, day: str) -> int:
        """When the clock first wanted that day closed."""
        return self._since.setdefault(day, self._clock.now())

    def touched(self, ledger: Ledger, facts: Iterable[Fact]) -> None:
        """Note the days that new facts are about."""
        for fact in facts:
            match fact:
                case Inventoried(recording):
                    self._touched.add(recording.day)
                case WasRead(recording=rid) | Broken(recording=rid):
                    self._touched |= {r.day for r in [ledger.recordings.get(rid)] if r}
                case Proven(copy):
                    self._touched.add(ledger.recordings[copy.recording].day)
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
        wraps = [a for a in asked if a.kind == "wrap"]
        for day in sorted(closing):
            if quiet(ledger, day, steps) and not self._settling(closing[day], now):
                answers = [a for a in wraps if a.about == day]
                facts += self._close_day(ledger, day, answers, now, disk)
        for day in sorted(self._touched - set(closing)):
            if ledger.newest(day) is not None and quiet(ledger, day, steps):
                facts += self._revise(ledger, day, now)
        for recheck in asked:
            if recheck.kind == "recheck" and not any(isinstance(s, Prove) for s in steps):
                facts.append(Answered(recheck.id, "Read again.", self._clock.now()))
        return facts

    def _settling(self, since: int, now: Present) -> bool:
        """A file that is being written is waited for, for a while; then the manifest says so."""
        patience = SETTLE_TIMES * self.days.settings.settle_seconds
        return bool(now.around.unsettled) and self._clock.now() - since < patience

    def _close_day(
        self, ledger: Ledger, day: str, asked: list[Asked], now: Present, disk: Disk
    ) -> list[Fact]:
        key = f"manifest {day}"
        if not asked and not due(ledger.troubles.get(key), self._clock.now()):
            return []
        lost = self._glance(day_standing(ledger, day, self.days.settings), now, disk)
        if lost:
            return list(lost)
        return self._write(ledger, day, asked, now, key)

    def _revise(self, ledger: Ledger, day: str, now: Present) -> list[Fact]:
        self._touched.discard(day)
        if not self.days.stale(ledger, day, now.situation, now.around):
            return []
        return self._write(ledger, day, [], now, f"manifest {day}")

    def _write(
        self, ledger: Ledger, day: str, asked: list[Asked], now: Present, key: str
    ) -> list[Fact]:
        at = self._clock.now()
        try:
            revised, new = self.days.write(ledger, day, now.situation, now.around)
        except TakeholdError as error:
            failed = trouble(key, error, ledger.troubles.get(key), at)
            return [failed, *(Answered(a.id, f"! {error.says} {error.do}", at) for a in asked)]
        self._touched.discard(day)
        facts: list[Fact] = [revised] if new else []
        if key in ledger.troubles:
            facts.append(TroubleOver(key))
        return [*facts, *(Answered(a.id, revised.name, at) for a in asked)]

    def _glance(self, view: DayStanding, now: Present, disk: Disk) -> list[Broken]:
        """Copies on drives that are there, and are not: missing, or of another length.

        A glance shows no altered bytes; `recheck` reads them.
        """
        lost: list[Broken] = []
        for target in now.situation.targets:
            try:
                lost += self._glance_at(view, target, disk)
            except TakeholdError:
                continue
        return lost

    def _glance_at(self, view: DayStanding, target: Target, disk: Disk) -> list[Broken]:
        root = target.root.identity
        mine = [(s, c) for s in view.files for c in s.copies if c.root == root]
        if not mine:
            return []
        lost: list[Broken] = []
        with disk.destination(target.root) as tree:
            for standing, copy in mine:
                size = tree.size_of(copy.path)
                if size != standing.recording.stamp.size:
                    why = "missing" if size is None else "altered"
                    at = self._clock.now()
                    lost.append(Broken(copy.recording, copy.destination, root, copy.path, why, at))
        return lost


def quiet(ledger: Ledger, day: str, steps: Iterable[Step]) -> bool:
    """Whether no step that runs or is due concerns that day; an inventory may concern any."""
    for step in steps:
        if isinstance(step, TakeStock):
            return False
        for rid in recordings_of(step):
            recording = ledger.recordings.get(rid)
            if recording is not None and recording.day == day:
                return False
    return True
