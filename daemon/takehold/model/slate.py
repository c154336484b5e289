"""Which scene and take a recording belongs to: what was on its slate.

What the file says of itself counts (iXML SCENE and TAKE, or the lines of bext that formats/bext
reads). Where it says neither, its name may: `12A-T03.wav`, `12A_T03_2.wav`, `S01T02.wav`, that is
a scene, a `T` after a digit, a letter behind a digit or a mark, and the take's number.
(Common practice, no source.)
"""

from __future__ import annotations

import re
from functools import lru_cache

from takehold.model.recording import Recording

_NAMED = (
    r"(?P<scene>.*?[0-9A-Za-z])(?:[-_ ]|(?<=[0-9])|(?<=[0-9][A-Za-z]))"
    r"[Tt](?P<take>[0-9]{1,4})(?![0-9A-Za-z]).*"
)
_LONGEST_NAME = 255


def scene_and_take(recording: Recording) -> tuple[str, str]:
    """Both as the file says, or as its name does; empty where neither says."""
    said = recording.description.metadata
    return slated(said.scene, said.take, recording.path)


def slated(scene: str, take: str, path: bytes) -> tuple[str, str]:
    """The same of a file that says `scene` and `take`, one of them or both empty."""
    if scene or take:
        return scene, take
    found = re.fullmatch(_NAMED, stem(path))  # compiled where a name is asked: it takes 2 ms
    return (found["scene"], found["take"]) if found else ("", "")


@lru_cache(maxsize=4096)  # a day has few scenes and track names, and each is asked for often
def same_words(text: str) -> str:
    """A scene as it compares with another: capitals and blanks do not count."""
    return "".join(text.split()).casefold()


def stem(path: bytes) -> str:
    """The name of a file without its ending."""
    name = path.rsplit(b"/", 1)[-1][:_LONGEST_NAME].decode("utf-8", "replace")
    return name.rpartition(".")[0] or name
