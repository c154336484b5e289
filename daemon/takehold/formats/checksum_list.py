r"""Checksum lists that stock tools check: `sha256sum -c`, `shasum -a 256 -c`, `xxhsum -c`.

One line a file: lower-case hex, two blanks, the name, LF. Where a name holds a backslash, LF or CR,
coreutils begins the line with a backslash and writes `\\`, `\n`, `\r` (GNU coreutils manual, md5sum
invocation). xxhsum 0.8.1 knows no escapes; there such names cannot stand in a list.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from takehold.model.errors import Malformed

Entry = tuple[str, bytes]

_SPECIAL = re.compile(rb"[\\\n\r]")
_ESCAPES = {b"\\": rb"\\", b"\n": rb"\n", b"\r": rb"\r"}
_PLAIN = {escaped: plain for plain, escaped in _ESCAPES.items()}
_ESCAPED = re.compile(rb"\\(.?)", re.DOTALL)
_LINE = re.compile(rb"(\\?)([0-9a-fA-F]{64}|[0-9a-fA-F]{16}) [ *]([^\0\r]+)")


def sha256_list(entries: Iterable[Entry]) -> bytes:
    """The list for `sha256sum -c`, sorted by name. Entries are (hex, name)."""
    return b"".join(_escaped_line(hex_, name) for hex_, name in _sorted(entries))


def xxh64_list(entries: Iterable[Entry]) -> tuple[bytes, tuple[bytes, ...]]:
    """The list for `xxhsum -c`, sorted by name, and the names that cannot stand in it.

    16 digits are read as XXH64 by every xxhsum. LF in a name has no form there; CR would look like
    a converted line end.
    """
    ordered = _sorted(entries)
    lines = [_line(hex_, name) for hex_, name in ordered if not _breaks_line(name)]
    return b"".join(lines), tuple(name for _, name in ordered if _breaks_line(name))


def read_list(raw: bytes) -> tuple[Entry, ...]:
    """The entries of a list of either kind, in its order; hex in lower case.

    Takes what the writers here and coreutils write. Raises Malformed, naming the line, for anything
    else, and for a name that comes twice.
    """
    lines = raw.split(b"\n")
    if lines.pop():
        raise Malformed("The list breaks off: its last line has no end.")
    entries = tuple(_entry(number, line) for number, line in enumerate(lines, 1))
    if len({name for _, name in entries}) != len(entries):
        raise Malformed("The list holds the same name twice.")
    return entries


def _sorted(entries: Iterable[Entry]) -> list[Entry]:
    """In order, each line once: recordings of the same bytes may share one file on a drive."""
    return sorted(set(entries), key=lambda entry: (entry[1], entry[0]))


def _line(hex_: str, name: bytes) -> bytes:
    return hex_.encode() + b"  " + name + b"\n"


def _escaped_line(hex_: str, name: bytes) -> bytes:
    if not _SPECIAL.search(name):
        return _line(hex_, name)
    return b"\\" + _line(hex_, _SPECIAL.sub(lambda found: _ESCAPES[found.group()], name))


def _breaks_line(name: bytes) -> bool:
    return b"\n" in name or b"\r" in name


def _entry(number: int, line: bytes) -> Entry:
    if line.endswith(b"\r"):
        raise Malformed(f"Line {number} of the list ends in CR LF: something converted it.")
    found = _LINE.fullmatch(line)
    if found is None:
        raise Malformed(f"Line {number} of the list is no checksum and name.")
    mark, hex_, name = found.groups()
    if mark:
        name = _ESCAPED.sub(lambda escape: _plain(number, escape.group()), name)
    return hex_.decode().lower(), name


def _plain(number: int, escape: bytes) -> bytes:
    plain = _PLAIN.get(escape)
    if plain is None:
        raise Malformed(f"Line {number} of the list holds an escape that does not exist.")
    return plain
