"""Which mounted volumes a label's pattern means."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

from takehold.model.volume import Volume


def matches(pattern: str, label: str) -> bool:
    """Whether a label fits a pattern whole: `*` is any text, `?` one character, the rest itself.

    In any case, because FAT keeps labels in upper case, and in any Unicode form, because some
    systems decompose them. Time grows with len(pattern) * len(label) at most.
    """
    wanted, given = _folded(pattern), _folded(label)
    at = here = 0
    star, resume = -1, 0
    while here < len(given):
        if at < len(wanted) and wanted[at] == "*":
            star, resume, at = at, here, at + 1
        elif at < len(wanted) and wanted[at] in ("?", given[here]):
            at, here = at + 1, here + 1
        elif star >= 0:  # the last star takes one character more
            resume += 1
            at, here = star + 1, resume
        else:
            return False
    return not wanted[at:].strip("*")


def volumes_for(pattern: str, volumes: Iterable[Volume]) -> tuple[Volume, ...]:
    """The volumes with a fitting label, in their order; one mounted twice is named once."""
    found: dict[str, Volume] = {}
    for volume in volumes:
        if volume.label and matches(pattern, volume.label):
            found.setdefault(volume.device, volume)
    return tuple(found.values())


def _folded(text: str) -> str:
    return unicodedata.normalize("NFC", text).lower()
