"""Commands that work, or have the running daemon do it: once, wrap, recheck."""

from __future__ import annotations

import time
from collections.abc import Iterable
from typing import TYPE_CHECKING

import click

from takehold.adapters.clock import SystemClock
from takehold.cli.ask import ask, progress, working
from takehold.cli.day import current_day, print_day
from takehold.cli.exits import FINE, MEDIA, WORLD
from takehold.cli.facts import day_facts
from takehold.cli.live import around_of, last_state
from takehold.cli.tables import print_json
from takehold.cli.view import judged_day
from takehold.decide.day import shooting_day
from takehold.decide.judge import judge
from takehold.formats.names import display, shown
from takehold.home import Home, days_known, reading, settings_of
from takehold.model.errors import UsageError, WorldError
from takehold.model.facts import Broken
from takehold.model.finding import Verdict
from takehold.model.ledger import Ledger

if TYPE_CHECKING:
    from takehold.engine.cycle import Engine


def once(place: Home, as_json: bool) -> int:
    """Copy and prove what is there; 0 if all of it is proven."""
    from takehold.engine.once import owing, until_quiet

    with working(place) as (begun, wake):
        engine = begun.engine
        until_quiet(engine, wake, begun.clock, progress(place, begun))
        says = owing(engine)
        sights = engine.now.situation.sights
        files = sum(len(s.files) for s in sights)
        verdicts = _verdicts(engine)
    if as_json:
        proven = bool(files) and not says
        print_json({"files": files, "proven": proven, "troubles": says, "verdicts": verdicts})
    else:
        _print_once(bool(sights), files, says, verdicts)
    if not sights:
        return WORLD
    return MEDIA if says or not files else FINE


def _print_once(here: bool, files: int, says: list[str], verdicts: dict[str, str]) -> None:
    for sentence in says:
        click.echo(f"! {sentence}")
    if not here:
        click.echo("No card or watch folder of the config is there.")
    elif not files:
        click.echo("No recordings were found on what is there.")
    elif not says:
        several = f"All {files} files that are there have their"
        all_ = "The file that is there has its" if files == 1 else several
        click.echo(f"{all_} proven copies.")
    for day, verdict in verdicts.items():
        click.echo(f"Verdict of {day}: {verdict}, see: takehold day {day}")


def _verdicts(engine: Engine) -> dict[str, str]:
    """What the days of the files that are there come to."""
    from takehold.engine.once import days_here

    around = engine.now.around
    days = sorted(days_here(engine))
    return {day: judge(engine.ledger, day, engine.settings, around).verdict.value for day in days}


def wrap(place: Home, given: str | None, as_json: bool) -> int:
    """Close a day; 0 READY, 1 HOLD.

    1, too, if nothing of today was seen and it is an earlier day that was closed instead.
    """
    settings = settings_of(place)
    known = days_known(place)
    wanted, unseen = current_day(known, settings, given, err=as_json)
    if given is not None and given not in known:
        with reading(place, given) as (ledger, _):
            closed = ledger.newest(given) is not None
        if not closed and given != shooting_day(SystemClock().local(), settings.day_starts_at):
            raise UsageError(f"Nothing of {given} was ever seen; there is nothing to close.")
    answer = ask(place, "wrap", wanted)
    if answer.startswith("!"):
        raise WorldError(answer.removeprefix("! "))
    judged, ledger = judged_day(place, wanted, settings, around_of(last_state(place)))
    facts, published = day_facts(judged, ledger), _published(ledger, wanted)
    if as_json:
        print_json({**facts, "published_on": published})
    else:
        print_day(facts)
        on = ", ".join(published) or "no destination yet; it is kept on this laptop"
        click.echo(f"Signed: {answer}, on {on}.")
        for name in judged_absent(place):
            says = f"{name} is not there, or cannot be used. What is on it is as it was left."
            click.echo(f"NOT looked at: {says}")
        if unseen:
            click.echo(f"! Nothing was closed for today ({unseen}).")
    return FINE if judged.verdict is Verdict.READY and not unseen else MEDIA


def judged_absent(place: Home) -> list[str]:
    """Destinations of the config that the last look did not find."""
    state = last_state(place)
    return [str(name) for name in state["absent"]] if state else []


def _published(ledger: Ledger, day: str) -> list[str]:
    """The destinations that hold the newest revision."""
    newest = ledger.newest(day)
    held = {root for d, n, root in ledger.published if newest and (d, n) == (day, newest.number)}
    copies = [c for s in ledger.day(day) for c in ledger.copies_of(s.id)]
    return sorted({shown(c.destination) for c in copies if c.root in held})


def recheck(place: Home, destination: str, as_json: bool) -> int:
    """Read copies again; 0 if all that are there were read and none was altered or missing."""
    settings = settings_of(place)
    if destination and all(d.name != destination for d in settings.destinations):
        names = ", ".join(shown(d.name) for d in settings.destinations)
        raise UsageError(f"There is no destination {shown(destination)}; there are: {names}.")
    with reading(place) as (ledger, _):
        before = sum(len(b) for b in ledger.broken.values())
        copies = sum(len(held) for held in ledger.copies.values())
    # Proofs tell whole seconds: one of this second would pass for read again since.
    time.sleep(1 - time.time() % 1)
    answer = ask(place, "recheck", destination)
    with reading(place) as (ledger, _):
        broken = sorted((b for facts in ledger.broken.values() for b in facts), key=lambda b: b.at)
    found = broken[before:]
    if as_json:
        print_json({"says": answer.removeprefix("! "), "known": copies, "broken": _rows(found)})
    else:
        click.echo(answer)
        _print_recheck(found, copies, whole=not answer.startswith("!"))
    return MEDIA if found or answer.startswith("!") else FINE


def _rows(found: Iterable[Broken]) -> list[dict[str, str]]:
    return [
        {"destination": shown(b.destination), "path": display(b.path), "why": b.why} for b in found
    ]


def _print_recheck(found: list[Broken], copies: int, *, whole: bool) -> None:
    for row in _rows(found):
        click.echo(f"! {row['destination']}: {row['path']} is {row['why']}.")
    if found:
        click.echo("They are copied again; what was found altered is left where it is.")
    elif whole:
        click.echo(f"No copy that is there was found altered ({copies} known).")
