"""Asking a device something without waiting for it for ever (P6)."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from takehold.model.errors import Stalled, TakeholdError

T = TypeVar("T")


class NoAnswer(Exception):
    """A device, or a folder, failed or hangs: it is asked again the next time it is looked at.

    No fault of the catalogue is one: that concerns everything.
    """


@contextmanager
def of_a_device() -> Iterator[None]:
    """What fails within is a device's: NoAnswer comes in its place."""
    try:
        yield
    except TakeholdError as error:
        raise NoAnswer(error.says) from error


class Patience:
    """One question at a time for each key, each in a thread of its own.

    `seconds` is how long each is waited for; it may be set at any time, for the next question.
    """

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._hanging: dict[str, threading.Thread] = {}

    def ask(self, key: str, question: Callable[[], T]) -> T:
        """The answer, or the question's own TakeholdError; Stalled if none comes in time.

        While an earlier question of that key still hangs, no other is begun.
        """
        earlier = self._hanging.get(key)
        if earlier is not None and earlier.is_alive():
            raise Stalled("The device does not answer.", "Take it out and put it in again.")
        answers: list[T] = []
        faults: list[BaseException] = []

        def run() -> None:
            try:
                answers.append(question())
            except BaseException as fault:
                faults.append(fault)

        thread = threading.Thread(target=run, name=f"ask {key}", daemon=True)
        thread.start()
        thread.join(self.seconds)
        if thread.is_alive():
            self._hanging[key] = thread
            raise Stalled("The device does not answer.", "Take it out and put it in again.")
        self._hanging.pop(key, None)
        if faults:
            raise faults[0]
        return answers[0]


def told(error: TakeholdError, about: str) -> TakeholdError:
    """The same error, its sentence beginning with what it is about."""
    error.says = f"{about}: {error.says}"
    return error
