"""`takehold day`: a shooting day's verdict, findings and takes."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

import click

from takehold.cli import take_facts
from takehold.cli.exits import FINE, MEDIA
from takehold.cli.facts import day_facts
from takehold.cli.findings import finding_lines
from takehold.cli.live import around_of, last_state, tell_silence
from takehold.cli.tables import Row, count, length, print_json, table
from takehold.cli.view import beside_ready, judged_day
from takehold.decide.day import is_day, shooting_day
from takehold.formats.names import shown
from takehold.home import Home, days_known, settings_of
from takehold.model.errors import UsageError
from takehold.model.finding import Relation, Verdict
from takehold.model.settings import Role, Settings

HEAD = ("card", "file", "start", "length", "copies", "backup", "read")
SPARE = ("length", "start", "read")
_ORDINALS = {1: "1st", 2: "2nd", 3: "3rd"}


def current_day(
    known: Collection[str], settings: Settings, given: str | None, *, err: bool
) -> tuple[str, str]:
    """The day asked for; else today's shooting day, or the newest that anything is `known` of.

    And today's, where nothing of it was seen and nobody asked for another, else "": said before
    all else, or yesterday's verdict is taken for today's. `err` where `--json` is asked.
    """
    from takehold.adapters.clock import SystemClock

    if given is not None:
        if not is_day(given):
            says = f"{shown(given)} is no day; a day is written like 2026-11-25."
            raise UsageError(says)
        return given, ""
    today = shooting_day(SystemClock().local(), settings.day_starts_at)
    if today in known or not known:
        return today, ""
    newest = max(known)
    click.echo(f"! Nothing of today ({today}) was seen; this is {newest}.", err=err)
    return newest, today


def day(place: Home, given: str | None, *, as_json: bool, each: bool) -> int:
    """Print a day, with `each` every finding on its own; 0 READY, 1 HOLD.

    1, too, if takehold runs and does not answer: what is known may be old.
    """
    settings, state = settings_of(place), last_state(place)
    silent = tell_silence(place, state, err=as_json)
    wanted, _ = current_day(days_known(place), settings, given, err=as_json)
    judged, ledger = judged_day(place, wanted, settings, around_of(state))
    facts = day_facts(judged, ledger)
    if as_json:
        print_json(facts)
    else:
        print_day(facts, each=each)
    return FINE if judged.verdict is Verdict.READY and not silent else MEDIA


def print_day(facts: Row, *, each: bool = False) -> None:
    """A day in sentences and tables; the verdict stands at both ends."""
    entries: Any = facts["files"]
    reasons: Any = facts["reasons"]
    why = f", {count(len(reasons), 'reason')}" if reasons else ""
    if facts["verdict"] == Verdict.READY and reasons:
        why = f", {beside_ready(reasons)}"
    click.echo(f"{facts['day']}: {facts['verdict']}{why}.")
    if entries:
        names = load_names(entries)
        rows = sorted(entries, key=lambda e: (names[e["load"]], e["path"]))
        listed: Any = facts["takes"]
        head, takes = take_facts.take_table(listed, names)
        if takes:
            table(head, takes, spare=take_facts.SPARE, whole=take_facts.WHOLE)
        cells = [_file_row(entry, names[entry["load"]]) for entry in rows]
        table(HEAD, cells, spare=SPARE, whole=set(HEAD) - {"file"})
    for line in finding_lines(facts, each=each):
        click.echo(line)
    if facts["findings"]:
        click.echo("\nWhat each of these words means, and what is safe: docs/problems.md")
    manifest: Any = facts["manifest"]
    before = f"Before you hand over: takehold wrap {facts['day']}"
    click.echo(f"\n{facts['day']}: {facts['verdict']}.")
    if not manifest:
        click.echo("No manifest was written yet." + (f" {before}" if entries else ""))
    elif manifest["verdict"] != facts["verdict"]:
        says = f"{manifest['name']} said {manifest['verdict']}; things have changed since."
        click.echo(f"{says} {before}")
    else:
        click.echo(f"Manifest: {manifest['name']}.")


def load_names(entries: Iterable[Any]) -> dict[int, str]:
    """What each load of a day is called: a label that two of them have is numbered."""
    labels = {entry["load"]: entry["card"] for entry in entries}
    names: dict[int, str] = {}
    met: dict[str, int] = {}
    for load in sorted(labels):
        label = labels[load]
        met[label] = number = met.get(label, 0) + 1
        nth = _ORDINALS.get(number, f"{number}th")
        names[load] = label if number == 1 else f"{label} ({nth})"
    return names


def _file_row(entry: Any, card: str) -> tuple[object, ...]:
    alone = entry["role"] == Role.BACKUP and entry["counterpart"] == Relation.MISSING
    return (
        card,
        entry["path"],
        entry["start"],
        length(entry["seconds"]),
        entry["devices"],
        "not on primary" if alone else entry["counterpart"],
        "confirmed" if entry["confirmed"] else "once" if entry["copies"] else "not yet",
    )
