"""Closing days: a manifest when it is asked for, when its time has come, or when facts changed.

A day is closed once nothing that is there still owes it anything; what is away is said in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import partial
from typing import Protocol

from takehold.decide.backoff import due, trouble
from takehold.decide.check import Around
from takehold.decide.keys import prove_key
from takehold.decide.manifest import names_of
from takehold.decide.place import day_folder
from takehold.decide.plan import CopyName, recordings_of
from takehold.decide.standing import day_standing
from takehold.engine.days import Days
from takehold.engine.patience import Patience
from takehold.model.errors import TakeholdError
from takehold.model.facts import (
    Answered,
    Asked,
    Broken,
    Fact,
    Inventoried,
    Met,
    Proven,
    Revised,
    TroubleOver,
    Unpublished,
    WasRead,
)
from takehold.model.ledger import Ledger
from takehold.model.recording import Copy, Stamp
from takehold.model.situation import Situation, Target
from takehold.model.step import CatchUp, Prove, Publish, Step, TakeStock
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


class Closer:
    """Writes manifests; remembers only which days were touched since the program started."""

    def __init__(self, days: Days, clock: Clock) -> None:
        self.days = days
        self._clock = clock
        self._patience = Patience(days.settings.stall_seconds)
        self._touched: set[str] = set()
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
        for day in ledger.revisions:
            newest = ledger.newest(day)
            if newest is not None and (
                _last_fact(ledger, day) >= newest.at
                or newest.at > self._clock.now()
                or f"manifest {day}" in ledger.troubles
            ):
                self._touched.add(day)

    def since(self, day: str) -> int:
        """When the clock first wanted that day closed; never ahead of one that was set back."""
        now = self._clock.now()
        self._since[day] = min(self._since.get(day, now), now)
        return self._since[day]

    def touched(self, ledger: Ledger, facts: Iterable[Fact]) -> None:
        """Note the days that new facts are about."""
        for fact in facts:
            match fact:
                case Inventoried(recording):
                    self._touched.add(recording.day)
                case WasRead(recording=rid) | Broken(recording=rid):
                    self._touched |= {r.day for r in [ledger.recordings.get(rid)] if r}
                case Proven(copy):
                    self.suspects -= {(copy.recording, copy.root, copy.path)}
                    self._touched |= {r.day for r in [ledger.recordings.get(copy.recording)] if r}
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
            at = self._clock.now()
            rechecks = [a for a in asked if a.kind == "recheck"]
            moving = {rid for step in steps for rid in recordings_of(step)}
            told = [(a, _read_again(ledger, a, now, moving)) for a in rechecks]
            facts += [Answered(a.id, says, at) for a, says in told if says]
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
        lost, self.suspects = self._glance(ledger, day, now, disk)
        return [*lost, *self._away(ledger, day, now, disk)]

    def _away(self, ledger: Ledger, day: str, now: Present, disk: Disk) -> list[Unpublished]:
        """Drives that are there, and have lost the newest manifest: it is put there again."""
        newest = ledger.newest(day)
        if newest is None:
            return []
        folder = day_folder(self.days.settings.production, day) + b"/"
        size = self.days.size_of(day, newest.name)
        paths = [folder + name.encode() for name in names_of(day, newest.number).values()]
        gone: list[Unpublished] = []
        for target in now.situation.targets:
            root = target.root.identity
            if (day, newest.number, root) not in ledger.published:
                continue
            with suppress(TakeholdError):
                look = partial(_look, disk, target, paths)
                stamps = self._patience.ask(f"glance {root}", look)
                if None in stamps or (stamps[0] and stamps[0].size != size):
                    gone.append(Unpublished(day, newest.number, root))
        return gone

    def _revise(self, ledger: Ledger, day: str, now: Present, disk: Disk) -> list[Fact]:
        key = f"manifest {day}"
        if not due(ledger.troubles.get(key), self._clock.now()):
            return []
        if not self.days.stale(ledger, day, now.situation, now.around):
            self._touched.discard(day)
            return []
        found = self._looked(ledger, day, now, disk)
        if found or self.suspects:
            return found
        return self._write(ledger, day, [], now, key)

    def _write(
        self, ledger: Ledger, day: str, asked: list[Asked], now: Present, key: str
    ) -> list[Fact]:
        at = self._clock.now()
        try:
            kept = self.days.left_over(ledger, day)
            if kept is not None:
                return [kept]
            revised, new = self.days.write(ledger, day, now.situation, now.around)
        except TakeholdError as error:
            failed = trouble(key, error, ledger.troubles.get(key), at)
            return [failed, *(Answered(a.id, f"! {error.says} {error.do}", at) for a in asked)]
        self._touched.discard(day)
        over: list[Fact] = [TroubleOver(key)] if key in ledger.troubles else []
        if new:  # answered for once it stands on the drives that are there
            named = [replace(met, loose=False) for met in ledger.met.values() if met.loose]
            return [revised, *named, *over]
        return [*over, *(Answered(a.id, revised.name, at) for a in asked)]

    def _glance(
        self, ledger: Ledger, day: str, now: Present, disk: Disk
    ) -> tuple[list[Broken], frozenset[CopyName]]:
        """Copies that are missing or of another length, and those with another time.

        The latter are read again before the day is closed. A drive that does not answer, or
        hangs, shows nothing.
        """
        lost: list[Broken] = []
        changed: list[Copy] = []
        view = day_standing(ledger, day, self.days.settings)
        for target in now.situation.targets:
            root = target.root.identity
            mine = [(s, c) for s in view.files for c in s.copies if c.root == root]
            look = partial(_stamps, disk, target, [c for _, c in mine])
            with suppress(TakeholdError):
                stamps = self._patience.ask(f"glance {root}", look) if mine else []
                for (standing, copy), there in zip(mine, stamps, strict=True):
                    if there is None or there.size != standing.recording.stamp.size:
                        lost.append(_broken(copy, there, self._clock.now()))
                    elif copy.proof.mtime_ns not in (0, there.mtime_ns):
                        changed.append(copy)
        doubtful = [c for c in changed if prove_key(c) not in ledger.troubles]
        return lost, frozenset((c.recording, c.root, c.path) for c in doubtful)


def _look(disk: Disk, target: Target, paths: list[bytes]) -> list[Stamp | None]:
    with disk.destination(target.root) as tree:
        return [tree.stamp_of(path) for path in paths]


def _stamps(disk: Disk, target: Target, copies: list[Copy]) -> list[Stamp | None]:
    with disk.destination(target.root) as tree:
        return [tree.stamp_of(copy.path) for copy in copies]


def _broken(copy: Copy, there: Stamp | None, at: int) -> Broken:
    why = "missing" if there is None else "altered"
    return Broken(copy.recording, copy.destination, copy.root, copy.path, why, at)


def _wrote(facts: Iterable[Fact]) -> bool:
    """Whether a manifest was written: the next one names it (P11), so it is recorded first."""
    return any(isinstance(fact, Revised) for fact in facts)


def _last_fact(ledger: Ledger, day: str) -> int:
    """When something of that day was last seen, read or proven; 0 for never."""
    times = [0]
    for recording in ledger.day(day):
        times.append(recording.seen_at)
        times += [reading.at for reading in recording.readings]
        times += [copy.proof.at for copy in ledger.copies_of(recording.id)]
        times += [broken.at for broken in ledger.broken.get(recording.id, ())]
    return max(times)


def _read_again(ledger: Ledger, asked: Asked, now: Present, moving: set[int]) -> str:
    """What came of a recheck: how many copies on the drives that are there were read since.

    Nothing yet while another step works on a recording whose copy is to be read.
    """
    here = {t.root.identity for t in now.situation.targets if asked.about in ("", t.name)}
    if not here:
        return "! That destination is not there; nothing was read."
    copies = [c for rid in ledger.recordings for c in ledger.copies_of(rid) if c.root in here]
    unread = [c for c in copies if not asked.at <= c.proof.at <= now.situation.now]
    if any(copy.recording in moving for copy in unread):
        return ""
    if unread:
        how = f"{len(unread)} of {len(copies)}"
        return f"! {how} copies could not be read again; they are tried again."
    return f"Read again: {len(copies)} copies."


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
