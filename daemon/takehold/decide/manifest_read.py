"""Values of a signed manifest, read again: each is as docs/manifest.md says, or Malformed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import TypeVar

from takehold.formats.names import good_relative, is_shown
from takehold.model.errors import Malformed

Entry = Mapping[str, object]
T = TypeVar("T")

_ESCAPE = re.compile(r"\\(\\|x[0-9a-f]{2}|u[0-9a-f]{4}|U[0-9a-f]{8})")


def original(text: str) -> bytes:
    """The name whose `display` is this text. Raises ValueError or OverflowError for another."""
    return _ESCAPE.sub(_char, text).encode("utf-8", "surrogateescape")


def _char(found: re.Match[str]) -> str:
    if found[1] == "\\":
        return "\\"
    code = int(found[1][1:], 16)
    return chr(0xDC00 + code if found[1][0] == "x" and code >= 0x80 else code)


def malformed(key: str) -> Malformed:
    """The error for a value that is not as documented."""
    return Malformed(f"Its {key!r} is not as a manifest has it.")


def the(entry: Entry, key: str, kind: type[T]) -> T:
    """A value of that kind."""
    value = entry.get(key)
    if not isinstance(value, kind):
        raise malformed(key)
    return value


def text(entry: Entry, key: str) -> str:
    """A text, "" where there is none."""
    return the(entry, key, str) if key in entry else ""


def whole(entry: Entry, key: str) -> int | None:
    """A whole number, None where there is none."""
    found = entry.get(key)
    if found is None:
        return None
    if isinstance(found, bool) or not isinstance(found, int):
        raise malformed(key)
    return found


def number(entry: Entry, key: str) -> float | None:
    """A number, None where there is none; JSON writes 1.0 as 1."""
    found = entry.get(key)
    if found is None:
        return None
    if isinstance(found, bool) or not isinstance(found, int | float):
        raise malformed(key)
    return float(found)


def each(entry: Entry, key: str) -> list[Entry]:
    """A list of entries."""
    items = the(entry, key, list)
    if not all(isinstance(item, dict) for item in items):
        raise malformed(key)
    return items


def ns(entry: Entry, key: str) -> int:
    """A moment in ns since 1970 (RFC 3339, UTC)."""
    whole, _, part = the(entry, key, str).removesuffix("Z").partition(".")
    moment = datetime.strptime(f"{whole}Z", "%Y-%m-%dT%H:%M:%S%z")
    return int(moment.timestamp()) * 10**9 + int(part[:9].ljust(9, "0"))


def moment(entry: Entry, key: str) -> int:
    """A moment in seconds since 1970."""
    return ns(entry, key) // 10**9


def name_in(entry: Entry, key: str) -> bytes:
    """A file's name; in hex where it is not UTF-8."""
    if f"{key}_hex" in entry:
        return bytes.fromhex(text(entry, f"{key}_hex"))
    return the(entry, key, str).encode()


def identity(entry: Entry) -> str:
    """Escaped only where it holds something hidden."""
    text = the(entry, "identity", str)
    plain = original(text).decode("utf-8", "surrogateescape")
    return text if is_shown(plain) else plain


def below(entry: Entry, key: str, folder: bytes) -> bytes:
    """A path below a folder; one that would leave it is refused."""
    name = name_in(entry, key)
    if not good_relative(name):
        raise malformed(key)
    return folder + name
