"""Keeping the machine awake, by what each system offers.

Linux and macOS: a command that holds the system's lock while a child of its own lives
(systemd-inhibit(1), caffeinate(8)). The child is `cat` on a pipe from here: the pipe ends when it
is let go of and when this process dies, whatever kills it, and with it `cat`, the command and the
lock. `cat` gives back the first line, and so tells that the lock was granted.

Windows: SetThreadExecutionState, which lasts while the thread that called it lives.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Sequence

from takehold.formats.names import shown
from takehold.ports.keep_awake import Answer, KeepAwake

WHY = "recordings are being copied"
INHIBIT = (
    "systemd-inhibit",
    "--what=sleep:idle",
    "--who=takehold",
    f"--why={WHY}",
    "--mode=block",
)
COMMANDS = {"linux": INHIBIT, "darwin": ("caffeinate", "-i")}
LONGEST = 300  # bytes of what a command says of its refusal
_GOODBYE_S = 1.0


class HeldByCommand:
    """Implements `takehold.ports.keep_awake.KeepAwake`."""

    def __init__(self, command: Sequence[str]) -> None:
        self._command = command
        self._child: subprocess.Popen[bytes] | None = None
        self._granted = False
        self._refused = ""

    def hold(self) -> None:
        """Start the command; what comes of it shows later."""
        self.release()
        pipe = subprocess.PIPE
        try:
            self._child = subprocess.Popen(  # noqa: S603 - one of the commands above
                [*self._command, "cat"],
                stdin=pipe,
                stdout=pipe,
                stderr=pipe,
                start_new_session=True,  # Ctrl-C in a terminal is for this process to hear
            )
        except OSError as error:
            name = self._command[0]
            missing = isinstance(error, FileNotFoundError)
            why = "is not there" if missing else f"cannot be started: {error.strerror}"
            self._refused = f"{name} {why}."
            return
        assert self._child.stdin is not None
        assert self._child.stdout is not None
        os.set_blocking(self._child.stdout.fileno(), False)
        with contextlib.suppress(BrokenPipeError):
            os.write(self._child.stdin.fileno(), b"\n")

    def release(self) -> None:
        """End the command."""
        self._refused = ""
        self._end()

    def _end(self) -> None:
        child, self._child, self._granted = self._child, None, False
        if child is None:
            return
        assert child.stdin is not None
        child.stdin.close()
        child.terminate()
        try:
            child.wait(_GOODBYE_S)
        except subprocess.TimeoutExpired:
            child.kill()
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(_GOODBYE_S)
        for end in (child.stdout, child.stderr):
            if end is not None:
                end.close()

    def answer(self) -> Answer:
        """Granted once the line came back, refused once the command has ended."""
        child = self._child
        if child is None:
            return Answer(refused=self._refused)
        assert child.stdout is not None
        if child.poll() is not None:
            self._refused = self._why(child)
            self._end()
            return Answer(refused=self._refused)
        if not self._granted:
            with contextlib.suppress(BlockingIOError):
                self._granted = bool(os.read(child.stdout.fileno(), 1))
        return Answer(held=self._granted)

    def _why(self, child: subprocess.Popen[bytes]) -> str:
        """Its last words. A child that it left behind may hold the pipe: nothing is waited for."""
        assert child.stderr is not None
        os.set_blocking(child.stderr.fileno(), False)
        said = b""
        with contextlib.suppress(BlockingIOError):
            said = os.read(child.stderr.fileno(), LONGEST)
        words = shown(" ".join(said.decode(errors="replace").split())).rstrip(".")
        how = f"{self._command[0]} ended with status {child.returncode}"
        return f"{how}: {words}." if words else f"{how}."


class NotOffered:
    """Implements `takehold.ports.keep_awake.KeepAwake` where nothing is known to ask."""

    def hold(self) -> None:
        """Nobody to ask."""

    def release(self) -> None:
        """Nobody was asked."""

    def answer(self) -> Answer:
        """Always no."""
        return Answer(refused="this system offers no way to ask for it.")


if sys.platform == "win32":
    import ctypes

    # winbase.h, SetThreadExecutionState
    _CONTINUOUS, _SYSTEM_REQUIRED = 0x80000000, 0x00000001

    class HeldByThread:
        """Implements `takehold.ports.keep_awake.KeepAwake`."""

        def __init__(self) -> None:
            self._held = False

        def hold(self) -> None:
            """From now on."""
            self._held = bool(_set_state(_CONTINUOUS | _SYSTEM_REQUIRED))

        def release(self) -> None:
            """No more."""
            _set_state(_CONTINUOUS)
            self._held = False

        def answer(self) -> Answer:
            """As the call answered."""
            return Answer(held=True) if self._held else Answer(refused="Windows refuses it.")

    def _set_state(flags: int) -> int:
        return int(ctypes.windll.kernel32.SetThreadExecutionState(ctypes.c_uint(flags)))


def keep_awake() -> KeepAwake:
    """What this system offers."""
    if sys.platform == "win32":
        return HeldByThread()
    command = COMMANDS.get(sys.platform)
    return HeldByCommand(command) if command is not None else NotOffered()
