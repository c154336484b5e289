"""Have a command carried out: by the running daemon, or by the engine in this process."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from takehold.adapters.catalogue import SqliteCatalogue
from takehold.adapters.clock import SystemClock
from takehold.adapters.lock import STARTS_WITHIN_S, InstanceLock
from takehold.cli.live import SILENT, is_running, is_silent, last_state, ring
from takehold.cli.status import work_line
from takehold.home import Home
from takehold.model.errors import WorldError
from takehold.model.facts import Answered, Asked

if TYPE_CHECKING:  # beside a running daemon nothing of the engine is needed
    from takehold.adapters.wake import Wake
    from takehold.app import Running

POLL_S = 0.1
SHOW_EVERY_NS = 2 * 10**9
SHOW_SHARE = 20


@contextmanager
def working(place: Home) -> Iterator[tuple[Running, Wake]]:
    """The engine in this process, while no daemon runs."""
    from takehold.adapters.wake import Wake
    from takehold.app import running

    wake = Wake()
    with running(place, wake.nudge) as begun:
        for note in begun.notes:
            click.echo(note, err=True)
        try:
            yield begun, wake
        finally:
            begun.engine.lanes.stop(5.0)
            _show(place, begun)
            wake.close()


def _show(place: Home, begun: Running) -> None:
    from takehold.adapters.live import LiveFile
    from takehold.engine.progress import snapshot

    LiveFile(place.state).show(snapshot(begun.engine, begun.clock.steady_ns()))


def progress(place: Home, begun: Running) -> Callable[[], None]:
    """Prints each step at work now and then, on standard error, and shows it to others.

    It is called as long as there is work, and so keeps the machine awake too.
    """
    from takehold.adapters.live import LiveFile
    from takehold.engine.progress import snapshot

    due = [begun.clock.steady_ns() + SHOW_EVERY_NS]
    noted: set[str] = {""}

    def show() -> None:
        now, running = begun.clock.steady_ns(), begun.engine.lanes.running
        begun.vigil.mind(bool(running))
        begun.pulse.beat()
        told = (*begun.engine.waking.says(running), *begun.engine.recall.says())
        for says in (begun.vigil.note, *told):
            if says not in noted:
                noted.add(says)
                click.echo(says, err=True)
        if now > due[0]:
            state: Any = snapshot(begun.engine, now)
            LiveFile(place.state).show(state)
            for entry in state["work"]:
                click.echo("  " + work_line(entry), err=True)
            # A large day takes long to weigh: that is left for the work.
            took = begun.clock.steady_ns() - now
            due[0] = now + max(SHOW_EVERY_NS, SHOW_SHARE * took)

    return show


def ask(place: Home, kind: str, about: str) -> str:
    """Have a command carried out that needs work; its answer, with `!` first where it failed."""
    now = SystemClock().now()
    if is_running(place):
        catalogue = SqliteCatalogue.open_to_ask(place.catalogue)
        try:
            number = catalogue.ask(kind, about, now)
            ring(place)
            return _await(place, catalogue, number)
        finally:
            catalogue.close()
    from takehold.engine.once import until_quiet

    with working(place) as (begun, wake):
        number = begun.catalogue.ask(kind, about, now)
        until_quiet(begun.engine, wake, begun.clock, progress(place, begun))
        answered = begun.catalogue.answer_of(number)
    return answered.answer if answered else "! It was not finished; run it again."


def _await(place: Home, catalogue: SqliteCatalogue, number: int) -> str:
    shown_at = time.monotonic()
    while (answered := _answer(catalogue, number)) is None:
        time.sleep(POLL_S)
        if time.monotonic() - shown_at > SHOW_EVERY_NS / 1e9:
            shown_at = time.monotonic()
            if not is_running(place):
                says = "takehold stopped before it was done; the command is kept and done later."
                raise WorldError(says, "Start it again: takehold run")
            state = last_state(place)
            if is_silent(place, state):
                says, do = SILENT
                says += " The command is kept, and done once it goes on."
                raise WorldError(says, do, code="no-answer")
            for entry in state["work"] if state else ():
                click.echo("  " + work_line(entry), err=True)
    return answered.answer


def _answer(catalogue: SqliteCatalogue, number: int) -> Answered | None:
    """None while there is none. One put aside is not read: its journal has another's name."""
    if catalogue.is_aside():
        says = "The catalogue was damaged and is made anew; the command was lost with it."
        raise WorldError(says, "Give it again.")
    return catalogue.answer_of(number)


def note(place: Home, kind: str, about: str) -> None:
    """A command that needs no work: taken in by the daemon, or straight into the catalogue."""
    now = SystemClock().now()
    if is_running(place):
        answer = ask(place, kind, about)
        if answer.startswith("!"):
            raise WorldError(answer.removeprefix("! "))
        return
    from takehold.engine.requests import facts_of

    with InstanceLock(place.lock, STARTS_WITHIN_S):
        catalogue = SqliteCatalogue.open(place.catalogue)
        try:
            number = catalogue.ask(kind, about, now)
            facts = facts_of(Asked(number, kind, about, now))
            catalogue.record([*facts, Answered(number, "Noted.", now)])
        finally:
            catalogue.close()
