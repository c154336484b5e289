"""Commands that only look: status, day, card."""

from __future__ import annotations

import time
from typing import Any

import click

from takehold.cli.exits import FINE, MEDIA, WORLD
from takehold.cli.facts import Row, card_facts, day_facts
from takehold.cli.live import State, around_of, live_state
from takehold.cli.tables import print_json, size, span, table
from takehold.decide.card import CAUTION, card_answer
from takehold.decide.day import is_day, shooting_day
from takehold.decide.judge import judge
from takehold.formats.names import shown
from takehold.home import Home, reading, settings_of
from takehold.model.errors import UsageError
from takehold.model.finding import Verdict
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings

WATCH_S = 1.0


def current_day(ledger: Ledger, settings: Settings, given: str | None) -> str:
    """The day asked for; else today's shooting day, or the newest one that anything is known of."""
    from takehold.adapters.clock import SystemClock

    if given is not None:
        if not is_day(given):
            says = f"{shown(given)} is no day; a day is written like 2026-11-25."
            raise UsageError(says)
        return given
    today = shooting_day(SystemClock().local(), settings.day_starts_at)
    known = {day for day, ids in ledger.of_day.items() if ids}
    known |= {load.day for load in ledger.loads.values()}
    if today in known or not known:
        return today
    newest = max(known)
    click.echo(f"Nothing of today ({today}) was seen; this is {newest}.", err=True)
    return newest


# -- day


def day(place: Home, given: str | None, as_json: bool) -> int:
    """Print a day; 0 READY, 1 HOLD."""
    settings = settings_of(place)
    with reading(place) as (ledger, _):
        wanted = current_day(ledger, settings, given)
        judged = judge(ledger, wanted, settings, around_of(live_state(place)))
        facts = day_facts(judged, ledger)
    if as_json:
        print_json(facts)
    else:
        print_day(facts)
    return FINE if judged.verdict is Verdict.READY else MEDIA


def print_day(facts: Row) -> None:
    """A day in sentences and tables."""
    entries: Any = facts["files"]
    if entries:
        head = ("card", "file", "scene", "take", "start", "length", "copies", "backup", "read")
        table(head, [_file_row(entry) for entry in entries])
    findings: Any = facts["findings"]
    for finding in findings:
        decided = f" [decided: {shown(finding['decision'])}]" if finding["decision"] else ""
        click.echo(f"{finding['severity']:>4}  {finding['id']}  {finding['says']}{decided}")
        if finding["do"] and not finding["decision"] and finding["severity"] != "note":
            click.echo(f"                {finding['do']}")
    manifest: Any = facts["manifest"]
    click.echo(f"\n{facts['day']}: {facts['verdict']}.")
    if not manifest:
        click.echo("No manifest was written yet. Before you hand over: takehold wrap")
    elif manifest["verdict"] != facts["verdict"]:
        says = f"{manifest['name']} said {manifest['verdict']}; things have changed since."
        click.echo(f"{says} Before you hand over: takehold wrap")
    else:
        click.echo(f"Manifest: {manifest['name']}.")


def _file_row(entry: Any) -> tuple[object, ...]:
    return (
        entry["card"],
        entry["path"],
        entry["scene"],
        entry["take"] + (" *" if entry["circled"] else ""),
        entry["start"],
        None if entry["seconds"] is None else span(entry["seconds"]),
        entry["devices"],
        entry["counterpart"],
        "confirmed" if entry["confirmed"] else "once" if entry["copies"] else "not yet",
    )


# -- card


def card(place: Home, name: str | None, as_json: bool) -> int:
    """Print what may be done with cards; 0 if all asked for may be handed over."""
    settings = settings_of(place)
    with reading(place) as (ledger, _):
        loads = [
            load
            for load in ledger.loads.values()
            if name is None or name.lower() in (load.label.lower(), load.source.lower())
        ]
        if name is not None and not loads:
            raise UsageError(f"No card named {shown(name)} was seen.")
        newest = loads if name is not None else loads[-6:]
        answers = [card_answer(ledger, load, settings) for load in newest]
    if as_json:
        print_json([card_facts(a) for a in answers])
    else:
        for answer in answers:
            _print_card(card_facts(answer))
        click.echo(CAUTION if answers else "No card was seen yet.")
    ready = bool(answers) and all(a.verdict is Verdict.READY for a in answers)
    return FINE if ready else MEDIA


def _print_card(facts: Any) -> None:
    days = ", ".join(facts["days"])
    click.echo(f"{facts['card']} ({facts['role']}, first seen {facts['first_seen_at']}; {days})")
    if facts["against_hand_over"]:
        click.echo("  Do not hand it over yet:")
        for reason in facts["against_hand_over"]:
            click.echo(f"    - {reason}")
    else:
        click.echo("  It may be handed over.")
    waits = [r for r in facts["against_clearing"] if r not in facts["against_hand_over"]]
    if facts["post_has_confirmed"]:
        click.echo("  Post has confirmed every file; clearing it is the production's decision.")
    else:
        click.echo("  Do not clear it:")
        for reason in waits or ["it may not even be handed over."]:
            click.echo(f"    - {reason}")


# -- status


def status(place: Home, as_json: bool, watch: bool) -> int:
    """Print how it is now; 0 if nothing needs a hand, 1 if something does, 3 if none runs."""
    settings = settings_of(place)
    while True:
        state = live_state(place)
        with reading(place) as (ledger, _):
            facts = _status_facts(ledger, settings, state)
        if as_json:
            print_json(facts)
        else:
            if watch:
                click.clear()
            _print_status(facts)
        if not watch:
            break
        time.sleep(WATCH_S)
    if state is None:
        return WORLD
    return MEDIA if facts["needs"] else FINE


def _status_facts(ledger: Ledger, settings: Settings, state: State | None) -> Row:
    alarms = [(a["says"], a["do"]) for a in state["alarms"]] if state else []
    standing = [(t.says, t.do) for t in ledger.troubles.values()]
    today = state["day"] if state else None
    judged = judge(ledger, today, settings, around_of(state)) if today else None
    return {
        "running": state is not None,
        "day": today,
        "verdict": judged.verdict.value if judged else None,
        "needs": [{"says": says, "do": do} for says, do in dict.fromkeys(alarms + standing)],
        "cards": state["cards"] if state else [],
        "destinations": state["destinations"] if state else [],
        "absent": state["absent"] if state else [],
        "work": state["work"] if state else [],
        "unsettled": state["unsettled"] if state else [],
    }


def _print_status(facts: Any) -> None:
    if not facts["running"]:
        click.echo("takehold is not running: nothing is being copied. Start it: takehold run")
    for card_ in facts["cards"]:
        pull = "may be pulled" if card_["may_be_pulled"] else "in use, leave it in"
        says = (
            f"{card_['label']} ({card_['role']}) at {card_['at']}: {card_['files']} files, {pull}"
        )
        click.echo(says)
    for drive in facts["destinations"]:
        click.echo(f"{drive['name']} at {drive['at']}: {size(drive['free_bytes'])} free")
    for name in facts["absent"]:
        click.echo(f"{name}: not there")
    for work in facts["work"]:
        click.echo("  " + work_line(work))
    for name in facts["unsettled"]:
        click.echo(f"  still being written: {name}")
    for need in facts["needs"]:
        click.echo(f"! {need['says']} {need['do']}".rstrip())
    if facts["verdict"]:
        click.echo(f"{facts['day']}: {facts['verdict']}  (takehold day)")


def work_line(work: Any) -> str:
    """One step at work, with rate and time left."""
    if work["unit"] == "files":
        return f"{work['what']}: {work['done']} of {work['total']} files"
    share = 100 * work["done"] // work["total"] if work["total"] else 100
    still = ""
    if work["still_seconds"] > 5:
        still = f", nothing moved for {span(work['still_seconds'])}"
    left = span(work["seconds_left"])
    return f"{work['what']}: {share} %, {size(work['rate'])}/s, {left} left{still}"
