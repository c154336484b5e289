"""Questions to the system that may never be answered."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import TypeVar

PATIENCE_S = 2.0

Answer = TypeVar("Answer")


class Patience:
    """Asks in a thread and gives up; a question that hangs is not asked again until it ends."""

    def __init__(self) -> None:
        self._hanging: dict[Hashable, threading.Thread] = {}

    def ask(
        self, key: Hashable, question: Callable[[], Answer], patience_s: float = PATIENCE_S
    ) -> Answer | None:
        """The answer, or None if there was none in time."""
        if key in self._hanging and self._hanging[key].is_alive():
            return None
        answers: list[Answer] = []
        asking = threading.Thread(target=lambda: answers.append(question()), daemon=True)
        asking.start()
        asking.join(patience_s)
        if asking.is_alive():
            self._hanging[key] = asking
            return None
        self._hanging.pop(key, None)
        return answers[0] if answers else None
