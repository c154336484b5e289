"""What ends the loop's wait early."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol


class Wake(Protocol):
    """Carries no content: it only means look now. `nudge` may be called from any thread."""

    def wait(self, timeout_s: float) -> None:
        """Return after that many seconds, or once something happened since the last wait."""

    def nudge(self) -> None:
        """Something happened."""

    def watch_folders(self, paths: Iterable[bytes]) -> None:
        """Wake on changes below these folders, and no others."""
