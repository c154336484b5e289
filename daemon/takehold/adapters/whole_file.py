"""A small file that is there whole or not at all, and never takes another's place.

Written under a part's name beside its place, flushed, then named. A process that is killed leaves a
part at most; whoever writes into that folder next takes it away.
"""

from __future__ import annotations

import os
import re
import secrets
import sys
from collections.abc import Callable
from contextlib import suppress

from takehold.formats.names import OWN_PREFIX

_PART = re.compile(re.escape(OWN_PREFIX).encode() + rb"[0-9a-f]{16}\.part")
_FLAGS = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)

Check = Callable[[os.stat_result], None]


def write_whole(path: bytes, content: bytes, mode: int = 0o644, check: Check | None = None) -> None:
    """Write a new file, durable on return.

    `check` sees what the file system made of the mode, before anything is written and after.
    Raises FileExistsError if the name is taken, OSError, and what `check` raises; nothing is left
    then.
    """
    folder, name = os.path.dirname(path) or b".", os.path.basename(path)
    sweep(folder)
    part = f"{OWN_PREFIX}{secrets.token_hex(8)}.part".encode()
    place = os.path.join(folder, part)
    handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _FLAGS, mode)
    lock = os.dup(handle)  # held until it has its name: a sweep leaves it alone
    try:
        with os.fdopen(handle, "wb") as file:
            _lock(lock)
            if check is not None:
                check(os.fstat(handle))
            file.write(content)
            file.flush()
            os.fsync(handle)
        if check is not None:  # some file systems claim a mode until the file is looked up anew
            check(os.lstat(place))
        _name(folder, part, name)
        place = path
        _flush(folder)
    except BaseException:
        with suppress(OSError):
            os.unlink(place)
        raise
    finally:
        os.close(lock)


def sweep(folder: bytes) -> None:
    """Take away parts whose writer is gone; what cannot be taken now is for the next time."""
    with suppress(OSError):
        for name in os.listdir(folder):
            if _PART.fullmatch(name):
                _take_away(os.path.join(folder, name))


def _take_away(part: bytes) -> None:
    with suppress(OSError):
        handle = os.open(part, os.O_RDONLY | _FLAGS)
        try:
            if _lock(handle):
                os.unlink(part)
        finally:
            os.close(handle)


if sys.platform == "win32":

    def _lock(handle: int) -> bool:
        """An open file cannot be removed there: it needs no lock of its own."""
        return handle >= 0

    def _name(folder: bytes, part: bytes, name: bytes) -> None:
        """A rename never replaces there."""
        os.rename(os.path.join(folder, part), os.path.join(folder, name))

    def _flush(folder: bytes) -> None:
        """No folder can be opened there; its names last by themselves."""

else:
    from takehold.adapters.disk.naming import KnownNames
    from takehold.adapters.disk.writing import in_use

    def _lock(handle: int) -> bool:
        """Whether it is ours now."""
        return not in_use(handle)

    def _name(folder: bytes, part: bytes, name: bytes) -> None:
        """Never replaces."""
        handle = os.open(folder, os.O_RDONLY)
        try:
            KnownNames().rename(b"", handle, part, name)
        finally:
            os.close(handle)

    def _flush(folder: bytes) -> None:
        """Make the names of a folder last."""
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
