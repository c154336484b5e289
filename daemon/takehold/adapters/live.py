"""The daemon's state as a small file in the state folder, for the other commands to read."""

from __future__ import annotations

import contextlib
import json
import os

NAME = "live.json"


class LiveFile:
    """Writes it; a file that cannot be written never stops the work."""

    def __init__(self, folder: str) -> None:
        self._path = os.path.join(folder, NAME)

    def show(self, document: dict[str, object]) -> None:
        """Replace the file as a whole. It is no evidence, so it is not flushed."""
        fresh = self._path + ".new"
        with contextlib.suppress(OSError):
            with open(fresh, "w", encoding="utf-8") as file:
                json.dump(document, file)
            os.replace(fresh, self._path)


def read_live(folder: str) -> dict[str, object] | None:
    """The last state shown, None if there is none."""
    try:
        with open(os.path.join(folder, NAME), encoding="utf-8") as file:
            document = json.load(file)
    except (OSError, ValueError):
        return None
    return document if isinstance(document, dict) else None
