"""What a destination holds, read from outside: no line of the product is used here.

The rules are those a DIT would hold us to. A name that is not a temporary one is a promise: its
bytes are the card's. What was there before is as it was. A card is not touched.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping
from pathlib import Path

# FUSE keeps a file that was removed while it was open under a name of its own for a moment.
TEMPORARY = re.compile(r"\.takehold-.*\.part|\.fuse_hidden.*")
PAPER = re.compile(r"\d{4}-\d\d-\d\d\.r\d+\..+")  # a manifest and what belongs to it
# What was saved of a file that cannot be read whole: no copy, and not named like one.
SAVED = re.compile(r"(.+)\.PARTS-MISSING(?:-[0-9]+)?(\.txt)?")
RANGE = re.compile(r"^  ([0-9]+)-([0-9]+)", re.MULTILINE)
SYSTEM = frozenset({"lost+found"})


def names_of(root: Path) -> list[str]:
    """The path of each file below a folder; links and a system's own left out."""
    found = []
    for folder, folders, names in os.walk(root):
        folders[:] = [name for name in folders if name not in SYSTEM]
        paths = [Path(folder, name) for name in names]
        found += [
            os.path.relpath(path, root)
            for path in paths
            if path.is_file() and not path.is_symlink()
        ]
    return found


def files_of(root: Path) -> dict[str, bytes]:
    """All files below a folder by their path in it, with their bytes."""
    return {path: (root / path).read_bytes() for path in names_of(root)}


def finals(root: Path) -> dict[str, bytes]:
    """What counts as a copy: neither a temporary name nor paper, which may be gone any moment."""
    return {
        path: (root / path).read_bytes()
        for path in names_of(root)
        if not TEMPORARY.fullmatch(os.path.basename(path))
        and not PAPER.fullmatch(os.path.basename(path))
        and not SAVED.fullmatch(os.path.basename(path))
    }


def saved(root: Path, name: str, card: bytes) -> list[tuple[int, int]]:
    """The ranges (first, end) that are missing of a file of the card, as the text beside it says.

    Fails unless there is one such file, equal to the card's outside of them and zero within.
    """
    found = [p for p in names_of(root) if SAVED.fullmatch(os.path.basename(p))]
    [path] = [p for p in found if p.endswith(f"/{name}.PARTS-MISSING")]
    assert ".salvage/" in path, "it lies among the copies"
    data, text = (root / path).read_bytes(), (root / f"{path}.txt").read_text()
    holes = [(int(first), int(last) + 1) for first, last in RANGE.findall(text)]
    wanted = bytearray(card)
    for first, end in holes:
        wanted[first:end] = bytes(end - first)
    assert data == wanted, f"{path} is not what can be read of the card's file"
    return holes


def temporaries(root: Path) -> list[str]:
    """What counts for nothing."""
    return [p for p in names_of(root) if TEMPORARY.fullmatch(os.path.basename(p))]


def whole(root: Path, card: Mapping[str, bytes]) -> set[str]:
    """The files of the card that lie on a destination; fails if one final name is not true.

    `card` holds what was put on the card, by the path there, which each copy's path ends with.
    """
    names = set()
    for path, data in finals(root).items():
        name = next((n for n in card if path.endswith("/" + n)), None)
        assert name is not None, f"{path} has the name of no file of the card"
        assert data == card[name], f"{path} has a final name and other bytes than the card"
        names.add(name)
    return names


def unchanged(before: Mapping[str, bytes], root: Path) -> None:
    """Fail if a file that stood there was overwritten, cut or removed."""
    now = files_of(root)
    for path, data in before.items():
        assert now.get(path) == data, f"{path} stood there and is not what it was"


def image_digest(image: Path) -> str:
    """SHA-256 of a whole image."""
    with image.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
