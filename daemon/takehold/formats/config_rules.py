"""The keys of the config, what each takes, and how its value is read.

The tables at the end are the whole of it; docs/config.md says the same to people.
Rules of this file: a reader returns the value for `Settings`, or raises `Refused`.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Any, NamedTuple

from takehold.formats.timecode import rate_named
from takehold.model.settings import Role
from takehold.model.sound import Rate

LONGEST_TEXT = 200
LONGEST_PATH = 4096
MOST_ENTRIES = 64
MOST_WORDS = 20
LONGEST_WORD = 40
TIMECODE_RATES = ("23.976", "24", "25", "29.97", "29.97df", "30", "30df", "50", "59.94", "60")

# A right-to-left override in a name makes a page show another name.
_TURNS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_HIDDEN = frozenset({"Cc", "Zl", "Zp"})
_WINDOWS = re.compile(r"[A-Za-z]:[\\/]|\\\\[^\\]")


class Refused(Exception):
    """A value that the key does not take. `hint` says more where more can be said."""

    def __init__(self, hint: str = "") -> None:
        super().__init__(hint)
        self.hint = hint


class Key(NamedTuple):
    """One key: its name, what it takes in words, how it is read, whether it must be there."""

    name: str
    takes: str
    read: Callable[[object], Any]
    needed: bool = False


def plain(value: object, longest: int = LONGEST_TEXT) -> str:
    """Text on one line, blanks at its ends removed; may be empty."""
    if not isinstance(value, str):
        raise Refused("text stands in quotes")
    if len(value) > longest:
        raise Refused(f"it is longer than {longest} characters")
    if any("\ud800" <= c <= "\udfff" for c in value):
        raise Refused("it holds bytes that are no UTF-8: save the file as UTF-8")
    if any(unicodedata.category(c) in _HIDDEN or c in _TURNS for c in value):
        raise Refused("it holds control characters")
    return value.strip()


def filled(value: object) -> str:
    """Text that is not empty."""
    text = plain(value)
    if not text:
        raise Refused
    return text


def name(value: object) -> str:
    """The name of a source or destination."""
    text = filled(value)
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", text):
        raise Refused
    return text


def label(value: object) -> str:
    """A label's pattern. Wildcards alone would take every volume, the laptop's own too."""
    text = filled(value)
    if not text.strip("*? "):
        raise Refused("wildcards alone fit every volume, the laptop's own too")
    return text


def _path_bytes(value: object) -> tuple[str, bytes]:
    """A path's text and bytes. Names that are not UTF-8 come as surrogate escapes (PEP 383)."""
    escaped = value if isinstance(value, str) else ""
    text = re.sub("[\udc80-\udcff]", "?", escaped) if escaped else value
    plain(text, LONGEST_PATH)
    return escaped, escaped.encode("utf-8", "surrogateescape")


def path(value: object) -> bytes:
    """A full path, without doubled or closing slashes."""
    text, encoded = _path_bytes(value)
    if text.startswith("~"):
        raise Refused("~ is not filled in; write the folder out")
    windows = _WINDOWS.match(text) is not None
    if not windows and not text.startswith("/"):
        raise Refused
    parts = encoded.replace(b"\\", b"/").split(b"/") if windows else encoded.split(b"/")
    if b".." in parts:
        raise Refused("it must not hold ..")
    if windows:
        return encoded.rstrip(b"\\/") if len(parts) > 2 and parts[-1] == b"" else encoded
    kept = [part for part in parts if part not in (b"", b".")]
    if not kept:
        raise Refused("the whole file system is too much")
    return b"/" + b"/".join(kept)


def folder(value: object) -> bytes:
    """A folder below a drive's top, `/` between parts."""
    text, encoded = _path_bytes(value)
    parts = [part for part in encoded.split(b"/") if part not in (b"", b".")]
    if text.startswith("/") or "\\" in text or ":" in text or b".." in parts or not parts:
        raise Refused
    return b"/".join(parts)


def not_built(value: object) -> str:
    """Buckets are designed and not built."""
    del value
    raise Refused("not built yet")


def whole(low: int, high: int) -> Callable[[object], int]:
    """A whole number of a range."""

    def read(value: object) -> int:
        if isinstance(value, str) and value.strip().isdecimal():
            raise Refused("numbers stand without quotes")
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise Refused
        return value

    return read


def depth(value: object) -> int:
    """Bits of a sample."""
    bits = whole(16, 32)(value)
    if bits not in (16, 24, 32):
        raise Refused
    return bits


def flag(value: object) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise Refused("without quotes" if isinstance(value, str) else "")
    return value


def time_of_day(value: object) -> int:
    """Minutes since midnight."""
    found = re.fullmatch(r"([01]\d|2[0-3]):([0-5]\d)", plain(value), re.ASCII)
    if not found:
        raise Refused
    return int(found[1]) * 60 + int(found[2])


def role(value: object) -> Role:
    """What a card is for."""
    try:
        return Role(plain(value))
    except ValueError:
        raise Refused from None


def rate(value: object) -> Rate:
    """A timecode rate. As a number it would be inexact, and could not say drop-frame."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        written = f"{value:g}" if abs(value) < 1000 else ""
        known = written in TIMECODE_RATES
        raise Refused(f'it stands in quotes: "{written}"' if known else "")
    named = rate_named(plain(value))
    if named is None:
        raise Refused
    return named


def checksums(value: object) -> tuple[str, ...]:
    """Both checksums: XXH64 for speed, SHA-256 for proof."""
    both = ("xxh64", "sha256")
    if not isinstance(value, list) or any(not isinstance(one, str) for one in value):
        raise Refused
    if len(value) != len(both) or set(value) != set(both):
        raise Refused("each copy is checked with both")
    return both


def words(value: object) -> tuple[str, ...]:
    """Words that mark a name or note; `*` and `?` alone would mark every one."""
    if not isinstance(value, list) or len(value) > MOST_WORDS:
        raise Refused
    read = tuple(filled(one) for one in value)
    if any(len(one) > LONGEST_WORD or not one.strip("*? ") for one in read):
        raise Refused
    return read


def _number(key: str, low: int, high: int, unit: str = "") -> Key:
    takes = f"a whole number {unit + ' ' if unit else ''}from {low} to {high}"
    return Key(key, takes, whole(low, high))


_NAME = Key("name", "up to 64 letters, digits, - _ . and a letter or digit first", name, True)
_LABEL = Key("label", 'a volume\'s label in quotes, * and ? for any, as in "SND_A*"', label)
_PATH = Key("path", 'a full path in quotes, as in "/srv/audio"', path)
_TEXT = f"text in quotes, 1 to {LONGEST_TEXT} characters"
_TIME = 'a time of day in quotes, from "00:00" to "23:59"'

TOP = (
    Key("production", _TEXT, filled, True),
    Key("unit", _TEXT, filled),
    Key("mixer", f"text in quotes, up to {LONGEST_TEXT} characters", plain),
    _number("copies_required", 1, 9),
    Key("day_starts_at", _TIME, time_of_day),
    Key("wrap_at", _TIME, time_of_day),
    Key("checksums", '["xxh64", "sha256"]', checksums),
    _number("settle_seconds", 2, 600, "of seconds"),
    _number("look_every_seconds", 5, 3600, "of seconds"),
    _number("recheck_after_days", 1, 3650, "of days"),
    Key("recheck_cards_at_wrap", "true or false", flag),
    _number("reserve_megabytes", 0, 1_000_000, "of megabytes"),
    _number("stall_seconds", 5, 600, "of seconds"),
    Key(
        "rerecorded",
        f'up to {MOST_WORDS} words in a list, * and ? for any letters, as in ["rerec*"]',
        words,
    ),
)
EXPECT = (
    Key("timecode_rate", "a rate in quotes: " + ", ".join(f'"{r}"' for r in TIMECODE_RATES), rate),
    _number("sample_rate", 8_000, 768_000, "of Hz"),
    Key("bit_depth", "16, 24 or 32", depth),
    _number("channels", 1, 64),
)
SOURCE = (
    _NAME,
    Key("role", '"primary", "backup" or "bodypack"', role, True),
    _LABEL,
    _PATH,
)
DESTINATION = (
    _NAME,
    _LABEL,
    _PATH,
    Key("url", "label or path", not_built),
    Key("folder", 'a folder below the drive\'s top, as in "audio/day"', folder),
)
SECTIONS = {"": TOP, "expect": EXPECT, "source": SOURCE, "destination": DESTINATION}
