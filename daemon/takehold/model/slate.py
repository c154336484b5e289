"""Which scene and take a recording belongs to: what was on its slate.

What the file says of itself counts (iXML SCENE and TAKE, or the lines of bext that formats/bext
reads). Where it says neither, its name may: `12A-T03.wav`, `12A_T03_2.wav`, `S01T02.wav`, that is
a scene, a `T` after a digit, a letter behind a digit or a mark, and the take's number. `9WT01` is
wild track 1 of scene 9. (Common practice, no source.)
"""

from __future__ import annotations

import re
from functools import lru_cache

from takehold.model.recording import Recording

_TAKE = r"[Tt](?P<take>[0-9]{1,4})(?![0-9A-Za-z]).*"
# In this order: `16PT1-T002` is take 2 of scene 16PT1, a part of a scene.
_NAMED = (
    r"(?P<scene>.*?[0-9])(?P<take>[Ww][Tt][0-9]{1,4})(?![0-9A-Za-z]).*",
    rf"(?P<scene>.*?[0-9A-Za-z])(?:[-_ ]|(?<=[0-9])){_TAKE}",
    rf"(?P<scene>.*?[0-9][A-Za-z]){_TAKE}",
)
# The time of day follows a date after a T, too (ISO 8601-1:2019, from memory).
_DATE = r"(?:.*[^0-9])?[0-9]{4}(-?)(?:0[1-9]|1[0-2])\1(?:0[1-9]|[12][0-9]|3[01])"
_LONGEST_NAME = 255


def scene_and_take(recording: Recording) -> tuple[str, str]:
    """Both as the file says, or as its name does; empty where neither says."""
    said = recording.description.metadata
    return slated(said.scene, said.take, recording.path)


def slated(scene: str, take: str, path: bytes) -> tuple[str, str]:
    """The same of a file that says `scene` and `take`, one of them or both empty."""
    if scene or take:
        return scene, take
    name = stem(path)
    for form in _NAMED:  # compiled where a name is asked: it takes 2 ms
        found = re.fullmatch(form, name)
        if found and not re.fullmatch(_DATE, found["scene"]):
            return found["scene"], found["take"]
    return "", ""


@lru_cache(maxsize=4096)  # a day has few scenes and track names, and each is asked for often
def same_words(text: str) -> str:
    """A scene as it compares with another: capitals and blanks do not count."""
    return "".join(text.split()).casefold()


def stem(path: bytes) -> str:
    """The name of a file without its ending."""
    name = path.rsplit(b"/", 1)[-1][:_LONGEST_NAME].decode("utf-8", "replace")
    return name.rpartition(".")[0] or name
