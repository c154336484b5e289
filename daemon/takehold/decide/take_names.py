"""Which scene and take a recording belongs to, and whether it was made to replace another.

What the file says of itself counts (iXML SCENE and TAKE, or the lines of bext that formats/bext
reads). Where it says neither, its name may: `12A-T03.wav`, `12A_T03_2.wav`, `S01T02.wav`, that is
a scene, a `T` after a digit, a letter behind a digit or a mark, and the take's number.
(Common practice, no source.)
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import lru_cache

from takehold.model.recording import Recording

_NAMED = re.compile(
    r"(?P<scene>.*?[0-9A-Za-z])(?:[-_ ]|(?<=[0-9])|(?<=[0-9][A-Za-z]))"
    r"[Tt](?P<take>[0-9]{1,4})(?![0-9A-Za-z]).*"
)
_LONGEST_NAME = 255


def scene_and_take(recording: Recording) -> tuple[str, str]:
    """Both as the file says, or as its name does; empty where neither says."""
    said = recording.description.metadata
    if said.scene or said.take:
        return said.scene, said.take
    found = _NAMED.fullmatch(_stem(recording))
    return (found["scene"], found["take"]) if found else ("", "")


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
        texts = (_stem(recording), said.note, said.scene, said.take)
        return any(search(text) is not None for text in texts)

    return tells


@lru_cache(maxsize=4096)  # a day has few scenes and track names, and each is asked for often
def same_words(text: str) -> str:
    """A scene as it compares with another: capitals and blanks do not count."""
    return "".join(text.split()).casefold()


def same_number(text: str) -> str:
    """A take as it compares with another: leading zeros do not count either."""
    return same_words(text).lstrip("0")


def _stem(recording: Recording) -> str:
    name = recording.path.rsplit(b"/", 1)[-1][:_LONGEST_NAME].decode("utf-8", "replace")
    return name.rpartition(".")[0] or name


def _pattern(word: str) -> str:
    return re.escape(word).replace(r"\*", r"[^\W_]*").replace(r"\?", r"[^\W_]")
