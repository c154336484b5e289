"""Keeping the machine awake: asked for with the work, let go of soon after, refused in a sentence.

The command is a stand-in for systemd-inhibit(1), as a real process with a real child; the real one
is asked too, wherever it is: on a machine without a session it refuses.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from fakeworld import Awake, Clock, within
from standin_inhibit import Inhibit, alive
from takehold.adapters.keep_awake import COMMANDS, INHIBIT, HeldByCommand, NotOffered, keep_awake
from takehold.engine.vigil import AGAIN_S, DO, IDLE_S, Vigil
from takehold.ports.keep_awake import Answer, KeepAwake

PATIENCE_S = 60


@pytest.fixture
def inhibit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Inhibit:
    made = Inhibit(tmp_path / "bin")
    monkeypatch.setenv("PATH", made.path())
    return made


@pytest.fixture
def keeping() -> Iterator[HeldByCommand]:
    made = HeldByCommand(INHIBIT)
    yield made
    made.release()


def comes(so: Callable[[], bool]) -> bool:
    return within(PATIENCE_S, so)


def test_it_is_held_until_it_is_let_go_of(inhibit: Inhibit, keeping: HeldByCommand) -> None:
    """And the command gets the words that it knows."""
    assert keeping.answer() == Answer()
    keeping.hold()
    assert comes(lambda: keeping.answer() == Answer(held=True))
    assert inhibit.diary()[0].startswith("asked --what=sleep:idle --who=takehold --why=")
    assert inhibit.diary()[0].endswith("--mode=block cat")
    assert inhibit.held()
    keeping.release()
    assert comes(lambda: not inhibit.held())
    assert comes(lambda: not any(map(alive, inhibit.pids())))
    keeping.release()
    assert keeping.answer() == Answer()


def test_a_refusal_is_told_with_its_reason(inhibit: Inhibit, keeping: HeldByCommand) -> None:
    inhibit.mood("refuse")
    keeping.hold()
    assert comes(lambda: bool(keeping.answer().refused))
    assert keeping.answer().refused == (
        "systemd-inhibit ended with status 1: Failed to inhibit: Access denied."
    )
    inhibit.mood("grant")
    keeping.hold()
    assert comes(lambda: keeping.answer().held)


def test_a_command_that_dies_is_a_refusal(inhibit: Inhibit, keeping: HeldByCommand) -> None:
    """Somebody killed it: nothing is held any more, and its child does not stay."""
    keeping.hold()
    assert comes(lambda: keeping.answer().held)
    command, _ = inhibit.pids()
    os.kill(command, signal.SIGKILL)
    assert comes(lambda: bool(keeping.answer().refused))
    keeping.release()
    assert comes(lambda: not any(map(alive, inhibit.pids())))


def test_a_command_that_hangs_holds_nobody_up(inhibit: Inhibit, keeping: HeldByCommand) -> None:
    """Neither granted nor refused; let go of, it ends."""
    inhibit.mood("hang")
    keeping.hold()
    assert comes(lambda: bool(inhibit.diary()))
    assert keeping.answer() == Answer()
    child = keeping._child
    keeping.release()
    assert child is not None
    assert child.returncode is not None


def test_a_stopped_command_is_ended_all_the_same(inhibit: Inhibit, keeping: HeldByCommand) -> None:
    """SIGTERM waits where SIGSTOP holds; SIGKILL does not."""
    keeping.hold()
    assert comes(lambda: keeping.answer().held)
    os.kill(inhibit.pids()[0], signal.SIGSTOP)
    keeping.release()
    assert comes(lambda: not any(map(alive, inhibit.pids())))


def test_what_is_not_there_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, keeping: HeldByCommand
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    keeping.hold()
    assert keeping.answer() == Answer(refused="systemd-inhibit is not there.")


def test_what_cannot_be_started_is_told(inhibit: Inhibit, keeping: HeldByCommand) -> None:
    (inhibit.folder / "systemd-inhibit").write_bytes(b"\x7fELF, but not really")
    keeping.hold()
    assert comes(lambda: bool(keeping.answer().refused))


def test_hostile_words_of_a_command_are_shown_as_text(
    inhibit: Inhibit, keeping: HeldByCommand
) -> None:
    """What a command says goes to a terminal and a log (P10)."""
    script = "#!/bin/sh\nprintf '\\033[2Jgone\\nDone.' >&2\nexit 3\n"
    (inhibit.folder / "systemd-inhibit").write_text(script)
    keeping.hold()
    assert comes(lambda: bool(keeping.answer().refused))
    said = keeping.answer().refused
    assert "status 3" in said
    assert "\x1b" not in said
    assert "\n" not in said


def test_no_child_outlives_a_process_that_is_killed(inhibit: Inhibit) -> None:
    """SIGKILL runs no clean-up: the pipe ends, and with it the lock."""
    program = (
        "from takehold.adapters.keep_awake import *\n"
        "import time\n"
        "k = HeldByCommand(INHIBIT); k.hold()\n"
        "while not k.answer().held: time.sleep(0.01)\n"
        "print('held', flush=True); time.sleep(60)\n"
    )
    holder = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE)
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        assert inhibit.held()
        assert all(map(alive, inhibit.pids()))
    finally:
        holder.kill()
        holder.wait(PATIENCE_S)
        holder.stdout.close()
    assert comes(lambda: not any(map(alive, inhibit.pids())))
    assert not inhibit.held()


@pytest.mark.skipif(shutil.which("systemd-inhibit") is None, reason="no systemd here")
def test_the_real_one_answers(keeping: HeldByCommand) -> None:
    """Granted or refused, but never silent; what it says begins with its name."""
    keeping.hold()
    assert comes(lambda: keeping.answer() != Answer())
    answer = keeping.answer()
    assert answer.held or answer.refused.startswith("systemd-inhibit ended with status ")


def test_each_system_has_its_own_way() -> None:
    made: KeepAwake = keep_awake()
    assert isinstance(made, HeldByCommand)
    assert COMMANDS["darwin"] == ("caffeinate", "-i")
    nobody: KeepAwake = NotOffered()
    nobody.hold()
    nobody.release()
    assert nobody.answer().refused


# -- when


class Bench:
    """A vigil over a clock and a system that a test moves."""

    def __init__(self) -> None:
        self.clock, self.awake = Clock(), Awake()
        self.vigil = Vigil(self.awake, self.clock)

    def rounds(self, *working: bool, seconds: int = 1) -> list[str]:
        """Come round so often; what was asked of the system meanwhile."""
        before = len(self.awake.asked)
        for at_work in working:
            self.vigil.mind(at_work)
            self.clock.advance(seconds)
        return self.awake.asked[before:]


def test_it_is_asked_for_once_a_stretch_of_work() -> None:
    """Pauses between files are no end of the work."""
    bench = Bench()
    assert bench.rounds(False, False) == []
    assert bench.vigil.wait_s() > IDLE_S
    assert bench.rounds(True, False, True, False, False, True) == ["hold"]
    assert bench.vigil.wait_s() <= IDLE_S
    assert bench.rounds(*[False] * (IDLE_S + 1)) == ["release"]
    assert bench.rounds(False) == []
    assert bench.rounds(True) == ["hold"]
    bench.vigil.end()
    bench.vigil.end()
    assert bench.awake.asked[-2:] == ["hold", "release"]


def test_a_refusal_stands_as_a_note_and_is_asked_again_later() -> None:
    bench = Bench()
    bench.awake.says = Answer(refused="Access denied")
    assert bench.rounds(True, True, True) == ["hold", "release"]
    assert bench.vigil.note == f"The laptop may fall asleep while it copies: Access denied {DO}"
    assert bench.rounds(True, seconds=AGAIN_S) == []
    bench.awake.says = Answer()
    assert bench.rounds(True) == ["hold"]
    assert bench.vigil.note, "it is not known yet"
    bench.awake.says = Answer(held=True)
    bench.rounds(True)
    assert bench.vigil.note == ""


def test_a_lock_that_is_lost_is_told() -> None:
    bench = Bench()
    assert bench.rounds(True, True) == ["hold"]
    bench.awake.says = Answer(refused="it was killed.")
    assert bench.rounds(True) == ["release"]
    assert "it was killed." in bench.vigil.note


def test_nothing_is_asked_twice_while_nothing_is_known() -> None:
    bench = Bench()
    bench.awake.says = Answer()
    assert bench.rounds(*[True] * 5) == ["hold"]
    assert bench.vigil.note == ""
