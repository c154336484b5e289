"""What a command that only shows something leaves unimported: a person waits for it."""

from __future__ import annotations

import subprocess
import sys

import pytest

# Each takes 2 to 100 ms to import.
HEAVY = frozenset(
    {
        *("rich", "numpy", "structlog", "cryptography", "soundfile", "watchdog", "platformdirs"),
        *("apscheduler", "rfc8785", "shutil", "tempfile", "subprocess", "asyncio", "ssl"),
    }
)
# A dataclass takes half a millisecond to make: who only shows writes no manifest, reads no file.
OURS = frozenset(
    {
        *("takehold.engine", "takehold.app", "takehold.model.step", "takehold.decide.manifest"),
        *("takehold.formats.riff", "takehold.formats.compressed", "takehold.formats.describe"),
    }
)
SHOWS_NO_DAY = frozenset({"takehold.cli.day", "takehold.cli.facts", "takehold.decide.card"})


def imported_by(command: str) -> set[str]:
    """The modules that are there once it is imported, in a process of its own."""
    script = f"import sys, takehold.cli.{command}; print(*sys.modules)"
    run = (sys.executable, "-c", script)
    done = subprocess.run(run, capture_output=True, text=True, timeout=60, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize(
    ("command", "heavy"),
    [
        ("main", HEAVY | OURS),
        ("day", HEAVY | OURS),
        ("status", HEAVY | OURS | SHOWS_NO_DAY),
        ("work", HEAVY),
    ],
)
def test_nothing_heavy_is_imported(command: str, heavy: frozenset[str]) -> None:
    assert imported_by(command) & heavy == set()


def test_numpy_starts_no_thread() -> None:
    """Those of its BLAS cost each program that measures 0.1 s of processor time, for nothing."""
    script = (
        "import contextlib, sys, threading, psutil\n"
        "from takehold.cli.main import main\n"
        "sys.argv = ['takehold', '--version']\n"
        "with contextlib.suppress(SystemExit):\n"
        "    main()\n"
        "import numpy\n"
        "print(psutil.Process().num_threads() - threading.active_count())"
    )
    run = (sys.executable, "-c", script)
    done = subprocess.run(run, capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.split()[-1] == "0"
