"""What a command that only shows something leaves unimported: a person waits for it."""

from __future__ import annotations

import subprocess
import sys

import pytest

# Each takes 5 to 100 ms to import.
HEAVY = frozenset(
    {"rich", "numpy", "structlog", "cryptography", "soundfile", "watchdog", "platformdirs"}
)
OURS = frozenset({"takehold.engine", "takehold.app", "takehold.model.step"})


def imported_by(command: str) -> set[str]:
    """The modules that are there once it is imported, in a process of its own."""
    script = f"import sys, takehold.cli.{command}; print(*sys.modules)"
    run = (sys.executable, "-c", script)
    done = subprocess.run(run, capture_output=True, text=True, timeout=60, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize(
    ("command", "heavy"), [("day", HEAVY | OURS), ("status", HEAVY | OURS), ("work", HEAVY)]
)
def test_nothing_heavy_is_imported(command: str, heavy: frozenset[str]) -> None:
    assert imported_by(command) & heavy == set()
