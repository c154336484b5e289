"""The file names in a table of text: a sound report, whatever wrote it.

There is no standard for sound reports: a table in CSV (RFC 4180) or in another mark's columns, in
UTF-8, UTF-16, or Latin-1; titles may stand above the head and totals below. So the cells decide: a
column in which audio files are named, else one whose head says that it names files. Nothing of it
is executed or expanded, and its size is bounded.
"""

from __future__ import annotations

import csv
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass

SIZE_CAP = 1 << 20
"""Bytes of a table that is looked into: 2,000 recordings with a column for each of 24 tracks."""
ROWS_CAP = 20_000
NAMES_CAP = 10_000
NAME_CAP = 255

AUDIO = (".wav", ".bwf", ".rf64", ".w64", ".flac", ".mp3", ".aif", ".aiff")
MARKS = (",", ";", "\t", "|", "")  # the last: columns that blanks keep apart
COLUMNS_CAP = 512
_BLANKS = re.compile(r"\t| {2,}")
_BINARY = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
# What the head of such a column is called, blanks and marks left out.
HEADS = frozenset(
    {
        *("file", "files", "filename", "filenames", "nameoffile", "clip", "clipname"),
        *("datei", "dateiname", "fichier", "nomdufichier", "archivo", "nomefile"),
    }
)
_NOT_A_LETTER = re.compile(r"[\W\d_]+")
_MANY = re.compile(r"[;,\n]")


@dataclass(frozen=True, slots=True)
class Listing:
    """The names of files that a table lists, each once, in order.

    At most `NAMES_CAP` names of up to `NAME_CAP` characters, as they stand there: with or without
    path and ending. Where some have the ending of audio, what has none may be a total or the like.
    `loose` says that no mark sets them apart from what else stands in their lines: then one with
    blanks in it may be a sentence that ends in a name.
    """

    names: tuple[str, ...]
    loose: bool


def listing(raw: bytes) -> Listing | None:
    """What a table lists; None where it is no such table."""
    text = _text(raw) if len(raw) <= SIZE_CAP else None
    if text is None:
        return None
    lines = [line for line in text.split("\n") if line.strip()][:ROWS_CAP]
    marks = [mark for mark in MARKS if mark in text]
    tables = [(mark, _cells(_quoted(lines, mark))) for mark in marks]
    found = _best(_audio_names(rows, mark) for mark, rows in tables)
    if '"' in text:  # one that is never closed hides what follows
        plain = _best(_audio_names(_cells(_split(lines, mark)), mark) for mark in marks)
        found = max(found, plain, key=_count)
    named = found.names or max((_headed_names(rows) for _, rows in tables), key=len)
    names = tuple(dict.fromkeys(name for name in named if len(name) <= NAME_CAP))[:NAMES_CAP]
    return Listing(names, found.loose) if names else None


def names_audio(name: str) -> bool:
    """Whether it has the ending of an audio file."""
    return name.lower().endswith(AUDIO)


def is_text(raw: bytes) -> bool:
    """Whether a file that begins so may be text."""
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
    return [[cell.strip().strip('"').strip() for cell in row[:COLUMNS_CAP]] for row in rows]


def _best(found: Iterable[Listing]) -> Listing:
    """The most names, and of as many the shortest: a wrong mark leaves other cells in them."""
    return max(found, key=lambda one: (_count(one), -sum(map(len, filter(names_audio, one.names)))))


def _count(one: Listing) -> int:
    return sum(map(names_audio, one.names))


def _audio_names(rows: Iterable[Sequence[str]], mark: str) -> Listing:
    """What stands in the columns that name audio files; a remark that ends in a name is none.

    In such a column half of the cells are names of audio, from the first one on, and half as many
    as in the best column: the files of a set may have a column each. A few without ending are
    taken along. Blanks set no names apart, nor does a mark that most of their lines are without.
    """
    names: dict[int, list[str]] = defaultdict(list)
    hits: Counter[int] = Counter()
    filled: Counter[int] = Counter()
    alone: Counter[int] = Counter()
    for row in rows:
        several = sum(map(bool, row)) > 1
        for at, cell in enumerate(row):
            audio = names_audio(cell)
            if audio or (cell and at in names):
                names[at] += _in_cell(cell)
                hits[at] += audio
                filled[at] += 1
                alone[at] += not several
    best = max(hits.values(), default=0)
    kept = [at for at in sorted(names) if 2 * hits[at] >= max(filled[at], best)]
    loose = not mark or 2 * sum(alone[at] for at in kept) > sum(filled[at] for at in kept)
    return Listing(tuple(name for at in kept for name in names[at]), loose)


def _in_cell(cell: str) -> list[str]:
    """The files that a cell names: one, or several with a mark between them."""
    several = [one.strip() for one in _MANY.split(cell)]
    return several if all(map(names_audio, several)) else [cell]


def _headed_names(rows: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """What stands below a head that says that it names files.

    A head comes again on each page. In a row of totals, or with a page's number, less than half as
    much stands as in the head's.
    """
    for number, row in enumerate(rows):
        for at, cell in enumerate(row):
            if _is_head(cell):
                least = sum(map(bool, row)) / 2
                under = (below for below in rows[number + 1 :] if at < len(below) and below[at])
                full = (below[at] for below in under if sum(map(bool, below)) >= least)
                return tuple(name for name in full if not _is_head(name))
    return ()


def _is_head(cell: str) -> bool:
    return _NOT_A_LETTER.sub("", cell[:NAME_CAP]).casefold() in HEADS
