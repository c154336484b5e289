"""Whose sound a transmitter's own recording holds.

Transmitters name the person in different places (common practice, no source): the iXML track
list, bext's description, the file's or folder's name, or not at all. What is the name of a track
of the day's takes counts, wherever it stands; else what the file says, else the source's name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from collections.abc import Set as AbstractSet

from takehold.model.recording import Load, Recording
from takehold.model.slate import same_words

_WORD = re.compile(r"[^\W_]+")
_MOST_WORDS = 12
_LONGEST = 255
_LONGEST_SAID = 32


def pack_names(recording: Recording, load: Load, tracks: AbstractSet[str]) -> tuple[str, ...]:
    """The names of a file's tracks; `tracks` are those of the day's takes, by `same_words`."""
    told = tuple(t.name for t in recording.description.metadata.tracks if same_words(t.name))
    if any(same_words(name) in tracks for name in told):
        return told
    for name in _texts(recording, load):
        if same_words(name) in tracks:
            return (name,)
    return told or (_said(recording) or load.source,)


def _said(recording: Recording) -> str:
    """Bext's description where it may be a name: one short line that sets nothing."""
    said = recording.description.metadata.description.strip()
    return said if len(said) <= _LONGEST_SAID and said.isprintable() and "=" not in said else ""


def _texts(recording: Recording, load: Load) -> Iterator[str]:
    """Texts that may hold the name, and all runs of words in them, the longest first."""
    *folders, name = recording.path[-_LONGEST * 4 :].decode("utf-8", "replace").split("/")
    stem = name.rpartition(".")[0] or name
    said = recording.description.metadata.description
    for text in (said, stem, *reversed(folders), load.source, load.label):
        yield text[:_LONGEST]
        words = _WORD.findall(text[:_LONGEST])[:_MOST_WORDS]
        for length in range(len(words), 0, -1):
            for first in range(len(words) - length + 1):
                yield " ".join(words[first : first + length])
