"""A table of any bytes: reading it never fails, and what comes back is bounded."""

from __future__ import annotations

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

from takehold.formats.report_table import NAME_CAP, NAMES_CAP, listing


def names_listed(raw: bytes) -> tuple[str, ...] | None:
    found = listing(raw)
    return tuple(n for column in (found.names, *found.besides) for n in column) if found else None


PIECES = st.sampled_from(
    ["a.wav", "B 1.WAV", ".wav", "File", '"', '""', ",", ";", "\t", "|", "  ", "\n", "\r", "\r\n",
     "é", "\u2028", "\x85", "\x0c", "\ud7ff", "=1+1", "\\", "/", "x" * 300]
)  # fmt: skip
ENCODINGS = st.sampled_from(["utf-8", "utf-16", "utf-8-sig", "utf-16-be", "utf-16-le"])
NAME = st.text(
    st.characters(exclude_categories=("C", "Z"), exclude_characters="\"';,|\t"), min_size=1,
    max_size=40,
)  # fmt: skip


def bounded(raw: bytes) -> bool:
    found = listing(raw)
    if found is None:
        return True
    columns = (found.names, *found.besides)
    fits = len(found.names) <= NAMES_CAP and sum(map(len, found.besides)) <= NAMES_CAP
    once = all(len(set(column)) == len(column) for column in columns)
    return fits and once and all(0 < len(n) <= NAME_CAP for column in columns for n in column)


@given(st.binary(max_size=3000))
def test_any_bytes(raw: bytes):
    assert bounded(raw)


@given(st.lists(PIECES, max_size=200), ENCODINGS)
def test_any_pieces_of_tables(pieces: list[str], encoding: str):
    assert bounded("".join(pieces).encode(encoding))


@given(
    st.lists(NAME, min_size=1, max_size=20, unique=True),
    st.sampled_from([",", ";", "\t", "|"]),
    st.integers(0, 3),
    st.lists(st.text(st.characters(codec="ascii", exclude_categories=("C",)), max_size=30)),
    st.booleans(),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),  # Python's UTF-16 begins with its mark
)
def test_what_pythons_csv_writes_is_read_back(
    stems: list[str], mark: str, column: int, notes: list[str], head: bool, encoding: str
):
    """Every name, from every column, whatever notes stand beside it (Python's csv module)."""
    names = [f"{stem}.wav" for stem in stems]
    paper = io.StringIO()
    rows = csv.writer(paper, delimiter=mark, quoting=csv.QUOTE_ALL)
    if head:
        rows.writerow(["A", "B", "C", "D"])
    for number, name in enumerate(names):
        cells = [str(number), "10:00:00:00", notes[number] if number < len(notes) else ""]
        rows.writerow([*cells[:column], name, *cells[column:]])
    assert set(names_listed(paper.getvalue().encode(encoding)) or ()) >= set(names)
