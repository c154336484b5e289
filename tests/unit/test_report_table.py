"""The file names in a table of text, whatever wrote it."""

from __future__ import annotations

import codecs

import pytest

from takehold.formats.describe import describe
from takehold.formats.report_table import (
    NAME_CAP,
    NAMES_CAP,
    ROWS_CAP,
    SIZE_CAP,
    listing,
    unmarked,
)
from takehold.model.sound import Description, Kind

HEAD = ["Scene", "Take", "File", "Note"]
ROWS = [["1", "1", "S01T01.WAV", ""], ["1", "2", "S01T02.WAV", "plane"]]
NAMES = ("S01T01.WAV", "S01T02.WAV")


def names_listed(raw: bytes) -> tuple[str, ...] | None:
    found = listing(raw)
    return (found.names or None) if found else None


def columns(raw: bytes) -> tuple[tuple[str, ...], ...]:
    """The names, and the other columns that may hold them."""
    found = listing(raw)
    return (found.names, *found.besides) if found else ()


def table(mark: str = ",", rows: list[list[str]] = [HEAD, *ROWS], end: str = "\r\n") -> str:
    return "".join(mark.join(row) + end for row in rows)


@pytest.mark.parametrize(
    "text",
    [
        '{"files": ["S01T01.WAV", "S01T02.WAV",\n"S01T03.WAV"]}',
        '[\n  "S01T01.WAV",\n  "S01T02.WAV"\n]',
        '[{"file": "S01T01.WAV"},\n{"file":\n"S01T02.WAV"}]',
    ],
)
def test_what_a_program_keeps_is_no_table(text: str):
    """RFC 8259: of its lines only some would be taken for names."""
    assert listing(text.encode()) is None
    assert names_listed(b"[1] File\nS01T01.WAV\nS01T02.WAV\n") is not None


@pytest.mark.parametrize("mark", [",", ";", "\t", "|", "   ", " | "])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_columns_may_be_parted_by_any_mark(mark: str, end: str):
    assert names_listed(table(mark, end=end).encode()) == NAMES


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_the_name_may_be_the_last_cell(mark: str):
    """A wrong mark leaves the cells before it in the name, and is not taken."""
    rows = [["1", "10,5", "3,25", *NAMES[:1]], ["2", "11,5", "4", *NAMES[1:]]]
    quoted = [[f'"{cell}"' if mark == "," else cell for cell in row] for row in rows]
    assert names_listed(table(mark, quoted).encode()) == NAMES


@pytest.mark.parametrize(
    ("encoding", "bom"),
    [
        ("utf-8", b""),
        ("utf-8", codecs.BOM_UTF8),
        ("utf-16-le", codecs.BOM_UTF16_LE),
        ("utf-16-be", codecs.BOM_UTF16_BE),
        ("utf-16-le", b""),
        ("utf-16-be", b""),
        ("latin-1", b""),
    ],
)
def test_encodings(encoding: str, bom: bytes):
    text = table(rows=[HEAD, ["1", "1", "Hühnerhof.wav", "Größe"]])
    assert names_listed(bom + text.encode(encoding)) == ("Hühnerhof.wav",)


def test_utf_16_without_its_mark_is_seen_in_the_first_bytes():
    """Where every second byte of a glance is NUL, whatever letters stand between."""
    text = table(rows=[HEAD, ["1", "1", "Łódź 世界.wav", "Größe"], *ROWS])
    for encoding in ("utf-16-le", "utf-16-be"):
        said, _ = described(text.encode(encoding))
        assert (said.kind, said.listed) == (Kind.OTHER, ("Łódź 世界.wav", *NAMES))
    assert names_listed(text.encode("utf-16-le") + b"x") is None
    assert names_listed(b"\0" + text.encode()) is None
    assert names_listed(text.encode() + b"\0") is None


LOG = "10:00 start T01.WAV\n10:01 start T02.WAV\n"


@pytest.mark.parametrize(
    ("text", "loose"),
    [
        (LOG, True),
        (f"Log of the day, by x\n{LOG}", True),
        (LOG.replace(" ", "  ", 1), True),
        ("T01.WAV\nT02.WAV\n", True),
        (table(), False),
        (table("\t"), False),
        (table("  "), True),
        ("T01.WAV;\nT02.WAV;plane\nT03.WAV;dog\n", False),
    ],
)
def test_whether_a_mark_sets_the_names_apart(text: str, loose: bool):
    """Where none does, a line of a log is all that stands there."""
    found = listing(text.encode())
    assert found is not None
    assert found.loose == loose
    said, _ = described(text.encode())
    told = Description(Kind.OTHER, listed=found.names, loosely=loose, besides=found.besides)
    assert said == told


def test_titles_above_the_head_and_totals_below():
    text = "Sound report\nProduction:,Lantern Bay\nMixer:,x\n\n" + table() + "\nTotal,2 files,,\n"
    assert names_listed(text.encode()) == NAMES


def test_a_few_without_ending_are_taken_along():
    """A total in that column as well: whoever compares knows that it need not be a name."""
    rows = [HEAD, *ROWS, ["1", "3", "S01T03", ""], ["", "", "3 files", ""]]
    assert names_listed(table(rows=rows).encode()) == (*NAMES, "S01T03", "3 files")


def test_a_table_without_a_head():
    assert names_listed(table(rows=ROWS).encode()) == NAMES


def test_a_plain_list_of_names():
    assert names_listed(b"S01T01.WAV\nS01T02.WAV\n") == NAMES
    assert names_listed(b"S01T01.WAV") == NAMES[:1]


def test_a_list_of_checksums():
    """As sha256sum writes it (GNU coreutils): hex, two blanks, the name."""
    text = "".join(f"{'ab' * 32}  {name}\n" for name in NAMES)
    assert names_listed(text.encode()) == NAMES


def test_a_column_for_each_file_of_a_set():
    rows = [["Take", "Track 1", "Track 2"], ["1", "a_1.wav", "a_2.wav"], ["2", "b_1.wav", ""]]
    assert columns(table(rows=rows).encode())[:2] == (("a_1.wav", "b_1.wav"), ("a_2.wav",))


def test_the_columns_that_may_hold_the_names_instead():
    """Which of them does, the card decides: names of before, two heads, a head nobody knows."""
    rows = [["Old name", "File", "Scene", "Notes"], ["a.wav", "b.wav", "1", "dog"],
            ["c.wav", "d.wav", "2", ""]]  # fmt: skip
    two = columns(table(rows=rows).encode())
    assert two[:2] == (("a.wav", "c.wav"), ("b.wav", "d.wav"))
    assert two[2:] == (("Scene", "1", "2"), ("Notes", "dog"))
    rows = [["File", "Scene", "File name"], ["1", "7", "S7T1"], ["2", "7", "S7T2"]]
    assert columns(table(rows=rows).encode()) == (("1", "2"), ("S7T1", "S7T2"), ("Scene", "7"))
    rows = [["Scene", "Sound"], ["7", "S7T1"], ["7", "S7T2"]]
    assert columns(table(rows=rows).encode()) == ((), ("Scene", "7"), ("Sound", "S7T1", "S7T2"))
    assert columns(b"key = value\nother = 3\n") == ()


def test_a_remark_that_is_a_name_is_in_no_column():
    rows = [["File", "Note"], ["a.wav", ""], ["b.wav", "a.wav"], ["c.wav", "dog"], ["d.wav", ""]]
    assert columns(table(rows=rows).encode()) == (("a.wav", "b.wav", "c.wav", "d.wav"),)


def test_a_cell_that_a_spreadsheet_keeps_as_text():
    """From memory of what spreadsheets save, no source: ="01" keeps the nought."""
    assert names_listed(b'File,Scene\n="S1T1.WAV",1\n"=""S1T2.WAV""",="01"\n') == (
        *("S1T1.WAV", "S1T2.WAV"),
    )


@pytest.mark.parametrize("end", [b"\x1a", b"\r\n\x1a", b"\x1a" * 40])
def test_a_text_that_ends_in_its_own_mark(end: bytes):
    """Control-Z, by which CP/M and DOS ended a text (from memory, no source)."""
    assert names_listed(table().encode() + end) == NAMES
    said, _ = described(table().encode() + end)
    assert said.listed == NAMES
    assert names_listed(b"a\x1ab.wav\n") is None


def test_a_take_with_few_tracks_is_one_below_a_head_of_many():
    """Only what stands alone in its row is a title, a total or a page's number."""
    head = ["File name", *(f"Track {n}" for n in range(1, 13))]
    rows = [["Lantern Bay"], head, ["S1T1", "Boom"], ["S1T2", "Boom", "Anna"], ["Page 1 of 1"]]
    assert names_listed(table(rows=rows).encode()) == ("S1T1", "S1T2")


def test_several_files_in_one_cell():
    assert names_listed(b'1,"a_1.wav; a_2.wav"\n2,"b_1.wav\nb_2.wav"\n') == (
        *("a_1.wav", "a_2.wav"),
        *("b_1.wav", "b_2.wav"),
    )


@pytest.mark.parametrize("between", [" / ", " + ", " & ", " "])
def test_a_cell_with_the_files_of_a_set(between: str):
    text = f"1|a_1.wav{between}a_2.wav\n2|b_1.wav{between}b_2.wav\n"
    assert names_listed(text.encode()) == ("a_1.wav", "a_2.wav", "b_1.wav", "b_2.wav")


@pytest.mark.parametrize("cell", ["c.wav instead of a.wav", "x.wav/a.wav", "see a.wav b.wav"])
def test_a_remark_or_a_path_is_not_taken_apart(cell: str):
    assert names_listed(f"1|b.wav\n2|{cell}\n".encode()) == ("b.wav", cell)


def test_quoted_cells_hold_marks_lines_and_quotes():
    text = '"File";"Note"\n"S1; T1.wav";"he said ""go"";\nthen\nplane"\n"S1T2.wav";""\n'
    assert names_listed(text.encode()) == ("S1; T1.wav", "S1T2.wav")


def test_a_quote_that_is_never_closed_hides_nothing():
    text = 'File,Note\nS01T01.WAV,5" from the door\nS01T02.WAV,"left open\nS01T03.WAV,\n'
    assert names_listed(text.encode()) == (*NAMES, "S01T03.WAV")
    text = 'File,Note\nS01T01.WAV,"left open\nS01T02.WAV,\n'
    assert names_listed(text.encode()) == NAMES


def test_a_remark_that_ends_in_a_name_is_no_name():
    rows = [HEAD, ["1", "1", "a.wav", ""], ["1", "2", "b.wav", "instead of a.wav"],
            ["1", "3", "c.wav", "plane"], ["1", "4", "d.wav", "dog"]]  # fmt: skip
    assert names_listed(table(rows=rows).encode()) == ("a.wav", "b.wav", "c.wav", "d.wav")


@pytest.mark.parametrize("head", ["File", "FILE NAME", "file_name:", "Filename", "Clip Name"])
def test_names_without_ending_need_a_head(head: str):
    rows = [["Scene", head, "Note"], ["1", "S01T01", ""], ["1", "S01T02", "plane"]]
    assert names_listed(table(rows=rows).encode()) == ("S01T01", "S01T02")
    assert names_listed(table(rows=rows[1:]).encode()) is None


def test_many_blanks_in_a_cell_cost_no_time():
    """1 MiB of them in front of a name: a search that began at each would take hours."""
    raw = b"file,x\na" + b" " * (SIZE_CAP - 32) + b"b.wav,1\nc.wav,2\n"
    assert names_listed(raw) == ("c.wav",)


def test_pages_are_no_names_below_a_head():
    """Nor is the head that is printed again there; a take without scene or note is one."""
    head = ["Scene", "Take", "File Name", "Note"]
    rows = [head, ["1", "1", "S01T01", ""], ["", "2", "S01T02", ""], ["", "", "Page 2 of 2", ""],
            head, ["1", "3", "S01T03", "dog"], ["", "", "Total files", ""]]  # fmt: skip
    assert names_listed(table(rows=rows).encode()) == ("S01T01", "S01T02", "S01T03")


@pytest.mark.parametrize("total", ["4 files", "Files: 4", "4 Files", "files = 4", "(4 files)"])
def test_a_count_of_files_is_no_head(total: str):
    """Beside the word Total, in the names' own column, whose head nobody knows."""
    rows = [["No.", "Name"], ["1", "S1T1"], ["2", "S1T2"], ["Total", total], ["Mixer", "x"]]
    names = ("Name", "S1T1", "S1T2", total, "x")
    assert names in columns(table(rows=rows).encode())
    rows[0][1] = "File"
    assert names_listed(table(rows=rows).encode()) == names[1:]


@pytest.mark.parametrize("head", ["File 1", "FILE_1", "File #1"])
def test_a_head_may_have_a_number(head: str):
    rows = [["Scene", head], ["1", "S1T1"], ["1", "S1T2"]]
    assert names_listed(table(rows=rows).encode()) == ("S1T1", "S1T2")


def test_what_stands_above_a_head_is_a_column_by_itself():
    """The word beside a total, as `Files`, takes none of the names away; titles are few."""
    rows = [["Name", "Scene"], ["S1T1", "1"], ["S1T2", "1"], ["Files", "2"], ["Signed", "x"]]
    found = columns(table(rows=rows).encode())
    assert (found[0], found[1]) == (("Signed",), ("Name", "S1T1", "S1T2"))
    rows = [["Name", "Scene", "Take"], ["S1T1", "1", "1"], ["Files", "1", ""], ["", "x", "y"]]
    assert columns(table(rows=rows).encode())[:2] == ((), ("Name", "S1T1"))
    rows = [["Mixer", "x"], ["Scene", "File"], ["1", "S1T1"], ["1", "S1T2"]]
    assert columns(table(rows=rows).encode())[0] == ("S1T1", "S1T2")


@pytest.mark.parametrize("sign", ["*", " *", "+", " @", "!", " \u2713", "\u25cf"])
def test_a_sign_behind_an_ending_is_no_part_of_the_name(sign: str):
    """A circled take's, in the first row or all of them, or of several in a cell."""
    assert names_listed(f"File,x\na.wav{sign},1\nb.wav,2\n".encode()) == ("a.wav", "b.wav")
    assert names_listed(f"a.wav{sign};1\nb.wav{sign};2\n".encode()) == ("a.wav", "b.wav")
    assert names_listed(f"a.wav{sign} / b.wav,1\n".encode()) == ("a.wav", "b.wav")


@pytest.mark.parametrize("mark", ["?", " (circled)", " [keep] *"])
def test_a_mark_that_may_tell_more_is_left(mark: str):
    """It begins the column of the names all the same."""
    raw = f"No.,Name\n1,a.wav{mark}\n2,b.wav\n".encode()
    assert names_listed(raw) == (f"a.wav{mark}", "b.wav")


@pytest.mark.parametrize(
    ("cell", "left"),
    [
        ("a.wav (circled)", "a.wav"),
        ("* a.wav", "a.wav"),
        ("(C) a [keep] !", "a"),
        ("@\\d\\a.wav", "\\d\\a.wav"),
        ("a (2)", "a (2)"),
        ("a_", "a_"),
        ("../a.wav", "../a.wav"),
        ("(circled)", "(circled)"),
        ("---", "---"),
        ("", ""),
    ],
)
def test_what_is_left_without_marks(cell: str, left: str):
    """Signs, and words in brackets; a number in them is a copy's (as of macOS, from memory)."""
    assert unmarked(cell) == left


@pytest.mark.parametrize("text", ["(" * 250, "()" * 120 + "x", "[(" * 120, "*" * 250 + "(x"])
def test_many_marks_cost_no_time(text: str):
    raw = "".join(f"{text}{n}.wav{text};x\n" for n in range(1000)).encode()
    assert listing(raw) is None or len(columns(raw)[0]) <= 1000
    assert len(unmarked(text)) <= len(text)


@pytest.mark.parametrize("ending", ["wav", "WAV", "bwf", "rf64", "w64", "flac", "mp3", "aif"])
def test_the_endings_of_audio(ending: str):
    assert names_listed(f"1;a.{ending};x\n".encode()) == (f"a.{ending}",)


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\n\n\n",
        b"Nothing of the kind.\n",
        b"key = value\nother = 3\n",
        b"a.wav\0b.wav",
        b"RIFF\x10\0\0\0WAVEa.wav\n",
        b"\x1b[2Ja.wav\n",
        codecs.BOM_UTF16_LE + b"a",
        codecs.BOM_UTF16_LE + b"\x00\xd8a\x00",
        b"<html><td>a.wav</td></html>",
    ],
)
def test_what_is_no_such_table(raw: bytes):
    assert names_listed(raw) is None


def test_formulas_and_entities_are_letters():
    """Nothing is computed, fetched or expanded."""
    rows = [["=HYPERLINK(1).wav"], ["&lol;.wav"], ["$(id).wav"], ["../../etc/x.wav"]]
    assert names_listed(table(rows=rows).encode()) == tuple(row[0] for row in rows)


def test_each_name_once_and_not_more_than_the_caps():
    assert names_listed(b"a.wav\na.wav\n") == ("a.wav",)
    many = "".join(f"{n}.wav\n" for n in range(NAMES_CAP + 5)).encode()
    assert len(names_listed(many) or ()) == NAMES_CAP
    assert names_listed(b"x" * NAME_CAP + b".wav\n" + b"a.wav\n") == ("a.wav",)
    assert names_listed(b"x,y\n" * ROWS_CAP + b"a.wav,1\n") is None
    assert names_listed(b"a.wav\n" + b" " * SIZE_CAP) is None


def test_a_field_beyond_what_a_reader_takes():
    """Python's csv module refuses fields over 131,072 characters."""
    text = f'a.wav,"{"x" * 200_000}"\nb.wav,""\n'
    assert names_listed(text.encode()) == ("a.wav", "b.wav")


def described(raw: bytes, size: int | None = None) -> tuple[Description, list[int]]:
    """What describing says, and how much each look asked for."""
    asked: list[int] = []

    def read(offset: int, length: int) -> bytes:
        asked.append(length)
        return raw[offset : offset + length]

    return describe(read, len(raw) if size is None else size), asked


def test_describing_finds_the_list_by_the_content():
    """The kind stays what it is: no audio."""
    said, _ = described(table().encode())
    assert (said.kind, said.listed) == (Kind.OTHER, NAMES)


def test_a_long_file_and_one_that_is_no_text_are_not_read():
    said, asked = described(b"\x89PNG\r\n\x1a\n" + bytes(900_000))
    assert said == Description(Kind.OTHER)
    assert sum(asked) < 1000
    said, asked = described(b"a.wav\n" * 100, size=SIZE_CAP + 1)
    assert said == Description(Kind.OTHER)
    assert sum(asked) < 1000
