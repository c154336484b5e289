"""Threads that take turns: one runs at a time, and a chance that can be repeated says who is next.

The copy engine's threads are real ones; here they get stand-ins for `threading` and `queue` that
wait by passing the baton on. So a run is the same each time, and other chances give other orders.
"""

from __future__ import annotations

import queue
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from random import Random
from typing import Any

import takehold.engine.course as course
import takehold.engine.judging as judging
import takehold.engine.landing as landing
import takehold.engine.patience as patience
import takehold.engine.perform as perform
import takehold.engine.proving as proving
import takehold.engine.reading as reading
import takehold.engine.ring as ring
import takehold.engine.small_file as small_file
import takehold.engine.transfer as transfer
from takehold.engine.job import Job

SMALL = 1 << 14
Ready = Callable[[], bool]


class Stuck(AssertionError):
    """Nobody can go on: a deadlock of the product's threads."""


class Runner:
    """One thread's place in the order. `ready` is what it waits for, None for nothing."""

    def __init__(self) -> None:
        self.turn = threading.Semaphore(0)
        self.ready: Ready | None = None
        self.timed = False
        self.late = False


class Baton:
    """Says who runs."""

    def __init__(self, chance: Random) -> None:
        self.chance = chance
        self.main = Runner()
        self.at = self.main
        self.runners = [self.main]
        self.stuck = False
        self.fault: BaseException | None = None

    def wait(self, ready: Ready | None, timed: bool = False) -> bool:
        """Let others run until it is ready; False if that will not be and the wait has an end."""
        me = self.at
        me.ready, me.timed, me.late = ready, timed, False
        if not self._kept():  # not `self.at is me`: it may have come back by now, with a turn
            me.turn.acquire()
        if self.stuck:
            raise Stuck("No thread can go on.") from self.fault
        return not me.late

    def maybe(self) -> None:
        """Let another run, perhaps."""
        if len(self.runners) > 1 and self.chance.random() < 0.3:
            self.wait(None)

    def begin(self, run: Callable[[], None]) -> Runner:
        """A new runner, which is not waited for."""
        runner = Runner()
        self.runners.append(runner)

        def body() -> None:
            runner.turn.acquire()
            try:
                run()
            except Stuck:
                return
            except BaseException as fault:
                self.fault = fault
                self._give_up()
                return
            self.runners.remove(runner)
            self._kept()

        threading.Thread(target=body, daemon=True).start()
        return runner

    def _give_up(self) -> None:
        """Let every runner go, and the first one raise."""
        self.stuck, self.at = True, self.main
        for runner in self.runners:
            runner.turn.release()

    def _kept(self) -> bool:
        """Choose who goes on and let it; whether that is the one who asks."""
        before = self.at
        able = [r for r in self.runners if r.ready is None or r.ready()]
        if able:
            chosen = self.chance.choice(able) if len(able) > 1 else able[0]
        else:
            timed = [r for r in self.runners if r.timed]
            if not timed:
                self._give_up()
                return False
            chosen = timed[0]
            chosen.late = True
        self.at = chosen
        if chosen is before:
            return True
        chosen.turn.release()
        return False


class Thread:
    """`threading.Thread`."""

    def __init__(
        self, baton: Baton, target: Callable[..., None], args: tuple[Any, ...] = (), **_: object
    ) -> None:
        self._baton = baton
        self._target = partial(target, *args)
        self._runner: Runner | None = None

    def start(self) -> None:
        self._runner = self._baton.begin(self._target)

    def is_alive(self) -> bool:
        return self._runner in self._baton.runners

    def join(self, _timeout: float | None = None) -> None:
        self._baton.wait(lambda: not self.is_alive())


class Event:
    """`threading.Event`."""

    def __init__(self, baton: Baton) -> None:
        self._baton = baton
        self._set = False

    def set(self) -> None:
        self._set = True

    def is_set(self) -> bool:
        return self._set

    def wait(self, timeout: float | None = None) -> bool:
        return self._set or self._baton.wait(self.is_set, timed=timeout is not None)


class Lock:
    """`threading.Lock`, and `threading.Condition` as far as the ring needs it."""

    def __init__(self, baton: Baton) -> None:
        self._baton = baton
        self._held = False

    def __enter__(self) -> None:
        if self._held:
            self._baton.wait(lambda: not self._held)
        self._held = True

    def __exit__(self, *_: object) -> None:
        self._held = False

    def wait_for(self, ready: Callable[[], object], _timeout: float) -> bool:
        self._held = False
        came = bool(ready()) or self._baton.wait(lambda: bool(ready()) and not self._held, True)
        self._held = True
        return came

    def notify(self) -> None:
        """Whoever waits looks for itself."""


class SimpleQueue:
    """`queue.SimpleQueue`."""

    def __init__(self, baton: Baton) -> None:
        self._baton = baton
        self._held: deque[Any] = deque()

    def __class_getitem__(cls, _item: object) -> type[SimpleQueue]:
        return cls

    def put(self, item: Any) -> None:
        self._held.append(item)

    def get(self) -> Any:
        if not self._held:
            self._baton.wait(lambda: bool(self._held))
        return self._held.popleft()

    def get_nowait(self) -> Any:
        if not self._held:
            raise queue.Empty
        return self._held.popleft()

    def empty(self) -> bool:
        return not self._held


class Names:
    """A module's stand-in: its names."""

    def __init__(self, **names: object) -> None:
        self.__dict__.update(names)


class Made:
    """A generic class whose instances get the baton: `SimpleQueue[Item]()`."""

    def __init__(self, baton: Baton) -> None:
        self._baton = baton

    def __getitem__(self, _item: object) -> Made:
        return self

    def __call__(self) -> SimpleQueue:
        return SimpleQueue(self._baton)


class AtOnce:
    """A thread that has done its work when `start` returns: for questions to a device."""

    def __init__(self, target: Callable[[], None], **_: object) -> None:
        self._target = target

    def start(self) -> None:
        self._target()

    def join(self, _timeout: float | None = None) -> None:
        """It has ended."""

    def is_alive(self) -> bool:
        return False


@contextmanager
def in_turns(baton: Baton) -> Iterator[None]:
    """In the block, the copy engine's threads take turns, and its buffers are small."""
    threads = Names(
        Thread=partial(Thread, baton),
        Event=partial(Event, baton),
        Lock=partial(Lock, baton),
        Condition=partial(Lock, baton),
        local=threading.local,
    )
    queues = Names(SimpleQueue=Made(baton), Empty=queue.Empty)

    def job(*known: Any) -> Job:
        return Job(*known, closed=Event(baton))  # type: ignore[arg-type]  # the stand-in

    stand_ins: list[tuple[Any, str, Any]] = [
        (course, "threading", threads),
        (judging, "threading", threads),
        (judging, "queue", queues),
        (landing, "threading", threads),
        (landing, "queue", queues),
        (proving, "queue", queues),
        (transfer, "threading", threads),
        (ring, "threading", threads),
        (patience, "threading", Names(Thread=AtOnce)),
        (perform, "Job", job),
        (perform, "Ring", partial(ring.Ring, 3, SMALL)),
        (reading, "Buffer", lambda *_: ring.Buffer(SMALL)),
        (reading, "_mine", threading.local()),
        (small_file, "SIZE", SMALL),
        (landing, "PIECE", 2 * SMALL),
    ]
    before = [(module, name, getattr(module, name)) for module, name, _ in stand_ins]
    for module, name, value in stand_ins:
        setattr(module, name, value)
    try:
        yield
    finally:
        for module, name, value in before:
            setattr(module, name, value)
