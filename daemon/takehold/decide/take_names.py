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
# A mix tells itself by a word between marks: `1T03_Mix_L`, `1T03_Mix1`, `MIX_1T03`, or by its
# folder's. (Common practice, no source.)
_MIX = re.compile(
    r"(?:^|[-_ ])mix(?:es|down|[lr]{1,2})?[0-9]{0,2}(?=[-_ ]|$)",
    re.IGNORECASE,
)


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
    """Whether a word of its name or its folder says that it is a mix, or a folder called so."""
    name, folder = stem(path), folder_of(path)
    before = without_word(name)
    word = name[len(before) :] if before else folder
    said = "mix" in same_words(word) or any(map(_MIX.search, (name, folder)))
    return said or any(map(_MIX.fullmatch, _folders(path)))


def is_below_mixes(path: bytes) -> bool:
    """Whether a word of any of its folders says so."""
    return any(map(_MIX.search, _folders(path)))


def stands_for(name: str) -> set[str]:
    """The names of files that one of this name may lie beside: its own, and without its word."""
    found = _MIX.search(name)
    before, after = (name[: found.start()], name[found.end() + 1 :]) if found else ("", "")
    of_mix = before if any(map(str.isdigit, before)) else after
    return {name, without_word(name), of_mix} - {""}


def folder_of(path: bytes, *, beside: bool = False) -> str:
    """The name of the folder it lies in, or `beside`, if that is one of mixes or MP3s; else ""."""
    folders = _folders(path)
    while beside and folders and ("mp3" in folders[-1].casefold() or _MIX.search(folders[-1])):
        folders.pop()
    return folders[-1] if folders else ""


def _folders(path: bytes) -> list[str]:
    return path.decode("utf-8", "replace").split("/")[:-1]


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
