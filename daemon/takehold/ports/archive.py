"""The laptop's own keep of what was written: manifests, by day and name."""

from __future__ import annotations

from typing import Protocol


class Archive(Protocol):
    """Write-once files on the internal disk, durable on return."""

    def keep(self, day: str, files: dict[str, bytes]) -> None:
        """Keep a revision's files. A name that exists with other bytes raises NameTaken."""

    def read(self, day: str, name: str) -> bytes:
        """One file, or FileMissing."""

    def names(self, day: str) -> tuple[str, ...]:
        """The names kept for a day, sorted."""

    def days(self) -> tuple[str, ...]:
        """Every day of which something is kept, sorted."""
