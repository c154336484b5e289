"""Printing: plain sentences and tables, the same with and without a terminal."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence

import click


def print_json(document: object) -> None:
    """Facts, for programs."""
    click.echo(json.dumps(document, indent=2, ensure_ascii=True))


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """A table; cells are shown as they are, so they must be escaped already."""
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    made = Table(box=SIMPLE_HEAD, pad_edge=False)
    for column in head:
        made.add_column(column, overflow="fold")
    for row in rows:
        made.add_row(*(Text("" if cell is None else str(cell)) for cell in row))
    console = Console(highlight=False, markup=False, emoji=False)
    if not console.is_terminal:
        console = Console(highlight=False, markup=False, emoji=False, width=150)
    console.print(made)


def size(count: object) -> str:
    """Bytes in decimal units, as cards and drives are sold."""
    number = float(str(count))
    for unit in ("B", "kB", "MB", "GB"):
        if number < 1000:
            return f"{number:.0f} {unit}" if unit == "B" else f"{number:.1f} {unit}"
        number /= 1000
    return f"{number:.2f} TB"


def span(seconds: object) -> str:
    """A span of time in words that are short."""
    if seconds is None:
        return "?"
    whole = int(float(str(seconds)))
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {left} s" if minutes else f"{left} s"
