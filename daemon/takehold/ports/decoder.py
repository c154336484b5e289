"""A second opinion: does a general-purpose decoder read this file, and to its end?"""

from __future__ import annotations

from typing import Protocol

from takehold.ports.disk import Reader


class Decoder(Protocol):
    """Decodes through a library; never the judge of completeness."""

    def complaint(self, reader: Reader, size: int, frames: int) -> str | None:
        """None if it opens and counts the same frames, else what it said."""
