"""Where does a recording go on a destination?

1. `<production>/<day>/<card>/<path as on the card>`, each part as every file system can hold it.
2. Two recordings never meet in one place, whatever the case or Unicode form of their names.
3. A place, once given, never changes.
"""

from __future__ import annotations

from collections.abc import Iterable
from collections.abc import Set as AbstractSet

from takehold.formats.names import cut_folders, safe_part, safe_path, same_key
from takehold.model.recording import Load

PLACE_BYTES = 1000
"""A place's longest form, but for a suffix: tools take paths of 4,096 bytes at most (Linux,
PATH_MAX in limits.h), on macOS 1,024 (from memory), the drive's own path included."""


def day_folder(production: str, day: str) -> bytes:
    """The folder of a shooting day below a destination's root."""
    return safe_part(production.encode()) + b"/" + day.encode()


def card_folder(label: str, day: str, loads: Iterable[Load]) -> bytes:
    """A load's folder name: the card's label, with `.load-2` for the second one of that day."""
    base = safe_part(label.encode("utf-8", "surrogateescape") or b"CARD")
    taken = {same_key(load.folder) for load in loads if load.day == day}
    name, number = base, 1
    while same_key(name) in taken:
        number += 1
        name = base + b".load-%d" % number
    return name


def place_of(
    production: str, day: str, folder: bytes, path: bytes, version: int, taken: AbstractSet[str]
) -> bytes:
    """The place of one version of a file; `taken` holds the `same_key` of every place given."""
    below = day_folder(production, day) + b"/" + folder + b"/"
    plain = below + safe_path(path)
    if len(plain) > PLACE_BYTES:
        plain = below + cut_folders(path)
    if version > 1:
        plain = beside(plain, b"edit", version)
    place, number = plain, 1
    while same_key(place) in taken:
        number += 1
        place = beside(plain, b"other", number)
    return place


def beside(place: bytes, word: bytes, number: int) -> bytes:
    """A name next to `place`, with the same ending: `A/T01.edit-2.WAV`."""
    folder, slash, name = place.rpartition(b"/")
    stem, dot, ending = name.rpartition(b".")
    if not stem:
        stem, dot, ending = name, b"", b""
    return folder + slash + stem + b".%s-%d" % (word, number) + dot + ending
