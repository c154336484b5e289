"""The loop that never ends by itself: wake, record, look, act, say how it is.

Every wait is bounded; whoever stops it waits for one buffer, ten seconds at most.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from takehold.decide.backoff import given_up
from takehold.engine.cycle import Engine
from takehold.engine.news import News
from takehold.engine.progress import alarms, snapshot
from takehold.engine.vigil import Vigil
from takehold.model.errors import TakeholdError
from takehold.model.facts import Trouble
from takehold.ports.clock import Clock
from takehold.ports.live import Live
from takehold.ports.wake import Wake

STOP_S = 9.0
BUSY_WAIT_S = 1.0
AILING_WAIT_S = 5.0
SECOND_NS = 10**9
BESIDE_SHARE = 10


class Manager(Protocol):
    """The service manager: told that the loop lives."""

    def alive(self, text: str) -> None:
        """The loop came round; `text` says in a few words how it is."""


class Log(Protocol):
    """Where lines go."""

    def info(self, event: str, **values: object) -> None:
        """Something went well."""

    def warning(self, event: str, **values: object) -> None:
        """Something needs a person, or will be tried again."""


class Daemon:
    """Runs an engine until it is told to stop."""

    def __init__(
        self,
        engine: Engine,
        wake: Wake,
        clock: Clock,
        live: Live,
        manager: Manager,
        log: Log,
        bell: bytes,
        vigil: Vigil,
    ) -> None:
        """`bell` is a folder to watch beside the sources: it changes when a person asks."""
        self._engine = engine
        self._wake = wake
        self._clock = clock
        self._live = live
        self._manager = manager
        self._log = log
        self._bell = bell
        self._vigil = vigil
        self._noted = ""
        self._news = News(engine)
        self._said: dict[str, Trouble] = {}
        self._shown: dict[str, object] = {}
        self.stopping = False
        self.reload: Callable[[], None] | None = None
        self.astray: Callable[[], bool] = lambda: False

    def run(self) -> bool:
        """Turn until `stopping`, or until it is `astray`; whether all work ended in time."""
        look_due_ns = say_due_ns = 0
        busy = False
        while not self.stopping and not self.astray():
            if self.reload is not None:
                reload, self.reload = self.reload, None
                reload()
            told, freed = self._engine.collect()
            now = self._clock.steady_ns()
            if freed or not told or now > look_due_ns:
                busy = self._engine.turn()
                look_due_ns = self._later(now)
            running = bool(self._engine.lanes.running)
            self._vigil.mind(running)
            now = self._clock.steady_ns()
            if not running or now > say_due_ns:
                self._say()
                say_due_ns = self._later(now)
            self._wake.watch_folders(self._watched())
            self._wake.wait(self._pause(busy))
        return self._end()

    def _later(self, begun_ns: int) -> int:
        """When it is done again beside the work; what takes long is done more seldom."""
        return begun_ns + max(SECOND_NS, BESIDE_SHARE * (self._clock.steady_ns() - begun_ns))

    def _end(self) -> bool:
        ended = self._engine.lanes.stop(STOP_S)
        self._vigil.end()
        self._engine.collect()
        self._say()
        return ended

    def _pause(self, busy: bool) -> float:
        """Until the next look, or the next second try, or while work runs the next second.

        A turn that closed a day leaves something to do: its manifest goes on the drives. What was
        due at the last look and does not run cannot be done now: it waits for what it lacks.
        """
        engine = self._engine
        if engine.lanes.running:
            return BUSY_WAIT_S
        if busy:
            return 0.0
        pauses = [float(engine.settings.look_every_seconds), self._vigil.wait_s()]
        now, looked = self._clock.now(), engine.now.situation.now
        coming = [t for t in engine.ledger.troubles.values() if t.retry_at > looked]
        waiting = [t for t in coming if not given_up(t, watched=False)]
        pauses += [float(max(1, t.retry_at - now)) for t in waiting]
        if engine.ailing:
            pauses.append(AILING_WAIT_S)
        if engine.now.unsettled:
            pauses.append(float(engine.settings.settle_seconds))
        return min(pauses)

    def _watched(self) -> list[bytes]:
        sights = self._engine.now.situation.sights
        return [self._bell, *(s.root.path for s in sights if s.watched)]

    def _say(self) -> None:
        """Show the state, and log each sentence once when it begins and once when it ends."""
        engine = self._engine
        at = engine.now.situation.now
        known = {**self._shown, "at": at} if engine.resting and self._shown else None
        state = known or self._state(at)
        state["notes"] = [self._vigil.note] if self._vigil.note else []
        if {k: v for k, v in state.items() if k != "at"} != self._shown:
            self._live.show(state)
            self._shown = {k: v for k, v in state.items() if k != "at"}
        for says, grave in self._news.lines(state["cards"]):
            (self._log.warning if grave else self._log.info)(says)
        for says in self._engine.recall.says():
            self._log.info(says)
        self._say_of_sleep()
        standing = engine.now.alarms | engine.ledger.troubles
        before = {t.says for t in self._said.values()}
        now = {t.says for t in standing.values()}
        for key, trouble in standing.items():  # figures in the sentence may change, its kind not
            same = key in self._said and self._said[key].code == trouble.code
            if not same and trouble.says not in before:
                before.add(trouble.says)
                self._log.warning(trouble.says)
        over = [t.says for k, t in self._said.items() if k not in standing and t.says not in now]
        for says in dict.fromkeys(over):
            self._log.info(f"Solved: {says}")
        self._said = standing
        needs = len(now)
        things = "1 thing needs" if needs == 1 else f"{needs} things need"
        self._manager.alive(f"{things} a hand" if needs else "All well")

    def _state(self, at: int) -> dict[str, object]:
        """The engine's state; what was shown last, while the catalogue tells nothing."""
        try:
            return snapshot(self._engine, self._clock.steady_ns())
        except TakeholdError:  # of a day that must be woken; a turn says what is wrong
            if not self._shown:
                raise
            return {**self._shown, "at": at, "alarms": alarms(self._engine)}

    def _say_of_sleep(self) -> None:
        """That the machine slept, and that it cannot be kept from it: each once."""
        for says in self._engine.waking.says(self._engine.lanes.running):
            self._log.info(says)
        note = self._vigil.note
        if note and note != self._noted:
            self._log.info(note)
            self._noted = note
