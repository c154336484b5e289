"""What people add to the record: a decision on a finding (ack), the DIT's answer (receipt)."""

from __future__ import annotations

import click

from takehold.cli.ask import note as take_note
from takehold.cli.exits import FINE, MEDIA
from takehold.cli.live import around_of, last_state
from takehold.cli.tables import print_json
from takehold.decide.judge import judge
from takehold.decide.manifest_names import stamp
from takehold.engine.requests import ack_text, receipt_text
from takehold.formats.names import shown
from takehold.home import Home, reading, settings_of
from takehold.model.errors import UsageError
from takehold.model.finding import Severity

NAMED = 8
"""Ids or days that are named; more are counted."""


def ack(place: Home, finding: str, note: str, as_json: bool) -> int:
    """Record a decision on a `look` finding."""
    settings = settings_of(place)
    if not note.strip():
        raise UsageError("A decision needs a note that says what was decided.")
    finding = finding.strip().lower()
    with reading(place) as (ledger, _):
        around = around_of(last_state(place))
        told = [
            (day, f)
            for day in sorted(ledger.of_day)
            for f in judge(ledger, day, settings, around).findings
        ]
        before = ledger.acks.get(finding)
    found = {f.id: f for _, f in told}
    if finding not in found:
        raise _unknown(finding, [f.id for f in found.values() if f.code == finding])
    if found[finding].severity is not Severity.LOOK:
        raise UsageError(
            f"{found[finding].says} That is a {found[finding].severity.value}, not a `look`: "
            "no decision mends it.",
            found[finding].do,
        )
    take_note(place, "ack", ack_text(finding, note))
    replaced = before and {"note": shown(before.note), "at": stamp(before.at)}
    if as_json:
        print_json({"finding": finding, "decision": shown(note), "replaces": replaced})
        return FINE
    days = [day for day, f in told if f.id == finding and f.severity is Severity.LOOK]
    click.echo(f"Noted. It goes into the manifest with the next {_wraps(days)}.")
    if replaced:
        click.echo(f"It replaces the decision of {replaced['at']}: {replaced['note']}")
    return FINE


def _wraps(days: list[str]) -> str:
    """What closes these days; what is said of a card may be said on many."""
    more = f" and of {len(days) - NAMED} more days" if len(days) > NAMED else ""
    return ", ".join(f"`takehold wrap {day}`" for day in days[-NAMED:]) + more


def _unknown(finding: str, ids: list[str]) -> UsageError:
    """What was given is no id; it may be the code of some findings."""
    if not ids:
        return UsageError(f"There is no finding {shown(finding)}.", "See them: takehold day")
    more = f" and {len(ids) - NAMED} more" if len(ids) > NAMED else ""
    known = f"{', '.join(ids[:NAMED])}{more}"
    return UsageError(
        f"{finding} is a code, and a decision is on one finding. The findings of that code have "
        f"the ids {known}.",
        "See them: takehold day",
    )


def receipt(place: Home, path: str, key: str | None, as_json: bool) -> int:
    """Take a receipt in; 0 if it confirms every file of the newest manifest and is signed."""
    from takehold.cli.receipt import counts, take_in

    settings_of(place)
    with reading(place) as (ledger, _):
        fact, lines = take_in(path, ledger, key=key)
        good = counts(fact, ledger)
    take_note(place, "receipt", receipt_text(fact))
    if as_json:
        told = {name: getattr(fact, name) for name in fact._fields}
        print_json({**told, "at": stamp(fact.at), "complete": fact.complete, "counts": good})
    else:
        for line in lines:
            click.echo(line)
    return FINE if good else MEDIA
