"""Checksum lists against stock tools: GNU coreutils, Perl's shasum, Cyan4973's xxhsum."""

import hashlib
import os
import subprocess
from pathlib import Path

import pytest
import xxhash

from fakeworld import DAY, Site, take
from takehold.formats.checksum_list import Entry, read_list, sha256_list, xxh64_list

NAMES = [
    b"12A-T03.wav",
    b"new\nline.wav",
    b"end\n",
    b"esc\x1b[2J.wav",
    b"\xff\xfe.wav",
    b"100%.wav",
    b"100%41.wav",
    b"\\lead.wav",
    b"mid\\n.wav",
    b"two  blanks  ",
    b" lead",
    b"*star.wav",
    "🎤 Küche.wav".encode(),
    "ku\u0308che.wav".encode(),
    b"-dash.wav",
    b"--check",
    b"#hash.wav",
    b"tab\t.wav",
    b"SHA256 (a) = b",
    b"x" * 250,
    b"SND_A01/" + b"y" * 200 + b"/12A-T03.wav",
]
RETURNS = [b"a\rb.wav", b"end\r"]

SHA256_TOOLS = [("sha256sum", "-c", "--strict"), ("shasum", "-a", "256", "-c", "--strict")]


def filled(folder: Path, names: list[bytes]) -> tuple[list[Entry], list[Entry]]:
    """Files with these names, each with other bytes; the SHA-256 and XXH64 entries."""
    sha256, xxh64 = [], []
    for number, name in enumerate(names):
        path = os.path.join(os.fsencode(folder), name)
        os.makedirs(os.path.dirname(path), exist_ok=True)
        content = b"%d" % number * 1000
        with open(path, "wb") as file:
            file.write(content)
        sha256.append((hashlib.sha256(content).hexdigest(), name))
        xxh64.append((xxhash.xxh64_hexdigest(content), name))
    return sha256, xxh64


def run(folder: Path, raw: bytes, *command: str) -> subprocess.CompletedProcess[bytes]:
    path = folder.with_suffix(".list")
    path.write_bytes(raw)
    return subprocess.run(
        [*command, str(path)], cwd=folder, capture_output=True, timeout=20, check=False
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "day").mkdir()
    return tmp_path / "day"


@pytest.mark.parametrize("tool", SHA256_TOOLS, ids=["sha256sum", "shasum"])
def test_every_name_is_checked(folder: Path, tool: tuple[str, ...]) -> None:
    sha256, _ = filled(folder, NAMES)
    said = run(folder, sha256_list(sha256), *tool)
    assert (said.returncode, said.stderr) == (0, b"")
    assert said.stdout.count(b": OK\n") == len(NAMES)


@pytest.mark.parametrize("tool", SHA256_TOOLS, ids=["sha256sum", "shasum"])
def test_one_changed_byte_is_found(folder: Path, tool: tuple[str, ...]) -> None:
    sha256, _ = filled(folder, NAMES)
    (folder / "100%41.wav").write_bytes(b"other")
    said = run(folder, sha256_list(sha256), *tool)
    assert said.returncode == 1
    assert said.stdout.count(b": OK\n") == len(NAMES) - 1
    assert b"100%41.wav: FAILED" in said.stdout


def test_carriage_returns_are_escaped_for_coreutils(folder: Path) -> None:
    """Perl's shasum knows no escape for CR; our own places never hold one."""
    sha256, _ = filled(folder, RETURNS)
    assert run(folder, sha256_list(sha256), *SHA256_TOOLS[0]).returncode == 0


def test_the_lines_are_those_that_coreutils_writes(folder: Path) -> None:
    sha256, _ = filled(folder, NAMES + RETURNS)
    for hex_, name in sha256:
        command = [b"sha256sum", b"--", name]
        theirs = subprocess.run(command, cwd=folder, capture_output=True, timeout=20, check=True)
        assert sha256_list([(hex_, name)]) == theirs.stdout
        assert read_list(theirs.stdout) == ((hex_, name),)


def test_xxhsum_checks_every_name_that_a_line_can_hold(folder: Path) -> None:
    _, xxh64 = filled(folder, NAMES + RETURNS)
    raw, left_out = xxh64_list(xxh64)
    assert left_out == (b"a\rb.wav", b"end\n", b"end\r", b"new\nline.wav")
    said = run(folder, raw, "xxhsum", "-c")
    assert said.returncode == 0
    assert said.stdout.count(b": OK\n") == len(NAMES) - 2
    assert b"improperly" not in said.stdout + said.stderr


def test_xxhsum_finds_one_changed_byte(folder: Path) -> None:
    _, xxh64 = filled(folder, NAMES)
    (folder / "#hash.wav").write_bytes(b"other")
    said = run(folder, xxh64_list(xxh64)[0], "xxhsum", "-c")
    assert said.returncode == 1
    assert said.stdout.count(b": OK\n") == len(NAMES) - 3


def test_a_name_with_a_newline_has_no_form_for_xxhsum(folder: Path) -> None:
    """Why such names are left out: a list with one is called malformed as a whole."""
    _, xxh64 = filled(folder, [b"new\nline.wav"])
    hex_, name = xxh64[0]
    for line in (hex_.encode() + b"  " + name, b"\\" + hex_.encode() + b"  new\\nline.wav"):
        assert run(folder, line + b"\n", "xxhsum", "-c").returncode == 1


@pytest.mark.parametrize("tool", ["sha256sum", "xxhsum"])
def test_a_drive_that_lacks_a_file_is_told_by_its_list(folder: Path, tool: str) -> None:
    """As one that was full: whoever checks the list there is told what is not."""
    site = Site()
    site.card("SND_A1", {b"T1.WAV": take(1), b"T2.WAV": take(2, 50_000)})
    site.drive("SHUTTLE_1")
    full = site.drive("SHUTTLE_2")
    full.capacity = 100_000
    site.work()
    site.wrap()
    for path, content in full.files.items():
        there = folder / path.decode().partition(f"/{DAY}/")[2]
        there.parent.mkdir(exist_ok=True)
        there.write_bytes(content)
    ending = {"sha256sum": "sha256", "xxhsum": "xxh64"}[tool]
    done = subprocess.run(
        [tool, "-c", f"{DAY}.r1.{ending}"], cwd=folder, capture_output=True, text=True, timeout=20
    )
    assert done.returncode == 1
    good = [line for line in done.stdout.splitlines() if line.endswith("OK")]
    assert good == ["SND_A1/T1.WAV: OK"]
    assert "SND_A1/T2.WAV" in done.stdout + done.stderr
