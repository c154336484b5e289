"""What the loop tells others while it works."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Told by the working threads; MUST return at once and never raise."""

    def moved(self, lane: str, what: str, done: int, total: int) -> None:
        """Bytes of one step: `done` of `total`."""

    def over(self, lane: str) -> None:
        """The lane's step ended."""
