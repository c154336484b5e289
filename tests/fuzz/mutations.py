"""Changes to kept inputs, the same ones each time for the same number."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

CORPUS = Path(__file__).resolve().parent / "corpus"

# What makes trouble in one format or another.
WORDS = (
    b"\xff\xff\xff\xff",
    b"\0\0\0\0",
    b"\x00\x00\x00\x80",
    b"RF64",
    b"ds64",
    b"data",
    b"iXML",
    b"bext",
    b"fmt ",
    b"<!DOCTYPE BWFXML [<!ENTITY a 'b'>]>",
    b"<a>" * 40,
    b"&#27;",
    b"]]>",
    b"\x1b[2J",
    b"\x9b31m",
    "\u202e".encode(),
    "\u2028".encode(),
    b"../",
    b"..\\",
    b"\\",
    b"%2e",
    b"\xed\xa0\x80",
    b"\xfe\xff",
    b"9" * 400,
    b"-1",
    b"1e999",
    b"NaN",
    b"\\ud800",
    b"[" * 60,
    b'{"a":' * 60,
    b'"""',
    b"'''",
    b"\r\n",
    b"[[source]]\n",
    b"TIMECODE_RATE",
    b"0/0",
    b"TRK9999=",
)
ODD_VALUES: tuple[Any, ...] = (
    None,
    True,
    -1,
    0,
    1.5,
    2**53,
    10**30,
    "",
    "\x1b[2J",
    "\u202evaw.exe",
    "..",
    "../../x",
    "C:x",
    "a\\..\\b",
    "a" * 20_000,
    [],
    {},
    [[[[]]]],
    ["../x", 1],
    {"place": "../x"},
)


def kept(target: str) -> list[bytes]:
    """The kept inputs of a target, in the order of their names."""
    return [path.read_bytes() for path in sorted((CORPUS / target).iterdir())]


def changed(target: str, count: int) -> Iterator[bytes]:
    """So many changes to the kept inputs of a target."""
    chance = Random(target)
    inputs = kept(target)
    documents = [doc for raw in inputs if isinstance(doc := _document(raw), dict)]
    for number in range(count):
        if documents and number % 3 == 0:
            yield json.dumps(_with_odd_value(chance, chance.choice(documents))).encode()
            continue
        raw = bytearray(chance.choice(inputs))
        for _ in range(chance.choice((1, 1, 2, 4, 8))):
            _change(chance, raw, inputs)
        yield bytes(raw)


def _change(chance: Random, raw: bytearray, inputs: list[bytes]) -> None:
    at = chance.randrange(len(raw) + 1)
    to = min(len(raw), at + chance.choice((1, 1, 2, 4, 8, 64)))
    match chance.randrange(6):
        case 0:
            raw[at:to] = chance.randbytes(to - at)
        case 1:
            del raw[at:to]
        case 2:
            raw[at:at] = chance.choice(WORDS)
        case 3:
            word = chance.choice(WORDS)
            raw[at : at + len(word)] = word
        case 4:
            other = chance.choice(inputs)
            raw[at:] = other[chance.randrange(len(other) + 1) :]
        case _:
            raw[at:at] = raw[at:to] * chance.choice((1, 2, 30))


def _document(raw: bytes) -> object:
    try:
        return json.loads(raw)
    except (ValueError, RecursionError):
        return None


def _with_odd_value(chance: Random, document: dict[str, Any]) -> dict[str, Any]:
    """The document with one value, anywhere in it, replaced, left out or given another name."""
    whole: dict[str, Any] = json.loads(json.dumps(document))
    inner: Any = whole
    while True:
        if not inner:
            return whole
        key = chance.choice(list(inner) if isinstance(inner, dict) else range(len(inner)))
        if isinstance(inner[key], dict | list) and chance.random() < 0.8:
            inner = inner[key]
            continue
        if chance.random() < 0.15:
            del inner[key]
        else:
            inner[key] = chance.choice(ODD_VALUES)
        return whole
