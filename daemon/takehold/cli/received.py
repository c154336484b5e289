"""What `takehold receive` found, in lines and as plain data."""

from __future__ import annotations

import sys

import click

from takehold.cli.tables import Row, count, table
from takehold.decide.receive import Answer, Compared, day_conclusion, reasons_of, verdict_of
from takehold.engine.receive import Day, Received
from takehold.formats.names import display, shown

MOST_SHOWN = 200
MISNAMED = "other bytes under a recording's name; do not use it"


def midway(says: str) -> str:
    """A sentence as a part of another one: no capital at its beginning, no stop at its end."""
    plain = says[:1].lower() + says[1:] if says[1:2].islower() or says[1:2] == " " else says
    return plain.removesuffix(".")


def day_row(day: Day) -> Row:
    """What a receipt does not hold: the verdict only where a good signature says whose it is."""
    verdict = verdict_of(day.manifest)
    return {
        "production": shown(day.manifest.doc.production),
        "day": day.manifest.doc.day,
        "revision": day.manifest.doc.revision,
        "verdict": verdict and verdict.value,
        "reasons": list(reasons_of(day.manifest)) if verdict else None,
        "perhaps_read_from_memory": day.compared.warm,
        "misnamed": sorted(day.compared.misnamed),
        "unfinished": list(day.compared.unfinished),
    }


def show(received: Received) -> None:
    """Print all that was found."""
    for day in received.days:
        _show_day(day)
        if len(received.days) > 1:
            click.echo(f"  {day_conclusion(day.manifest, day.compared)}")
    for path, says in received.unread:
        click.echo(f"! {display(path)} cannot be read: {says}")
    for path in received.older:
        click.echo(f"! {display(path)} is an older revision; its folder was not checked.")
    _show_rows([("beside", display(path), "") for path in received.outside.beside])
    if received.outside.elsewhere:
        click.echo(f"{count(received.outside.elsewhere, 'file')} elsewhere on it, not looked at.")


def _show_day(day: Day) -> None:
    doc, compared = day.manifest.doc, day.compared
    where = display(day.manifest.named.path)
    click.echo(f"{shown(doc.production)}, {doc.day}, revision {doc.revision} ({where})")
    click.echo(f"  signature: {day.manifest.signed.word}, {midway(day.manifest.signed.says)}")
    verdict = verdict_of(day.manifest)
    if verdict is None:
        click.echo("  the mixer's verdict: not known, for nothing proves who wrote this manifest")
    else:
        reasons = "".join(f"\n    {reason}" for reason in reasons_of(day.manifest))
        click.echo(f"  the mixer's verdict: {verdict.value}{reasons}")
    counts = ", ".join(f"{len(compared.of(a))} {a.value}" for a in Answer)
    click.echo(f"  {counts}, {len(compared.strangers)} not in the manifest")
    if compared.warm:
        files = count(compared.warm, "file")
        click.echo(f"  {files} may have been read from memory, not from the medium")
    _show_rows(_rows(compared, doc.refused))


def _rows(compared: Compared, refused: tuple[str, ...]) -> list[tuple[str, str, str]]:
    """Answer, file and why, for all that is not in order."""
    why = "its path leaves the folder or meets another"
    rows = [(c.answer.value, display(c.place), c.why) for c in compared.checked if c.why]
    rows += [("not opened", place, why) for place in refused]
    rows += [
        ("not in the manifest", name, MISNAMED if name in compared.misnamed else "")
        for name in compared.strangers
    ]
    return rows + [("unfinished", name, "a copy never completed") for name in compared.unfinished]


def _show_rows(rows: list[tuple[str, str, str]]) -> None:
    """A table on a terminal, else a line each."""
    if rows and sys.stdout.isatty():
        table(("answer", "file", "why"), rows[:MOST_SHOWN])
    else:
        for answer, name, why in rows[:MOST_SHOWN]:
            click.echo(f"  {answer}: {name}" + (f" ({why})" if why else ""))
    if len(rows) > MOST_SHOWN:
        click.echo(f"  and {len(rows) - MOST_SHOWN} more; the receipt names them.")
