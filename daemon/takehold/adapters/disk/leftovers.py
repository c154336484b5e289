"""Parts that a writer left behind: found in a folder, and removed where nothing hangs on them."""

from __future__ import annotations

import os
from contextlib import suppress

from takehold.adapters.disk.roots import close_quietly, is_plain
from takehold.adapters.disk.writing import OWN_PART, in_use

# They have no journal. A power cut can leave a file that was just named under both its names, with
# one and the same clusters: to remove the one would free, for the next file, what the other shows.
# fuseblk is exFAT or NTFS, served by a program.
_NAMES_CAN_TEAR = frozenset({"exfat", "fuseblk", "vfat", "msdos", "fat", "fat32"})
_AT_ONCE = 1 << 20


def sweep_folder(folder: int, kind: str) -> tuple[list[bytes], int]:
    """The folders in an open folder, and how many leftovers were removed from it.

    `kind` is the file system's (Volume.kind).
    """
    folders, leftovers, others = _look(folder)
    if leftovers and kind in _NAMES_CAN_TEAR:
        leftovers = [name for name in leftovers if not _has_twin(folder, name, others)]
    return folders, sum(_remove(folder, name) for name in leftovers)


def _look(folder: int) -> tuple[list[bytes], list[bytes], list[bytes]]:
    """Names of the folders in an open folder, of own parts, and of the other files."""
    folders: list[bytes] = []
    leftovers: list[bytes] = []
    others: list[bytes] = []
    with os.scandir(folder) as entries:
        for entry in entries:
            name = os.fsencode(entry.name)
            if entry.is_dir(follow_symlinks=False):
                folders.append(name)
            elif entry.is_file(follow_symlinks=False):
                (leftovers if OWN_PART.fullmatch(name) else others).append(name)
    return folders, leftovers, others


def _has_twin(folder: int, name: bytes, others: list[bytes]) -> bool:
    """Whether a file beside it has its length, time and bytes; an empty one has no clusters.

    A rename keeps the time: another file of the same bytes was written at another one.
    """
    mark = _mark(folder, name)
    twins = [other for other in others if mark[0] and _mark(folder, other) == mark]
    return any(_same(folder, name, other) for other in twins)


def _mark(folder: int, name: bytes) -> tuple[int, int]:
    about = os.stat(name, dir_fd=folder, follow_symlinks=False)
    return about.st_size, about.st_mtime_ns


def _same(folder: int, one: bytes, other: bytes) -> bool:
    flags = os.O_RDONLY | os.O_NOFOLLOW
    with (
        open(os.open(one, flags, dir_fd=folder), "rb") as left,
        open(os.open(other, flags, dir_fd=folder), "rb") as right,
    ):
        while (piece := left.read(_AT_ONCE)) == right.read(_AT_ONCE):
            if not piece:
                return True
    return False


def _remove(folder: int, name: bytes) -> bool:
    """Remove a part, holding its lock so that nobody begins to use it."""
    with suppress(OSError):
        fd = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK, dir_fd=folder)
        try:
            if is_plain(os.fstat(fd)) and not in_use(fd):
                os.unlink(name, dir_fd=folder)
                return True
        finally:
            close_quietly(fd)
    return False
