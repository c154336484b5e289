"""Claims far beyond the bytes: bounded by counted reads and by the peak of memory, not by time.

Peaks are those of Python's own allocations (tracemalloc), the input itself left out.
"""

from __future__ import annotations

import struct
import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import pytest

from manifest_example import example
from planworld import ledger, load, recording, settings, taken
from takehold.decide.judge import judge
from takehold.decide.manifest import Writer, document, revision
from takehold.decide.manifest_lists import lists
from takehold.decide.place import place_of
from takehold.formats.canonical import DEPTH, canonical
from takehold.formats.checksum_list import read_list
from takehold.formats.config import LARGEST_BYTES, ConfigError, read_config
from takehold.formats.describe import describe
from takehold.formats.ixml import MAX_BODY, MAX_DEPTH, parse_ixml
from takehold.formats.manifest_doc import CONTAINERS_CAP, RECEIPT_CAP, read_manifest, read_receipt
from takehold.formats.names import PART_BYTES, display, is_shown, safe_part
from takehold.formats.riff import MAX_CHUNKS, MAX_DS64, walk
from takehold.model.errors import Malformed
from takehold.model.facts import LoadSeen
from takehold.model.sound import Complaint, Kind, Metadata

MIB = 1 << 20
OPEN_END = 0xFFFFFFFF


@contextmanager
def at_most(most: int) -> Iterator[None]:
    """What is allocated in the block peaks below so many bytes."""
    tracemalloc.start()
    try:
        yield
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak <= most, f"{peak:,} bytes"


class Endless:
    """A file that is made while it is read, with what was asked of it."""

    def __init__(self, byte_at: Callable[[int, int], bytes]) -> None:
        self._bytes = byte_at
        self.calls = 0
        self.given = 0

    def __call__(self, offset: int, length: int) -> bytes:
        found = self._bytes(offset, length)
        self.calls += 1
        self.given += len(found)
        return found


def repeated(head: bytes, unit: bytes) -> Endless:
    """A file that begins with `head` and goes on with `unit` for ever."""

    def byte_at(offset: int, length: int) -> bytes:
        start = (offset - len(head)) % len(unit)
        rest = (unit * (length // len(unit) + 2))[start : start + length]
        return (
            (head[offset:] + unit * (length // len(unit) + 1))[:length]
            if offset < len(head)
            else rest
        )

    return Endless(byte_at)


HEAD = b"RIFF\xff\xff\xff\xffWAVE"


@pytest.mark.parametrize(
    "chunk", [b"junk\0\0\0\0", b"\x01\x02\x03\x04\0\0\0\0", b"odd \x01\0\0\0x\0"]
)
def test_a_million_chunks(chunk: bytes) -> None:
    """The walk ends after as many as any recording has, and says so."""
    read = repeated(HEAD, chunk)
    with at_most(8 * MIB):
        found = walk(read, len(HEAD) + 1_000_000 * len(chunk))
    assert len(found.chunks) == MAX_CHUNKS
    assert read.calls <= 2 * MAX_CHUNKS + 4
    assert read.given <= 16 * read.calls
    assert "header-odd" in {c.code for c in found.complaints}
    assert all(len(c.detail) < 1000 for c in found.complaints)


@pytest.mark.parametrize("size", [60, 1 << 32, 1 << 62])
def test_every_chunk_claims_four_gigabytes(size: int) -> None:
    """2^32-1 bytes of each, in a small file and in one where they are there."""
    raw = HEAD + b"".join(
        n + struct.pack("<I", OPEN_END) for n in (b"fmt ", b"bext", b"iXML", b"data")
    )
    read = repeated(raw, b"\xff")
    with at_most(8 * MIB):
        found = describe(read, size)
    assert found.kind is Kind.WAVE
    assert read.given <= 2 * MIB
    assert found.data is None or found.data.offset + found.data.length <= size


def test_a_ds64_table_of_four_billion_entries() -> None:
    """Only the bytes that a real table has are read (EBU Tech 3306)."""
    table = struct.pack("<QQQI", *[(1 << 64) - 1] * 3, OPEN_END)
    raw = b"RF64\xff\xff\xff\xffWAVEds64" + struct.pack("<I", OPEN_END) + table
    read = repeated(raw, b"data\xff\xff\xff\xff")
    with at_most(8 * MIB):
        found = walk(read, 1 << 50)
    assert read.given <= MAX_DS64 + 16 * read.calls
    assert all(c.offset + c.present <= 1 << 50 for c in found.chunks)


def test_ten_megabytes_of_ixml_in_a_file() -> None:
    """It is complained of; no more is read than is parsed at most, the recording is whole."""
    xml = b"<BWFXML><NOTE>" + b"a" * (10 * MIB) + b"</NOTE></BWFXML>"
    fmt = b"fmt " + struct.pack("<IHHIIHH", 16, 1, 1, 48_000, 48_000, 1, 8)
    raw = HEAD + fmt + b"iXML" + struct.pack("<I", len(xml)) + xml + b"data\x04\0\0\0abcd"
    read = Endless(lambda offset, length: raw[offset : offset + length])
    with at_most(4 * MIB):
        found = describe(read, len(raw))
    assert [c.code for c in found.complaints if "ixml" in c.code] == ["ixml-unreadable"]
    assert found.frames == 4
    assert read.given <= MAX_BODY + 4096


def inside(body: bytes) -> bytes:
    """As much of it as is parsed at most, below the root."""
    ends = b"<BWFXML>", b"</BWFXML>"
    room = (MAX_BODY - len(ends[0] + ends[1])) // len(body)
    return ends[0] + body * room + ends[1]


@pytest.mark.parametrize(
    "xml",
    [
        inside(b"<a/>"),
        inside(b"x"),
        inside(b"\n"),
        inside(b"&#27;"),
        inside(b"&amp;"),
        inside(b"<![CDATA[x]]>"),
        inside(b"<!--x-->"),
        inside(b"<?a b?>"),
        b"<BWFXML><TRACK_LIST>" + b"<TRACK/>" * 130_000 + b"</TRACK_LIST></BWFXML>",
        b"<BWFXML " + b" ".join(b"a%d=''" % n for n in range(90_000)) + b"/>",
        b"<BWFXML>" + b"".join(b"<a%d/>" % n for n in range(100_000)) + b"</BWFXML>",
        b"<BWFXML><NOTE>" + b"\x0a\xc3\xa9" * 340_000 + b"</NOTE></BWFXML>",
    ],
    ids=lambda xml: repr(xml[8:28]),
)
def test_a_megabyte_of_xml_stays_small(xml: bytes) -> None:
    """Names, attributes, references, comments, tracks: a fixed multiple of the bytes at most."""
    assert len(xml) <= MAX_BODY
    with at_most(48 * MIB):
        found = parse_ixml(xml)
    if isinstance(found, Metadata):
        assert sum(map(len, (found.note, found.scene, found.project))) <= len(xml)


@pytest.mark.parametrize("levels", [MAX_DEPTH, 1000, 300_000])
def test_nested_xml_is_refused(levels: int) -> None:
    """One level more than is taken, and as many as there is room for."""
    with at_most(4 * MIB):
        found = parse_ixml(b"<BWFXML>" + b"<a>" * levels)
    assert isinstance(found, Complaint)
    assert "deeper" in found.detail


def test_xml_expands_nothing() -> None:
    """A billion laughs, an external entity, a parameter entity: each needs a document type."""
    laughs = b"".join(b'<!ENTITY a%d "%s">' % (n, b"&a%d;" % (n - 1) * 10) for n in range(1, 10))
    for inner in (
        laughs,
        b'<!ENTITY a9 SYSTEM "file:///etc/hostname">',
        b'<!ENTITY % a SYSTEM "x"> %a;',
    ):
        with at_most(MIB):
            found = parse_ixml(
                b"<!DOCTYPE BWFXML [" + inner + b"]><BWFXML><NOTE>&a9;</NOTE></BWFXML>"
            )
        assert found == Complaint("ixml-unreadable", "it declares a document type")


def manifest_with(key: str, value: str) -> bytes:
    """The invented manifest, one of its values given as JSON text."""
    return canonical({**example(), key: "@@"}).replace(b'"@@"', value.encode())


@pytest.mark.parametrize(
    "value",
    [
        "[" * 500_000,
        "[" * 500_000 + "]" * 500_000,
        '{"a":' * 200_000,
        "9" * 1_000_000,
        "-" + "9" * 1_000_000 + ".5e5",
        "1e" + "9" * 100_000,
        '"' + "a" * 1_000_000 + '"',
        "[" + "[]," * 100_000 + "[]]",
        "[" + "{}," * 100_000 + "{}]",
        "[" + '"",' * 100_000 + '""]',
        "{" + ",".join(f'"{n}":1' for n in range(30_000)) + "}",
        '{"a":1,"a":1}',
        "[" * (DEPTH + 1) + "]" * (DEPTH + 1),
    ],
    ids=lambda value: f"{value[:6]}-{len(value)}",
)
def test_hostile_json_is_refused_in_bounded_memory(value: str) -> None:
    """Depth, digits, text, empty containers, keys that come twice: Malformed, and nothing else."""
    with at_most(100 * MIB):
        for read in (read_manifest, read_receipt):
            with pytest.raises(Malformed):
                read(manifest_with("files", value))


def test_too_large_or_too_nested_is_refused_before_it_is_parsed() -> None:
    """Neither costs a byte for each of its bytes."""
    many = b"[" * (CONTAINERS_CAP + 1)
    large = b" " * (RECEIPT_CAP + 1)
    with at_most(MIB), pytest.raises(Malformed):
        read_manifest(many)
    with at_most(MIB), pytest.raises(Malformed):
        read_receipt(large)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 200_000,
        "a = " + "{b = " * 40_000,
        ".".join("a" * 100_000) + " = 1",
        "[" + ".".join("a" * 100_000) + "]",
        "a = " + "9" * 200_000,
        'a = "' + "b" * 200_000 + '"',
        "[[source]]\n" * 5_000,
        "".join(f"a{n} = 1\n" for n in range(500)),
        "a" * (LARGEST_BYTES + 1),
    ],
    ids=lambda text: f"{text[:6]!r}-{len(text)}",
)
def test_a_hostile_config_is_complained_of(text: str) -> None:
    """Each as large as a config may be: sentences, and at most a fixed multiple of its bytes."""
    with at_most(64 * MIB), pytest.raises(ConfigError) as told:
        read_config(text, "takehold.toml")
    assert all(len(says) < 1000 for says in told.value.complaints)


@pytest.mark.parametrize(
    "raw",
    [
        b"ab" * 5 * MIB,
        b"\n" * MIB,
        b"\\" + b"ab" * 32 + b"  " + b"\\" * (MIB // 4) + b"\n",
        b"\0" * MIB,
    ],
    ids=["no line end", "blank lines", "escapes", "zeros"],
)
def test_a_hostile_list_is_refused(raw: bytes) -> None:
    """One endless line, a million empty ones, escapes of nothing."""
    with at_most(100 * MIB):
        try:
            entries = read_list(raw)
        except Malformed:
            return
    # An even run of backslashes is a name of backslashes.
    assert [len(name) for _, name in entries] == [MIB // 8]


def test_a_name_longer_than_any_file_system_holds() -> None:
    """It is cut for the destination, and shown whole."""
    for name in (b"\xff" * 65_536, b":" * 65_536, b"\x1b" * 65_536):
        with at_most(16 * MIB):
            assert len(safe_part(name)) <= PART_BYTES
            assert is_shown(display(name))


HOSTILE = {
    "escape": "\x1b[2J\x1b]0;gone\x07",
    "c1": "\x9b31m",
    "bidi": "\u202evaw.exe\u2066",
    "line": "a\u2028b\r\nc",
    "markup": "</td><script>alert(1)</script>",
    "formula": '=HYPERLINK("http://x.example")',
    "long": "a" * 100_000,
    "nul": "a\0b",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_hostile_names_and_scenes_reach_no_sentence_unescaped(text: str) -> None:
    """Every finding may be printed; the manifest that holds them can be read, its lists too."""
    said: dict[str, Any] = {
        "scene": text,
        "take": text,
        "note": text,
        "tape": text,
        "file_uid": text,
    }
    path = text.encode().replace(b"/", b"_").replace(b"\0", b"_")[:250]
    made = recording(1, path, said=said)
    made = replace(made, place=place_of("Lantern Bay", made.day, b"SND_A1", path, 1, frozenset()))
    known = ledger(LoadSeen(load(1, label=text[:250], identity=text[:250])), taken(made))
    judged = judge(known, made.day, settings())
    assert judged.findings
    for finding in judged.findings:
        assert is_shown(finding.says.replace("\\", "")), finding
        assert is_shown(finding.subject.replace("\\", "")), finding
    doc: dict[str, Any] = document(judged, known, settings(), (), Writer("cart", "takehold"))
    assert len(doc["files"]) == 1
    raw = canonical(revision(doc, 1, 0, None))
    assert read_manifest(raw).files or read_manifest(raw).refused
    assert all(b"\x1b" not in part for part in (raw, *lists(doc, known, b"x/", "x")))


def test_a_path_of_many_long_names_leaves_the_manifest_readable() -> None:
    """Its sentence is cut, and the neighbour's entry stands (P10)."""
    deep = recording(1, b"/".join([b"\x1b" * 255] * 60), place=b"Lantern Bay/2031-05-06/SND_A1/x")
    known = ledger(LoadSeen(load(1)), taken(deep, recording(2)))
    doc = document(judge(known, deep.day, settings()), known, settings(), (), Writer("cart", "x"))
    found = read_manifest(canonical(revision(doc, 1, 0, None)))
    assert [file.place for file in found.files] == [b"SND_A1/x", b"SND_A1/T01.WAV"]
