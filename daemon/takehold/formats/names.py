"""Names of files: shown to people, and made holdable by every common file system.

Rules of this file:
1. A name from outside is bytes; it becomes text only to be shown, escaped.
2. What is encoded can be decoded, except where a name was too long; two names never become one.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from functools import lru_cache

PART_BYTES = 200
"""A part's longest safe form: 255 is the limit of ext4, exFAT, NTFS and APFS, less our suffixes."""

LONGEST_NAMED = 80
"""Letters of a name in a sentence or table: iXML takes a million, and the manifest has them all."""

OWN_PREFIX = ".takehold-"
"""Begins the names of our own temporary files; no foreign name is ever given it."""

# Control, format (bidi controls, zero-width), surrogate, line and paragraph separator: Unicode
# Standard, chapter 4.5, General_Category. The rest are letters and marks that show as nothing.
_HIDDEN_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
_HIDDEN_LETTERS = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u3164\uffa0")

# What exFAT (section 7.7.3) and NTFS refuse in a name, DEL, bytes that are no UTF-8 (they arrive
# as low surrogates), and a % that would read as an encoding of ours.
_UNHOLDABLE = re.compile(r'[\x00-\x1f\x7f"*/:<>?\\|\udc80-\udcff]|%(?=[0-9A-Fa-f]{2}|~)')
_CUT_MARK = b"%~"

# Device names of DOS and Windows ("Naming Files, Paths, and Namespaces", Microsoft): reserved in
# any case, with any extension, blanks before it, and with superscript digits.
_RESERVED = re.compile(
    r"(?:con|prn|aux|nul|clock\$|conin\$|conout\$|(?:com|lpt)[0-9\u00b9\u00b2\u00b3]) *(?:\.|$)",
    re.IGNORECASE,
)
_DRIVE = re.compile(rb"[A-Za-z]:")


def display(name: bytes) -> str:
    r"""A name as terminals, pages and logs may show it.

    Bytes that are no UTF-8 show as `\xff`, hidden characters as `\x1b`, `\u202e` or `\U000e0001`,
    a backslash as `\\`. Two different names never look the same by their escapes.
    """
    text = name.decode("utf-8", "surrogateescape")
    return text if _plain(text) else "".join(map(_shown_byte_or_char, text))


@lru_cache(1024)  # cards, tracks and scenes are a few, said of every file
def shown(text: str) -> str:
    r"""The same for text from outside; lone surrogates show as `\udcff`."""
    return text if _plain(text) else "".join(map(_shown_char, text))


def brief(text: str) -> str:
    """The same within a sentence, `cut` where it is long."""
    return shown(cut(text))


def cut(text: str) -> str:
    """A name without its middle where it is long: head, `…`, tail."""
    if len(text) <= LONGEST_NAMED:
        return text
    return f"{text[: LONGEST_NAMED - 16]}…{text[-15:]}"


def is_shown(text: str) -> bool:
    """Whether a text holds nothing hidden: it may be shown as it is."""
    return not any(map(_hidden, text))


def _plain(text: str) -> bool:
    """Whether it shows as it is, at one glance: nearly every name does."""
    return text.isascii() and text.isprintable() and "\\" not in text


def _hidden(char: str) -> bool:
    return unicodedata.category(char) in _HIDDEN_CATEGORIES or char in _HIDDEN_LETTERS


def _shown_char(char: str) -> str:
    if char == "\\":
        return "\\\\"
    if not _hidden(char):
        return char
    code = ord(char)
    if code < 0x80:
        return f"\\x{code:02x}"
    # U+0080 to U+00FF take four digits: two stand for a byte that is no UTF-8.
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


def _shown_byte_or_char(char: str) -> str:
    if "\udc80" <= char <= "\udcff":
        return f"\\x{ord(char) - 0xDC00:02x}"
    return _shown_char(char)


def safe_part(part: bytes) -> bytes:
    r"""One part of a path as ext4, exFAT, NTFS, APFS and SMB can hold it.

    `%XX` stands for one byte of: `" * / : < > ? \ |`, controls, bytes that are no UTF-8, a last
    dot or blank, the first letter of a DOS device name and of our own prefix, and a `%` that would
    read as an encoding. A result over `PART_BYTES` is cut: head, `%~`, 16 digits of the name's
    SHA-256, extension; the manifest keeps the true name. An empty part becomes `%00`.
    """
    if not part:
        return b"%00"
    text = part.decode("utf-8", "surrogateescape")
    safe = _UNHOLDABLE.sub(lambda found: _percent(found.group()), text)
    if safe[-1] in ". ":
        safe = safe[:-1] + _percent(safe[-1])
    if _RESERVED.match(safe) or same_key(part).startswith(OWN_PREFIX):
        safe = _percent(safe[0]) + safe[1:]
    raw = safe.encode()
    return raw if len(raw) <= PART_BYTES else _cut(raw, part)


def _percent(char: str) -> str:
    return f"%{ord(char) & 0xFF:02X}"


def _cut(safe: bytes, part: bytes) -> bytes:
    """Shorten stably. `%~` is in no other result, so a cut name meets only itself."""
    stem, dot, extension = safe.rpartition(b".")
    if not stem or len(extension) > 16:
        stem, dot, extension = safe, b"", b""
    tail = _CUT_MARK + hashlib.sha256(part).hexdigest()[:16].encode() + dot + extension
    head = stem[: PART_BYTES - len(tail)].decode("utf-8", "ignore").encode()
    return re.sub(rb"%[0-9A-F]?$", b"", head) + tail


def safe_path(path: bytes) -> bytes:
    """`safe_part` for each part of a path: the result is always `good_relative`."""
    return b"/".join(map(safe_part, path.split(b"/")))


def cut_folders(path: bytes) -> bytes:
    """A path with all its folders as one, that is named by their SHA-256: `%~`, 16 digits.

    For one that is too long as a whole; the manifest keeps the true path.
    """
    folders, _, name = path.rpartition(b"/")
    return _CUT_MARK + hashlib.sha256(folders).hexdigest()[:16].encode() + b"/" + safe_part(name)


def same_key(path: bytes) -> str:
    """Equal for two names that meet where case and Unicode form do not count.

    Canonical caseless matching (Unicode Standard, definition D145), in NFC.
    """
    if path.isascii():  # nearly every name: what follows would leave it so
        return path.lower().decode("ascii")
    text = unicodedata.normalize("NFD", path.decode("utf-8", "surrogateescape"))
    return unicodedata.normalize("NFC", text.casefold())


def good_relative(path: bytes) -> bool:
    """Whether a path stays below its folder on any system.

    Refuses absolute paths, empty parts, `.` and `..` (with `/` or a backslash between), NUL and
    drive letters.
    """
    if b"\0" in path or _DRIVE.match(path):
        return False
    return not {b"", b".", b".."} & set(path.replace(b"\\", b"/").split(b"/"))
