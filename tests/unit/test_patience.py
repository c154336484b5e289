"""engine/patience: a question to a device has an answer, an error or an end (P6)."""

from __future__ import annotations

import threading

import pytest

from fakeworld import ending, within
from takehold.engine.patience import Patience
from takehold.model.errors import NoRights, Stalled


def test_an_answer_comes_through() -> None:
    """Whatever it is, also None."""
    patience = Patience(30)
    assert patience.ask("a", lambda: 7) == 7
    assert patience.ask("a", lambda: None) is None


def test_the_questions_own_error_comes_through() -> None:
    """A fault of the device, with its sentence; and a bug as what it is."""
    patience = Patience(30)

    def refuse() -> int:
        raise NoRights("The folder is closed.")

    with pytest.raises(NoRights, match="closed"):
        patience.ask("a", refuse)
    with pytest.raises(ZeroDivisionError):
        patience.ask("a", lambda: 1 // 0)
    assert patience.ask("a", lambda: 1) == 1


def test_a_question_that_hangs_is_given_up_and_not_asked_twice() -> None:
    """One hanging thread a key, however often it is asked; other keys are not held up."""
    patience = Patience(0.05)
    hang, begun = threading.Event(), threading.Event()
    asked: list[int] = []

    def hangs() -> int:
        asked.append(1)
        begun.set()
        hang.wait(60)
        return 1

    with ending(hang):
        for _ in range(3):
            with pytest.raises(Stalled):
                patience.ask("dead", hangs)
        assert begun.wait(30)
        assert asked == [1]
        patience.seconds = 30
        assert patience.ask("alive", lambda: 2) == 2
    assert within(30, lambda: not any(t.name == "ask dead" for t in threading.enumerate()))
    assert patience.ask("dead", lambda: 3) == 3
