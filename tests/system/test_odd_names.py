"""A card with every odd name that ext4 can hold, copied to ext4 and exFAT."""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from cardmaker import put_bytes, take, today
from instance import Instance, stock_checks
from loopbench import Bench, Disk

NAMES: dict[bytes, str] = {
    b"S01T01.WAV": "plain",
    b"two\nlines.WAV": "newline",
    b"red\x1b[31m.WAV": "escape sequence",
    b"bell\x07.WAV": "control",
    b"latin-\xe9\xff.WAV": "no UTF-8",
    b"100%.WAV": "percent",
    b"%41.WAV": "reads like an encoding",
    b"A.WAV": "what the one before would decode to",
    b"\\leading.WAV": "backslash",
    b"-rf.WAV": "dash",
    b"  blanks  .WAV": "blanks",
    "harbour \U0001f30a wall.WAV".encode(): "emoji",
    "\u202eVAW.WAV".encode(): "right-to-left override",
    b"dot.": "trailing dot",
    b"blank ": "trailing blank",
    b"CON": "device name",
    b"con.WAV": "device name with an ending",
    b"AUX/NUL/COM1.WAV": "device names as folders",
    b'a:b*c?d"e<f>g|h.WAV': "what exFAT cannot hold",
    b"Case.WAV": "one case",
    b"cASE.wav": "the other case",
    "caf\u00e9.WAV".encode(): "composed",
    "cafe\u0301.WAV".encode(): "decomposed",
    b"n" * 251 + b".WAV": "as long as ext4 takes",
    ("\U0001f30a" * 62 + ".WAV").encode(): "long in bytes, short in letters",
    b".hidden/.T01.WAV": "hidden",
    b"~$x.WAV": "shell",
    b".takehold-0011223344556677.part": "like our own part",
}
CONTROL = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2028\u2029\ud800-\udfff]")


@dataclass
class Odd:
    """The card as it is, and two drives of two kinds."""

    card: Disk
    drives: tuple[Disk, Disk]
    instance: Instance
    content: dict[bytes, bytes]


@pytest.fixture
def odd(bench: Bench, tmp_path: Path) -> Odd:
    card = bench.disk("card", "ext4", label="SND_A1")
    drives = bench.disk("one", "ext4", label="SH_1"), bench.disk("two", "exfat", label="SH_2")
    content = {
        name: take(1, number, seconds=0.02, sound=number) for number, name in enumerate(NAMES)
    }
    content[b"empty.WAV"] = b""
    content[b"garbage.wav"] = b"\xff\x00garbage" * 100
    content[b"torn.wav"] = take(7, 7, seconds=0.02)[:700]
    for name, data in content.items():
        put_bytes(card.mount, name, data)
    os.mkfifo(card.mount / "pipe.WAV")
    os.symlink("/etc/passwd", card.mount / "link.WAV")
    os.symlink("/", card.mount / "out")
    instance = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"one": "SH_1", "two": "SH_2"},
    )
    return Odd(card, drives, instance, content)


def sums_below(folder: bytes) -> list[str]:
    """SHA-256 of each file of a card's folder on a drive, read here by its bytes' names."""
    return sorted(
        hashlib.sha256(Path(os.fsdecode(os.path.join(top, name))).read_bytes()).hexdigest()
        for top, _, names in os.walk(folder)
        for name in names
    )


def test_nothing_is_lost_and_everything_is_said(odd: Odd):
    """Every file ends on both drives with its own bytes; what is no file is named; no raw byte."""
    once = odd.instance.run("once")
    assert once.returncode == 0, once.stdout + once.stderr
    wrapped = odd.instance.run("wrap", today())
    # Links, a pipe, an empty and a torn take: a person must look.
    assert wrapped.returncode == 1
    wanted = sorted(hashlib.sha256(data).hexdigest() for data in odd.content.values())
    for drive in odd.drives:
        folder = drive.mount / "Lantern Bay" / today()
        assert sums_below(os.fsencode(folder / "SND_A1")) == wanted
        stock_checks(folder, odd.instance.public_key)
        manifest = json.loads((folder / f"{today()}.r1.manifest.json").read_bytes())
        assert len(manifest["files"]) == len(odd.content)
    for sentence in (
        "SND_A1: pipe.WAV is no file (pipe) and is not copied.",
        "SND_A1: link.WAV is no file (link) and is not copied.",
        "SND_A1: out is no file (link) and is not copied.",
        "SND_A1/empty.WAV: it has no bytes",
        "SND_A1/garbage.wav: it is named like a WAVE file and was not recognised as one",
        "SND_A1/torn.wav: its header and its length disagree",
    ):
        assert sentence in wrapped.stdout
    for words in (("once",), ("day", today()), ("status",), ("card",), ("wrap", today())):
        done = odd.instance.run(*words)
        said = done.stdout + done.stderr
        assert "Traceback" not in said
        assert not CONTROL.search(said), (words, CONTROL.search(said))


def test_json_and_log_hold_no_raw_control_byte(odd: Odd):
    """What scripts and the log get is text: no bytes that are no UTF-8, nothing that moves it."""
    with odd.instance.daemon() as daemon:
        daemon.wait_for(lambda: daemon.cards() == {"SND_A1"})
        daemon.wait_for(lambda: odd.instance.run("status", "--json").returncode == 0)
        for words in (("status", "--json"), ("day", today(), "--json"), ("card", "--json")):
            done = odd.instance.run(*words)
            text = json.dumps(json.loads(done.stdout), ensure_ascii=False)
            assert not CONTROL.search(text)
        assert daemon.stop() == 0
    assert not CONTROL.search(odd.instance.log())


def test_the_stock_list_names_what_stands_on_each_drive(odd: Odd):
    """Each drive's own list has one line a file: exFAT's names differ from ext4's nowhere here."""
    assert odd.instance.run("once").returncode == 0
    assert odd.instance.run("wrap", today()).returncode == 1
    lists = [
        (drive.mount / "Lantern Bay" / today() / f"{today()}.r1.sha256").read_bytes()
        for drive in odd.drives
    ]
    assert lists[0] == lists[1]
    assert len(lists[0].splitlines()) == len(odd.content)
    assert lists[0].isascii() or lists[0].decode()
