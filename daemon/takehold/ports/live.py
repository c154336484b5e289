"""What the running daemon shows of itself, for the other commands to read."""

from __future__ import annotations

from typing import Protocol


class Live(Protocol):
    """A small document, replaced as a whole; the last one written is the one that is read."""

    def show(self, document: dict[str, object]) -> None:
        """Replace it. MUST NOT raise: showing never stops the work."""
