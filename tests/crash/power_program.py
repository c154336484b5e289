"""Starts takehold again and again, as a child of a process that has imported it once.

    python -m crash.power_program OUTPUT

A request is a line of JSON, the words of the command line; the answer is a line, its exit status.
What the command prints goes to the file OUTPUT. Nothing of the program is replaced but how long a
pass sleeps before it looks again.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

from crash import inside

BEGIN = ("setpriv", "--pdeathsig", "KILL", sys.executable, "-m", "crash.power_program")
TESTS = Path(__file__).parents[1]
LOOK_AGAIN_S = 0.02
ANSWER_S = 100

Main = Callable[[], None]


class Program:
    """The other end: takehold for one config."""

    def __init__(self, config: Path, state: Path, output: Path) -> None:
        self._output = output
        known = os.environ.get("PYTHONPATH", "")
        theirs = {
            "PYTHONPATH": f"{TESTS}{os.pathsep}{known}".rstrip(os.pathsep),
            "TAKEHOLD_CONFIG": str(config),
            "TAKEHOLD_STATE": str(state),
        }
        self._process = subprocess.Popen(
            [*BEGIN, output],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd="/",
            env={**os.environ, **theirs},
        )

    def run(self, *words: str) -> int:
        """Run a command to its end; its exit status, below 0 if that did not come in time."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(words).encode() + b"\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        assert answer, "the process that starts takehold has ended"
        return int(answer)

    def said(self) -> str:
        """What the last command printed."""
        return self._output.read_text(errors="replace")

    def close(self) -> None:
        """End it."""
        self._process.communicate(timeout=60)


def _work(main: Main, words: list[str], output: str) -> int:
    """In the child: be `takehold WORDS`; killed if that does not end."""
    signal.alarm(ANSWER_S)
    said = os.open(output, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(said, 1)
    os.dup2(said, 2)
    return inside.takehold(main, words)


def _load() -> Main:
    """Import all that the commands use, so that each child has it already."""
    once: Any = import_module("takehold.engine.once")
    once.WAIT_S = LOOK_AGAIN_S
    import_module("takehold.engine.rebuild")
    for command in ("ask", "card", "day", "decide", "preflight", "setup", "work"):
        import_module(f"takehold.cli.{command}")
    main: Main = import_module("takehold.cli.main").main
    return main


def _serve(output: str) -> None:
    main = _load()
    for request in sys.stdin:
        child = os.fork()
        if child == 0:
            status = 70
            try:
                status = _work(main, json.loads(request), output)
            finally:
                os._exit(status)
        sys.stdout.write(f"{os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    _serve(sys.argv[1])
