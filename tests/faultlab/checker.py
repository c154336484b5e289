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
    }


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
