"""Keeping the machine from going to sleep by itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True)
class Answer:
    """What the system says. Neither `held` nor a sentence in `refused`: not known yet."""

    held: bool = False
    refused: str = ""


class KeepAwake(Protocol):
    """Asks the system. No call may wait, nor raise for what the system does; one thread's own."""

    def hold(self) -> None:
        """Ask to be kept awake from now on. MUST end with this process, however that ends."""

    def release(self) -> None:
        """Ask no more; also where nothing was asked."""

    def answer(self) -> Answer:
        """What came of the last `hold`, as it is now."""
