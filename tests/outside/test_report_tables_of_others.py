"""Tables of file names as general-purpose programs write them, over real files."""

from __future__ import annotations

import csv
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from cardmaker import put, take
from takehold.formats.report_table import listing

NAMES = ("S01T01.WAV", "S01T02, wild.WAV", "Größe; 3.WAV")
PLAIN = ("S01T01.WAV", "S01T02.WAV", "S02T01.WAV")


@pytest.fixture
def card(tmp_path: Path) -> Path:
    for number, name in enumerate(PLAIN, 1):
        put(tmp_path, name, take(1, number, seconds=0.1))
    return tmp_path


def names_listed(raw: bytes) -> tuple[str, ...] | None:
    found = listing(raw)
    return found.names if found else None


def said(*command: str, card: Path) -> bytes:
    done = subprocess.run(
        command, cwd=card, capture_output=True, timeout=60, check=True, stdin=subprocess.DEVNULL
    )
    return done.stdout


@pytest.mark.parametrize("dialect", ["excel", "excel-tab", "unix"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_pythons_csv_in_its_dialects(tmp_path: Path, dialect: str, encoding: str):
    """Python's csv module, the dialects that it brings along."""
    paper = tmp_path / "report.csv"
    with paper.open("w", encoding=encoding, newline="") as file:
        rows = csv.writer(file, dialect=dialect)
        rows.writerow(["Scene", "Take", "File", "Note"])
        rows.writerows([["1", n, name, 'a "b", c'] for n, name in enumerate(NAMES)])
    assert names_listed(paper.read_bytes()) == NAMES


@pytest.mark.parametrize(("mark", "always"), [(",", False), (",", True), (";", False), (";", True)])
def test_the_forms_that_office_programs_save(tmp_path: Path, mark: str, always: bool):
    """Comma or semicolon, quotes where they must be or around everything, a decimal comma.

    From memory of their dialogs, no source.
    """
    paper = tmp_path / "report.csv"
    quoting = csv.QUOTE_ALL if always else csv.QUOTE_MINIMAL
    with paper.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, delimiter=mark, quoting=quoting)
        rows.writerow(["Sound report", "", ""])
        rows.writerow(["Length", "Note", "File name"])
        rows.writerows([["10,25", "3,5 m", name] for name in NAMES])
    assert names_listed(paper.read_bytes()) == NAMES


def test_ffprobes_csv(card: Path):
    """`ffprobe -print_format csv` (FFmpeg), one line for each file."""
    words = ("ffprobe", "-v", "error", "-show_format", "-print_format", "csv")
    lines = [said(*words, str(card / name), card=card) for name in PLAIN]
    found = names_listed(b"".join(lines))
    assert found == tuple(str(card / name) for name in PLAIN)


@pytest.mark.parametrize("mark", [",", "|", "\t", "  "])
def test_mediainfos_own_output(card: Path, mark: str):
    """`mediainfo --Output` with a line of one's own (MediaInfo)."""
    form = mark.join(("General;%Duration%", "%FileNameExtension%", "%Format%\\n"))
    assert names_listed(said("mediainfo", f"--Output={form}", *PLAIN, card=card)) == PLAIN


@pytest.mark.parametrize(
    "command",
    [
        ("sha256sum", *PLAIN),
        ("find", ".", "-name", "*.WAV", "-printf", "%s\\t%p\\n"),
        ("find", ".", "-name", "*.WAV", "-printf", "%f;%s;%TY\\n"),
        ("ls", "-1"),
    ],
    ids=["sha256sum", "find, tabs", "find, semicolons", "ls"],
)
def test_lists_of_the_shell(card: Path, command: tuple[str, ...]):
    """GNU coreutils and findutils."""
    found = names_listed(said(*command, card=card)) or ()
    assert sorted(name.removeprefix("./") for name in found) == sorted(PLAIN)


@pytest.mark.parametrize("change", [str.upper, str.lower])
def test_iconv_changes_nothing(card: Path, change: Callable[[str], str]):
    """What GNU iconv makes of UTF-8 is read alike."""
    text = "".join(f"{change(name)},1\n" for name in ("é.wav", "ñandú.wav"))
    (card / "r.csv").write_text(text)
    expected = names_listed(text.encode())
    assert expected == tuple(change(name) for name in ("é.wav", "ñandú.wav"))
    for to in ("UTF-16", "UTF-16LE", "UTF-16BE", "ISO-8859-1"):
        assert names_listed(said("iconv", "-f", "UTF-8", "-t", to, "r.csv", card=card)) == expected
