"""What is told by the names of files, scenes and takes: which are one, and which stand for another.

Which scene and take a recording belongs to is of the model (model/slate).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

from takehold.model.recording import Recording
from takehold.model.slate import same_words, stem

# What files of one set have in common: a number, and behind a mark what each file is, as `_1`,
# `_Tr2` or `_Boom`. Recordings that are counted have zeros before: `_001`. (Common practice, no
# source.)
_MEMBER = re.compile(r"(.*[0-9].*)[-_ ](?:[^\W\d_]+|[^\W\d_]*[1-9][0-9]?)")
_WORD = re.compile(r"(.*[0-9].*)[-_ ][^\W\d_]+")


def set_name(names: Iterable[str]) -> str:
    """What files have in common that are named as those of a set are, else "".

    Of names, or paths, without their endings: `T01` of `T01_1` and `T01_2`, or of `T01_Boom`.
    """
    found = {_before(name, _MEMBER) for name in names}
    return found.pop() if len(found) == 1 else ""


def without_word(name: str) -> str:
    """What stands before its last mark, if a word does behind it: `T01` of `T01_Mix`, else ""."""
    return _before(name, _WORD)


def says_mix(path: bytes) -> bool:
    """Whether the word behind its name, else its folder, says that it is a mix."""
    name = stem(path)
    before = without_word(name)
    folder = path.rpartition(b"/")[0].rpartition(b"/")[2].decode("utf-8", "replace")
    return "mix" in same_words(name[len(before) :] if before else folder)


def _before(name: str, what: re.Pattern[str]) -> str:
    found = what.fullmatch(name)
    return found[1] if found else ""


def marked(words: Iterable[str]) -> Callable[[Recording], bool]:
    """Tells whether the name or the note of a recording holds one of these words.

    In them `*` stands for any letters and digits, `?` for one; capitals do not matter.
    """
    patterns = [_pattern(word) for word in words if word]
    if not patterns:
        return lambda _recording: False
    search = re.compile(rf"(?<![^\W_])(?:{'|'.join(patterns)})(?![^\W_])", re.IGNORECASE).search

    def tells(recording: Recording) -> bool:
        said = recording.description.metadata
        texts = (stem(recording.path), said.note, said.scene, said.take)
        return any(search(text) is not None for text in texts)

    return tells


def same_number(text: str) -> str:
    """A take as it compares with another: leading zeros do not count either."""
    return same_words(text).lstrip("0")


def _pattern(word: str) -> str:
    return re.escape(word).replace(r"\*", r"[^\W_]*").replace(r"\?", r"[^\W_]")
