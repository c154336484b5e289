"""Which line of a TOML text a key stands on; the standard library's reader keeps no lines.

Layout: TOML 1.0.0 (toml.io). The text is expected to be valid TOML; of other text the answer is
only as good as the text. No recursion, so that deep nesting costs nothing.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass

Path = tuple[str | int, ...]

_DEEPEST = 16  # keys nested deeper are not kept

_WORD = re.compile(
    r"""
    "{3} (?: [^\\] | \\. )*? "{3,5}     # up to two quotes may stand before the closing three
    | '{3} .*? '{3,5}
    | " (?: [^"\\\n] | \\. )* "
    | ' [^'\n]* '
    | \# [^\n]*
    | \n
    | [\[\]{},=.]
    | [^\s"'\#\[\]{},=.]+
    """,
    re.DOTALL | re.VERBOSE,
)


def line_of(text: str, path: Path) -> int | None:
    """The line, counted from 1, where a key, table or array entry begins; None if not found.

    A number in `path` counts the entries of an array from 0: ("source", 1, "label").
    """
    return lines_of(text).get(path)


def lines_of(text: str) -> dict[Path, int]:
    """The first line of every key, table and array entry of the text."""
    return _Lines(text).read()


@dataclass(slots=True)
class _Open:
    """An array or inline table being read; `at` is where its next value belongs, once known."""

    path: Path
    array: bool
    at: Path | None = None
    index: int = 0


class _Lines:
    """One walk over the words. `lines` is what was found, `table` where keys stand now."""

    def __init__(self, text: str) -> None:
        self.words = _words(text)
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}
        self.table: Path = ()

    def read(self) -> dict[Path, int]:
        for word, line in self.words:
            if word == "[":
                self._header(line)
            elif word != "\n":
                self._value(self._key(self.table, word, line))
        return self.lines

    def _mark(self, path: Path, line: int) -> Path:
        for end in range(1, min(len(path), _DEEPEST) + 1):
            self.lines.setdefault(path[:end], line)
        return path

    def _header(self, line: int) -> None:
        """The rest of `[a.b]` or `[[a.b]]`."""
        names: list[str] = []
        listed = False
        for word, _ in self.words:
            if word == "\n":
                break
            if word == "[":
                listed = True
            elif word not in "].":
                names.extend(_names(word))
        path: Path = ()
        for name in names:
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
            path = (*path, name)
        if listed:
            self.counts[path] = self.counts.get(path, 0) + 1
        if path in self.counts:
            path = (*path, self.counts[path] - 1)
        self.table = self._mark(path, line)

    def _key(self, table: Path, word: str, line: int) -> Path:
        """A dotted key that begins with `word`, to its equals sign."""
        names = [*_names(word)]
        for part, _ in self.words:
            if part in "=\n":
                break
            if part != ".":
                names.extend(_names(part))
        return self._mark((*table, *names), line)

    def _value(self, path: Path) -> None:
        """A value to the end of its last line, with the keys and entries inside it."""
        open_ = [_Open(path, array=False, at=path)]
        for word, line in self.words:
            inner = open_[-1]
            if word == "\n":
                if len(open_) == 1:
                    return
            elif word == ",":
                inner.index, inner.at = inner.index + 1, None
            elif word in "]}":
                if len(open_) > 1:
                    open_.pop()
            elif inner.at is None and not inner.array:
                inner.at = self._key(inner.path, word, line)
            else:
                inner.at = inner.at or self._mark((*inner.path, inner.index), line)
                if word in "[{":
                    open_.append(_Open(inner.at, array=word == "["))


def _names(word: str) -> tuple[str, ...]:
    """The key that a word spells."""
    if word[0] not in "\"'":
        return (word,)
    try:
        return (str(tomllib.loads(f"k = {word}")["k"]),)
    except tomllib.TOMLDecodeError:
        return (word,)


def _words(text: str) -> Iterator[tuple[str, int]]:
    """Words and marks with their lines, without comments and blanks."""
    line = 1
    for match in _WORD.finditer(text):
        word = match[0]
        if word[0] != "#":
            yield word, line
        line += word.count("\n")
