"""`takehold card`: may a card be handed over, may it be cleared?"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import click

from takehold.cli.exits import FINE, MEDIA
from takehold.cli.facts import card_facts
from takehold.cli.live import around_of, called, last_state, tell_silence
from takehold.cli.tables import count, print_json
from takehold.decide.card import CAUTION, card_answer
from takehold.formats.names import shown
from takehold.home import Home, reading, settings_of
from takehold.model.errors import UsageError
from takehold.model.finding import Verdict
from takehold.model.recording import Load

NEWEST = 6
CLEARED = "Keep the card until the production says it may be cleared."


def card(place: Home, name: str | None, as_json: bool) -> int:
    """Print what may be done with cards; 0 if all that were asked for may be handed over.

    Without a name these are those of now (`_of_now`): each costs the weighing of its days.
    1, too, if takehold runs and does not answer: what is known may be old.
    """
    settings, state = settings_of(place), last_state(place)
    around = around_of(state)
    now = {card["load"]: card["labelled"] for card in state["cards"]} if state else {}
    silent = tell_silence(place, state, err=as_json)
    with reading(place) as (ledger, _):
        loads = [
            load
            for load in ledger.loads.values()
            if name is None
            or name.lower() in map(str.lower, (load.label, load.source, now.get(load.id, "")))
        ]
        if name is not None and not loads:
            raise UsageError(f"No card named {shown(name)} was seen.")
        asked = loads if name is not None else _of_now(loads, now)
        answers = [card_answer(ledger, load, settings, around) for load in asked]
    facts: list[Any] = [{**card_facts(a), "labelled": now.get(a.load.id)} for a in answers]
    if as_json:
        print_json(facts)
    else:
        for one in facts:
            _print_card(one)
        if len(asked) < len(loads):
            others = count(len(loads) - len(asked), "older card")
            click.echo(f"Not looked at: {others}. Ask for one by its name: takehold card NAME")
        click.echo(_last_line(facts))
    ready = bool(answers) and all(a.verdict is Verdict.READY for a in answers)
    return FINE if ready and not silent else MEDIA


def _of_now(loads: list[Load], here: Collection[int]) -> list[Load]:
    """Those that are in, those that first came on the newest day, and at least the newest ones."""
    day = max((load.day for load in loads), default="")
    newest = {load.id for load in loads[-NEWEST:]}
    return [x for x in loads if x.id in here or x.id in newest or x.day == day]


def _last_line(facts: list[Any]) -> str:
    if not facts:
        return "No card was seen yet."
    return CLEARED if all(one["post_has_confirmed"] for one in facts) else CAUTION


def _print_card(facts: Any) -> None:
    days = ", ".join(facts["days"])
    name = called(facts["card"], facts["labelled"])
    click.echo(f"{name} ({facts['role']}, first seen {facts['first_seen_at']}; {days})")
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
