"""What a computer leaves on a card: ignored by this list alone, counted and named (P7).

The list is closed: a name that is not on it is copied. Names are those that current systems write
(common practice, no source).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from typing import NamedTuple

from takehold.model.facts import Skip
from takehold.model.recording import Stamp

LITTER_FOLDERS = (
    b".spotlight-v100",
    b".fseventsd",
    b".trashes",
    b".trash-*",
    b".temporaryitems",
    b".documentrevisions-v100",
    b"system volume information",
    b"$recycle.bin",
    b"recycler",
    b"lost+found",
)
LITTER_FILES = (
    b"._*",
    b".ds_store",
    b".apdisk",
    b".volumeicon.icns",
    b"thumbs.db",
    b"desktop.ini",
    b"indexervolumeguid",
)
WAVE_ENDINGS = (b".wav", b".bwf", b".rf64")
AUDIO_ENDINGS = (*WAVE_ENDINGS, b".w64", b".flac", b".mp3", b".aif", b".aiff")

# Why an audio file in one of the folders is not copied; its size follows.
HIDDEN_AUDIO = "audio in a litter folder"

# Notes, reports and pictures: nobody expects them on the backup card.
DOCUMENT_ENDINGS = (
    b".txt",
    b".csv",
    b".tsv",
    b".pdf",
    b".xml",
    b".html",
    b".log",
    b".json",
    b".ini",
    b".cfg",
    b".dat",
    b".jpg",
    b".png",
)


class Sorted(NamedTuple):
    """A listing without its litter. `hidden_audio` are audio files inside litter folders."""

    files: tuple[tuple[bytes, Stamp], ...]
    litter: tuple[tuple[str, int], ...]
    hidden_audio: tuple[bytes, ...]


def _any_of(patterns: Iterable[bytes]) -> re.Pattern[bytes]:
    """One expression with a group for each; each look asks of each file."""
    groups = (b"(" + re.escape(pattern).replace(rb"\*", b".*") + b")" for pattern in patterns)
    return re.compile(b"|".join(groups), re.DOTALL)


_FOLDER, _FILE = _any_of(LITTER_FOLDERS), _any_of(LITTER_FILES)


def litter_name(path: bytes) -> str | None:
    """The pattern of the list that a path falls under, None for a file to copy."""
    *folders, name = path.lower().split(b"/")
    for folder in folders:
        if (found := _FOLDER.fullmatch(folder)) and found.lastindex:
            return LITTER_FOLDERS[found.lastindex - 1].decode() + "/"
    if (found := _FILE.fullmatch(name)) and found.lastindex:
        return LITTER_FILES[found.lastindex - 1].decode()
    return None


def sort_litter(files: Iterable[tuple[bytes, Stamp]]) -> Sorted:
    """Part the files to copy from the litter."""
    kept: list[tuple[bytes, Stamp]] = []
    counts: Counter[str] = Counter()
    hidden: list[bytes] = []
    for path, stamp in files:
        pattern = litter_name(path)
        if pattern is None:
            kept.append((path, stamp))
            continue
        counts[pattern] += 1
        if pattern.endswith("/") and holds_audio(path):
            hidden.append(path)
    return Sorted(tuple(kept), tuple(sorted(counts.items())), tuple(hidden))


def holds_audio(path: bytes) -> bool:
    """Whether the name is one of an audio file, and not of a computer's note beside one."""
    name = path.rsplit(b"/", 1)[-1].lower()
    return name.endswith(AUDIO_ENDINGS) and not name.startswith(b"._")


def named_wave(path: bytes) -> bool:
    """Whether the name is one of a WAVE file, whatever its content is."""
    return holds_audio(path) and path.lower().endswith(WAVE_ENDINGS)


def is_document(path: bytes) -> bool:
    """Whether the name is one of a note, a report or a picture."""
    return path.lower().endswith(DOCUMENT_ENDINGS)


def matters(skip: Skip) -> bool:
    """Whether a skipped entry leaves something unknown: litter folders may stay unread."""
    return litter_name(skip.path + b"/x") is None
