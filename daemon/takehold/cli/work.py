"""Commands that work, or ask the running daemon to: once, wrap, ack, receipt, recheck."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import click

from takehold.adapters.catalogue import SqliteCatalogue
from takehold.adapters.clock import SystemClock
from takehold.adapters.lock import InstanceLock
from takehold.adapters.wake import Wake
from takehold.app import Running, running
from takehold.cli.exits import FINE, MEDIA, WORLD
from takehold.cli.facts import day_facts
from takehold.cli.live import around_of, is_running, live_state, ring
from takehold.cli.show import current_day, print_day, work_line
from takehold.cli.tables import print_json
from takehold.decide.judge import judge
from takehold.engine.once import owing, until_quiet
from takehold.engine.progress import snapshot
from takehold.engine.requests import ack_text, facts_of, receipt_text
from takehold.formats.names import shown
from takehold.home import Home, reading, settings_of
from takehold.model.errors import UsageError, WorldError
from takehold.model.facts import Answered, Asked
from takehold.model.finding import Severity, Verdict
from takehold.model.ledger import Ledger

POLL_S = 0.3
SHOW_EVERY_NS = 2 * 10**9


@contextmanager
def working(place: Home) -> Iterator[tuple[Running, Wake]]:
    """The engine in this process, while no daemon runs."""
    wake = Wake()
    with running(place, wake.nudge) as begun:
        for note in begun.notes:
            click.echo(note, err=True)
        try:
            yield begun, wake
        finally:
            begun.engine.lanes.stop(5.0)
            wake.close()


def once(place: Home, as_json: bool) -> int:
    """Copy and prove what is there; 0 if all of it is proven."""
    with working(place) as (begun, wake):
        until_quiet(begun.engine, wake, begun.clock, _progress(begun))
        says = owing(begun.engine)
        nothing = not begun.engine.now.situation.sights
        situation = begun.engine.now.situation
        files = sum(len(s.files) for s in situation.sights)
    if as_json:
        print_json({"files": files, "proven": not says and not nothing, "troubles": says})
    else:
        for sentence in says:
            click.echo(f"! {sentence}")
        if nothing:
            click.echo("No card or watch folder of the config is there.")
        elif not says:
            click.echo(f"All {files} files that are there have their proven copies.")
    if nothing:
        return WORLD
    return MEDIA if says else FINE


def _progress(begun: Running) -> Callable[[], None]:
    """Prints each step at work now and then, on standard error."""
    last = [begun.clock.steady_ns()]

    def show() -> None:
        now = begun.clock.steady_ns()
        if now - last[0] > SHOW_EVERY_NS:
            last[0] = now
            work: Any = snapshot(begun.engine, now)["work"]
            for entry in work:
                click.echo("  " + work_line(entry), err=True)

    return show


def _ask(place: Home, kind: str, about: str) -> str:
    """Have a command carried out, by the daemon or here; its answer."""
    now = SystemClock().now()
    if is_running(place):
        catalogue = SqliteCatalogue.open(place.catalogue)
        try:
            number = catalogue.ask(kind, about, now)
            ring(place)
            return _await(place, catalogue, number)
        finally:
            catalogue.close()
    with working(place) as (begun, wake):
        number = begun.catalogue.ask(kind, about, now)
        until_quiet(begun.engine, wake, begun.clock, _progress(begun))
        answered = begun.catalogue.answer_of(number)
    return answered.answer if answered else "! It was not finished; run it again."


def _await(place: Home, catalogue: SqliteCatalogue, number: int) -> str:
    shown_at = time.monotonic()
    while (answered := catalogue.answer_of(number)) is None:
        time.sleep(POLL_S)
        if time.monotonic() - shown_at > SHOW_EVERY_NS / 1e9:
            shown_at = time.monotonic()
            state = live_state(place)
            if state is None:
                says = "takehold stopped before it was done; the command is kept and done later."
                raise WorldError(says, "Start it again: takehold run")
            for entry in state["work"]:
                click.echo("  " + work_line(entry), err=True)
    return answered.answer


def wrap(place: Home, given: str | None, as_json: bool) -> int:
    """Close a day; 0 READY, 1 HOLD."""
    settings = settings_of(place)
    with reading(place) as (ledger, _):
        wanted = current_day(ledger, settings, given)
    answer = _ask(place, "wrap", wanted)
    if answer.startswith("!"):
        raise WorldError(answer.removeprefix("! "))
    with reading(place) as (ledger, _):
        judged = judge(ledger, wanted, settings, around_of(live_state(place)))
        facts = day_facts(judged, ledger)
        published = _published(ledger, wanted)
    if as_json:
        print_json({**facts, "published_on": published})
    else:
        print_day(facts)
        on = ", ".join(published) or "no destination yet; it is kept on this laptop"
        click.echo(f"Signed: {answer}, on {on}.")
    return FINE if judged.verdict is Verdict.READY else MEDIA


def _published(ledger: Ledger, day: str) -> list[str]:
    """The destinations that hold the newest revision."""
    newest = ledger.newest(day)
    held = {root for d, n, root in ledger.published if newest and (d, n) == (day, newest.number)}
    copies = [c for s in ledger.day(day) for c in ledger.copies_of(s.id)]
    return sorted({shown(c.destination) for c in copies if c.root in held})


def recheck(place: Home, destination: str) -> int:
    """Read copies again; 0 if none was found altered or missing."""
    settings = settings_of(place)
    if destination and all(d.name != destination for d in settings.destinations):
        names = ", ".join(shown(d.name) for d in settings.destinations)
        raise UsageError(f"There is no destination {shown(destination)}; there are: {names}.")
    with reading(place) as (ledger, _):
        before = sum(len(b) for b in ledger.broken.values())
        copies = sum(len(held) for held in ledger.copies.values())
    click.echo(_ask(place, "recheck", destination))
    with reading(place) as (ledger, _):
        after = [b for facts in ledger.broken.values() for b in facts]
    if len(after) == before:
        click.echo(f"No copy that is there was found altered ({copies} known).")
        return FINE
    for broken in after[before:]:
        name = broken.path.decode("utf-8", "backslashreplace")
        click.echo(f"! {shown(broken.destination)}: {shown(name)} is {broken.why}.")
    click.echo("They are copied again; what was found altered is left where it is.")
    return MEDIA


def ack(place: Home, finding: str, note: str) -> int:
    """Record a decision on a `look` finding."""
    settings = settings_of(place)
    if not note.strip():
        raise UsageError("A decision needs a note that says what was decided.")
    with reading(place) as (ledger, _):
        found = {
            f.id: f
            for day in ledger.of_day
            for f in judge(ledger, day, settings, around_of(live_state(place))).findings
        }
    if finding not in found:
        raise UsageError(f"There is no finding {shown(finding)}.", "See them: takehold day")
    if found[finding].severity is not Severity.LOOK:
        raise UsageError(
            f"{found[finding].says} That is a {found[finding].severity.value}, not a `look`: "
            "no decision mends it.",
            found[finding].do,
        )
    click.echo(_note(place, "ack", ack_text(finding, note)))
    return FINE


def receipt(place: Home, path: str, key: str | None) -> int:
    """Take a receipt in; 0 if it confirms every file."""
    from takehold.cli.receipt import take_in

    settings_of(place)
    with reading(place) as (ledger, _):
        fact, lines = take_in(path, ledger, key=key)
    _note(place, "receipt", receipt_text(fact))
    for line in lines:
        click.echo(line)
    return FINE if fact.complete else MEDIA


def _note(place: Home, kind: str, about: str) -> str:
    """A command that needs no work: answered by the daemon, or straight in the catalogue."""
    now = SystemClock().now()
    if is_running(place):
        return _ask(place, kind, about)
    with InstanceLock(place.lock):
        catalogue = SqliteCatalogue.open(place.catalogue)
        try:
            number = catalogue.ask(kind, about, now)
            facts = facts_of(Asked(number, kind, about, now))
            catalogue.record([*facts, Answered(number, "Noted.", now)])
        finally:
            catalogue.close()
    return "Noted."
