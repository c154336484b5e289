"""Printing: plain sentences and tables, the same with and without a terminal."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Collection, Iterable, Sequence

import click

Row = dict[str, object]

PIPE_WIDTH = 150
_GAP = 3  # what rich sets between two columns
_EDGES = 2


def print_json(document: object) -> None:
    """Facts, for programs."""
    click.echo(json.dumps(document, indent=2, ensure_ascii=True))


def table(
    head: Sequence[str],
    rows: Iterable[Sequence[object]],
    *,
    spare: Sequence[str] = (),
    whole: Collection[str] = (),
) -> None:
    """A table; cells are shown as they are, so they must be escaped already.

    Where it is too wide, the columns named in `spare` are left out, the first one first; those in
    `whole` are never broken over two lines.
    """
    width = _terminal() if sys.stdout.isatty() or "FORCE_COLOR" in os.environ else PIPE_WIDTH
    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    wide = [max(map(_cells, column)) for column in zip(head, *cells, strict=True)]
    kept = _fitting(head, wide, spare, width)
    shown = [[row[at] for at in kept] for row in (head, *cells)]
    if _width(wide[at] for at in kept) > width:
        _fold(shown, {head[at] for at in kept} & set(whole), width)
        return
    widths = [wide[at] for at in kept]
    first, *rest = (f" {(' ' * _GAP).join(map(_padded, row, widths))}".rstrip() for row in shown)
    rule = f" {_line() * (_width(widths) - _EDGES)}"
    click.echo("\n".join(("", click.style(first, bold=True), rule, *rest, "")))


def _terminal() -> int:
    import shutil

    return shutil.get_terminal_size().columns


def _padded(cell: str, width: int) -> str:
    return cell.ljust(width) if cell.isascii() else cell + " " * (width - _cells(cell))


def _cells(text: str) -> int:
    """Columns of a terminal that a text takes."""
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def _line() -> str:
    utf = (sys.stdout.encoding or "").lower().startswith("utf")
    return "\N{BOX DRAWINGS LIGHT HORIZONTAL}" if utf else "-"


def _width(columns: Iterable[int]) -> int:
    return sum(wide + _GAP for wide in columns) - _GAP + _EDGES


def _fold(rows: list[list[str]], whole: Collection[str], width: int) -> None:
    """A table that is too wide, its cells broken over lines."""
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    made = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in rows[0]:
        made.add_column(name, overflow="fold", no_wrap=name in whole)
    for row in rows[1:]:
        made.add_row(*map(Text, row))
    Console(highlight=False, markup=False, emoji=False, width=width).print(made)


def _fitting(
    head: Sequence[str], wide: Sequence[int], spare: Sequence[str], width: int
) -> list[int]:
    """The numbers of the columns that are shown."""
    kept = list(range(len(head)))
    for name in spare:
        if _width(wide[at] for at in kept) <= width:
            break
        kept.remove(head.index(name))
    return kept


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


def length(seconds: float | None) -> str:
    """A take's length to a tenth of a second."""
    if seconds is None:
        return ""
    minutes, tenths = divmod(round(seconds * 10), 600)
    hours, minutes = divmod(minutes, 60)
    words = f"{hours} h " if hours else ""
    words += f"{minutes} min " if hours or minutes else ""
    return f"{words}{tenths / 10:.1f} s"


def count(number: int, thing: str) -> str:
    """`1 file`, `2 files`."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
