"""The daemon's state as a small file in the state folder, for the other commands to read."""

from __future__ import annotations

import contextlib
import errno
import json
import os

NAME = "live.json"
BLOCK, SPARE = 4096, 2048


class LiveFile:
    """Writes it; a file that cannot be written never stops the work.

    It is padded (JSON allows blanks at its end): a full disk still takes what fits into the old
    file's place, with a sentence or two more. What is old and cannot be replaced is removed: better
    nothing is shown than what was so before.
    """

    def __init__(self, folder: str) -> None:
        self._path = os.path.join(folder, NAME)

    def show(self, document: dict[str, object]) -> None:
        """Replace the file as a whole. It is no evidence, so it is not flushed."""
        text = json.dumps(document).encode()
        fresh = self._path + ".new"
        try:
            with open(fresh, "wb") as file:
                file.write(text.ljust((len(text) + SPARE) // BLOCK * BLOCK + BLOCK))
            os.replace(fresh, self._path)
        except OSError:
            with contextlib.suppress(OSError):
                os.unlink(fresh)
            self._in_place(text)

    def _in_place(self, text: bytes) -> None:
        """Over the old text, which holds its room already."""
        try:
            with open(self._path, "r+b") as file:
                held = os.fstat(file.fileno()).st_size
                file.write(text.ljust(held))
        except OSError:
            with contextlib.suppress(OSError):
                os.unlink(self._path)


def takes_writes(folder: str) -> bool:
    """Whether the folder's disk takes any; if not, what is shown there may be old.

    A file system that gave up after an error may still be called writable; it opens nothing to
    write (ext4, xfs and btrfs, tried). Nothing is written here: that could hang.
    """
    try:
        os.close(os.open(os.path.join(folder, NAME), os.O_WRONLY))
    except OSError as error:
        return error.errno not in (errno.EROFS, errno.EIO)
    return True


def read_live(folder: str) -> dict[str, object] | None:
    """The last state shown, None if there is none."""
    try:
        with open(os.path.join(folder, NAME), encoding="utf-8") as file:
            document = json.load(file)
    except (OSError, ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None
