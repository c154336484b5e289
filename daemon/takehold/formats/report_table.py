"""The file names in a table of text: a sound report, whatever wrote it.

There is no standard for sound reports: a table in CSV (RFC 4180) or in another mark's columns, in
UTF-8, UTF-16, or Latin-1; titles may stand above the head and totals below. So the cells decide: a
column in which audio files are named, else one whose head says that it names files. What stands in
the other columns is told beside it: whoever knows the card sees in which its files are named.
Nothing of it is executed or expanded, and its size is bounded.
"""

from __future__ import annotations

import csv
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import NamedTuple

SIZE_CAP = 1 << 20
"""Bytes of a table that is looked into: 2,000 recordings with a column for each of 24 tracks."""
ROWS_CAP = 20_000
NAMES_CAP = 10_000
NAME_CAP = 255

AUDIO = (".wav", ".bwf", ".rf64", ".w64", ".flac", ".mp3", ".aif", ".aiff")
LOSSY = frozenset({".mp3"})
_SAME = {".bwf": ".wav", ".rf64": ".wav", ".w64": ".wav", ".aiff": ".aif"}
MARKS = (",", ";", "\t", "|", "")  # the last: columns that blanks keep apart
COLUMNS_CAP = 512
_BLANKS = re.compile(r"\t| {2,}")
_JSON = re.compile(r'\s*[{\[]\s*["{\[]')  # RFC 8259: objects and lists, no rows
_BINARY = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
_END = b"\x1a"  # with which some programs end a file of text (from memory, no source)
# What the head of such a column is called, blanks and marks left out.
HEADS = frozenset(
    {
        *("file", "files", "filename", "filenames", "nameoffile", "clip", "clipname"),
        *("datei", "dateiname", "fichier", "nomdufichier", "archivo", "nomefile"),
    }
)
_NOT_A_LETTER = re.compile(r"[\W\d_]+")
# How many files there are, as `4 files` or `Files: 4`; `File 1` is a head.
_COUNT = re.compile(r"[0-9][\W_]*[^\W\d_]|[:=,;|\t]\s*[0-9]")
_MANY = re.compile(r"[;,\n]|\s[/+&]\s")
# Marks around a name, as for a circled take: signs, and words without a digit in brackets. It is
# the same from either end.
_MARKS = re.compile(r"(?:[()\[\]][^()\[\]\d]*[()\[\]]|[^\w/\\.()\[\]])*")
# Signs behind an ending, but for those that part cells, or make a remark of it.
_SIGNS = re.compile(r"[^\w.()\[\]\"<>?|:;,]*")


class Listing(NamedTuple):
    """The names of files that a table lists, each once, in order.

    At most `NAMES_CAP` names of up to `NAME_CAP` characters, as they stand there: with or without
    path and ending. Where some have the ending of audio, what has none may be a total or the like.
    `names` are those of one column, () where nothing of the table says that it has any; `besides`
    are other columns, which may hold them instead, or those of a set's other files. `loose` says
    that no mark sets them apart from what else stands in their lines: then one with blanks in it
    may be a sentence that ends in a name.
    """

    names: tuple[str, ...]
    loose: bool
    besides: tuple[tuple[str, ...], ...] = ()


def listing(raw: bytes) -> Listing | None:
    """What a table lists; None where it is no such table."""
    text = _text(raw) if len(raw) <= SIZE_CAP else None
    if text is None or _JSON.match(text):
        return None
    lines = [line for line in text.split("\n") if line.strip()][:ROWS_CAP]
    marks = [mark for mark in MARKS if mark in text]
    best = _best(_table(_cells(_quoted(lines, mark)), mark) for mark in marks)
    if '"' in text:  # one that is never closed hides what follows
        plain = _best(_table(_cells(_split(lines, mark)), mark) for mark in marks)
        best = max(best, plain, key=_Table.count)
    names, *besides = _bounded(best.columns())
    return Listing(names, best.loose, tuple(besides)) if names or besides else None


def _bounded(columns: Iterable[Iterable[str]]) -> Iterator[tuple[str, ...]]:
    """The first column, and what of the others has room."""
    left = NAMES_CAP
    for number, column in enumerate(columns):
        names = tuple(dict.fromkeys(n for n in column if len(n) <= NAME_CAP))[:left]
        left -= len(names) if number else 0
        if names or not number:
            yield names


def names_audio(name: str) -> bool:
    """Whether it has the ending of an audio file."""
    return name.lower().endswith(AUDIO)


def audio_kind(name: str) -> str:
    """The ending of an audio file, one for all that hold the same; "" if it has none."""
    ending = next((ending for ending in AUDIO if name.lower().endswith(ending)), "")
    return _SAME.get(ending, ending)


def unmarked(name: str) -> str:
    """What is left of a cell without the marks around it, as `*` or ` (circled)`; all if nothing.

    Whether that is the name, or the rest a part of it, or a remark, the card tells.
    """
    left = name[_run(_MARKS, name) : len(name) - _run(_MARKS, name[::-1])]
    return left or name


def is_text(raw: bytes) -> bool:
    """Whether a file that begins so may be text."""
    raw = raw.rstrip(_END)
    wide = _wide(raw)
    return not _BINARY.search(raw.decode(wide or "latin-1", "replace"))


def _wide(raw: bytes) -> str:
    """Which UTF-16 it is in: by its mark, else by where its NULs are; "" where it is in none.

    Every second byte of what a table has most of, as digits, marks and line ends, is NUL.
    """
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    first, second = raw[::2].count(0), raw[1::2].count(0)
    if not raw or (first and second) or 8 * (first + second) < len(raw):
        return ""
    return "utf-16-be" if first else "utf-16-le"


def _text(raw: bytes) -> str | None:
    """Decoded as UTF-16 where that shows, else as UTF-8, else as Latin-1; None if it is no text."""
    raw = raw.rstrip(_END)
    wide = _wide(raw)
    for encoding in (wide,) if wide else ("utf-8-sig", "latin-1"):
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            continue
        return None if _BINARY.search(text) else re.sub(r"\r\n?", "\n", text)
    return None


def _quoted(lines: list[str], mark: str) -> Iterable[list[str]]:
    """The rows of lines in which quotes may hold marks and line ends (RFC 4180)."""
    if mark:
        with suppress(csv.Error):  # a field beyond what the reader takes
            return [*csv.reader((f"{line}\n" for line in lines), delimiter=mark)]
    return _split(lines, mark)


def _split(lines: list[str], mark: str) -> Iterable[list[str]]:
    """The rows of lines in which quotes are letters."""
    return (line.split(mark) if mark else _BLANKS.split(line.strip()) for line in lines)


def _cells(rows: Iterable[list[str]]) -> list[list[str]]:
    return [[_bare(cell) for cell in row[:COLUMNS_CAP]] for row in rows]


def _bare(cell: str) -> str:
    """Without quotes, nor the sign by which spreadsheets take a cell as text: `="name"`.

    Nor with signs behind the ending of audio: they are of no name.
    """
    cell = cell.strip().removeprefix('="').strip('"').strip()
    if cell[-1:].isalnum():
        return cell
    plain = cell[: len(cell) - _run(_SIGNS, cell[::-1])]
    return plain if names_audio(plain) else cell


def _run(pattern: re.Pattern[str], text: str) -> int:
    """How much of a text's beginning is of that kind."""
    found = pattern.match(text)
    return found.end() if found else 0


@dataclass(frozen=True, slots=True)
class _Table:
    """Columns that name audio files, those whose head says that they name files, and others."""

    audio: list[list[str]]
    headed: list[list[str]]
    others: list[list[str]]
    loose: bool

    def count(self) -> int:
        """How many names have the ending of audio."""
        return sum(names_audio(name) for column in self.audio for name in column)

    def worth(self) -> tuple[int, ...]:
        """The most names, and of as many the shortest: a wrong mark leaves other cells in them.

        Without endings the most below a head, else the most cells.
        """
        length = sum(len(n) for column in self.audio for n in column if names_audio(n))
        headed, others = (sum(map(len, its)) for its in (self.headed, self.others))
        return self.count(), -length, headed, others

    def columns(self) -> list[list[str]]:
        """First that of the names, empty where nothing says that it is one."""
        audio = sorted(self.audio, key=len, reverse=True)
        headed = sorted(self.headed, key=len, reverse=True)
        return [*([] if audio or headed else [[]]), *audio, *headed, *self.others]


def _best(tables: Iterable[_Table]) -> _Table:
    return max(tables, key=_Table.worth)


def _table(rows: Sequence[Sequence[str]], mark: str) -> _Table:
    """The columns; those in which a remark or two end in the name of a file are no others."""
    audio, loose = _audio_columns(rows, mark)
    headed, others = _text_columns(rows)
    rest = (o for at, o in others.items() if at not in audio and not any(map(names_audio, o)))
    below = (names for at, names in headed.items() if at not in audio)
    return _Table(list(audio.values()), list(below), list(rest), loose)


def _audio_columns(rows: Iterable[Sequence[str]], mark: str) -> tuple[dict[int, list[str]], bool]:
    """What stands in the columns that name audio files; a remark that ends in a name is none.

    In such a column half of the cells are names of audio, from the first one on, and half as many
    as in the best column: the files of a set may have a column each. A few without ending are
    taken along. And whether they are loose: blanks set no names apart, nor does a mark that most of
    their lines are without.
    """
    names: dict[int, list[str]] = defaultdict(list)
    hits: Counter[int] = Counter()
    filled: Counter[int] = Counter()
    alone: Counter[int] = Counter()
    for row in rows:
        several = _several(row)
        for at, cell in enumerate(row):
            audio = _is_name(cell)
            if audio or (cell and at in names):
                names[at] += _in_cell(cell)
                hits[at] += audio
                filled[at] += 1
                alone[at] += not several
    best = max(hits.values(), default=0)
    kept = [at for at in sorted(names) if 2 * hits[at] >= max(filled[at], best)]
    loose = not mark or 2 * sum(alone[at] for at in kept) > sum(filled[at] for at in kept)
    return {at: names[at] for at in kept}, loose


def _several(row: Sequence[str]) -> bool:
    return sum(map(bool, row)) > 1


def _in_cell(cell: str) -> list[str]:
    """The files that a cell names: one, or several with a mark between them."""
    parted = [_bare(one) for one in _MANY.split(cell)], cell.split()
    several = (names for names in parted if len(names) > 1 and all(map(_is_name, names)))
    return next(several, [cell])


def _is_name(cell: str) -> bool:
    """Whether it has the ending of audio, with marks or without."""
    return names_audio(cell) or (not cell[-1:].isalnum() and names_audio(unmarked(cell)))


def _text_columns(
    rows: Sequence[Sequence[str]],
) -> tuple[dict[int, list[str]], dict[int, list[str]]]:
    """What stands below the heads that say that they name files, and in the other columns.

    A head comes again on each page. What stands above it is a column by itself: titles, or, if what
    looks like a head is the word beside a total, the names. What stands alone in its row, beside
    rows of several cells, is a title, a total or a page's number.
    """
    several = [row for row in rows if _several(row)]
    tabular = 2 * len(several) > len(rows)
    columns: dict[int, list[str]] = defaultdict(list)
    above: dict[int, list[str]] = {}
    for row in several if tabular else rows:
        for at, cell in enumerate(row):
            if not _is_head(cell):
                columns[at] += [cell] if cell else []
            elif at not in above:
                above[at] = columns.pop(at, [])
    headed = {at: columns.pop(at) for at in sorted(above) if columns.get(at)}
    others = columns | above
    rest = {at: others[at] for at in sorted(others) if others[at]}
    return headed, rest if tabular else {}


def _is_head(cell: str) -> bool:
    cell = cell[:NAME_CAP]
    return _NOT_A_LETTER.sub("", cell).casefold() in HEADS and not _COUNT.search(cell)
