"""Configured folders: is it there, and on the volume it was on before?"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable

from takehold.formats.names import display, shown
from takehold.model.volume import Root, Volume
from takehold.ports.volumes import Absent


def root_of(volume: Volume, folder: bytes = b"") -> Root:
    """A folder of a volume, relative to its mount point, as a root."""
    folder = folder.strip(b"/")
    if not folder:
        return Root(volume.mount, volume, volume.identity)
    path = os.path.join(volume.mount, folder)
    return Root(path, volume, f"{volume.identity}:{display(folder)}")


def tidy(path: bytes) -> bytes:
    """Without the `/` at its end, which would follow a link."""
    return path.rstrip(b"/") or b"/"


def refusal(path: bytes) -> Absent | None:
    """Why a path is no folder to work in; None if it is one."""
    name = display(path)
    if not os.path.isabs(path) or b"\0" in path:
        return Absent(f"{name} is no complete path. Write it from the top.")
    try:
        mode = os.lstat(path).st_mode
    except OSError as error:
        return refused(path, error)
    if stat.S_ISLNK(mode):
        return Absent(f"{name} is a link. Name the folder that it leads to.")
    return None if stat.S_ISDIR(mode) else Absent(f"{name} is no folder.")


def refused(path: bytes, error: OSError) -> Absent:
    """The answer for a folder that cannot be looked at."""
    name = display(path)
    if isinstance(error, PermissionError):
        return Absent(f"{name} cannot be looked at: the system refuses access.", "no-rights")
    if isinstance(error, FileNotFoundError):
        return Absent(f"{name} is not there. Mount its volume, or make the folder.")
    return Absent(f"{name} does not answer: {error.strerror}. Mount its volume again.")


def silent(path: bytes) -> Absent:
    """The answer for a folder whose volume hangs."""
    return Absent(f"{display(path)} does not answer. Its volume hangs: mount it again.")


def judged(path: bytes, root: Root, known_identity: str | None) -> Root | Absent:
    """The root itself, if it is the one that was recorded for the configured `path` (P4)."""
    if known_identity in (None, root.identity):
        return root
    volume = root.volume
    return Absent(
        f"{display(path)} is not there: the folder exists, but it lies on another volume "
        f"({shown(volume.label)}, mounted at {display(volume.mount)}) than the one recorded for "
        "it. It is left alone. Mount its own volume; if this one is the right one, give it "
        "another name in the config."
    )


def holder(path: bytes, volumes: Iterable[Volume]) -> Volume | None:
    """The volume with the longest mount point that `path`, free of links, lies below."""
    above = [v for v in volumes if inside(path, v.mount)]
    return max(above, key=lambda v: len(v.mount), default=None)


def inside(path: bytes, mount: bytes) -> bool:
    """Whether a path, free of links, is a mount point or lies below it."""
    top = os.path.normcase(mount)
    path = os.path.normcase(path)
    sep = os.fsencode(os.sep)
    return path == top or path.startswith(top if top.endswith(sep) else top + sep)


def find(path: bytes, volumes: Iterable[Volume], known_identity: str | None) -> Root | Absent:
    """A configured folder on one of these volumes, by its path alone."""
    no = refusal(path)
    if no is not None:
        return no
    real = os.path.realpath(path)
    volume = holder(real, volumes)
    if volume is None:
        return Absent(f"{display(path)} lies on no volume that is known. Mount its volume.")
    folder = os.path.relpath(real, volume.mount)
    folder = b"" if folder == b"." else folder.replace(os.fsencode(os.sep), b"/")
    return judged(path, root_of(volume, folder), known_identity)
