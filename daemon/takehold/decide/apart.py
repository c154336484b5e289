"""Copies stand apart from what they are made of: neither folder lies within the other.

A destination within a source would be written onto the card (P1), listed as new files there, and
copied again without end.
"""

from __future__ import annotations

from collections.abc import Iterable

from takehold.formats.names import same_key
from takehold.model.settings import Source
from takehold.model.volume import Root


def meets(root: Root, sources: Iterable[tuple[Source, Root]]) -> Source | None:
    """The first source whose folder holds `root`, or lies within it."""
    return next((source for source, its in sources if _overlap(root, its)), None)


def _overlap(one: Root, other: Root) -> bool:
    """By what the file system itself calls them, so that a second mount of a folder is seen.

    In any case and Unicode form: on a card these do not count.
    """
    if one.volume.device != other.volume.device:
        return False
    return all(a == b for a, b in zip(_parts(one), _parts(other), strict=False))


def _parts(root: Root) -> list[str]:
    volume = root.volume
    folders = (volume.top, root.path[len(volume.mount) :])
    return [part for folder in folders for part in same_key(folder).split("/") if part]
