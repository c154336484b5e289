"""A slice of the kills at every operation, and that the exploration bites.

All of it: `python tests/crash/kills.py --rounds 4`; what it found is told in docs/faults.md.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from crash.kills_counter import Kill, counted
from crash.kills_mistakes import MISTAKES, Mistake, shown

SCRIPT = Path(__file__).with_name("kills.py")
BEGIN = ("setpriv", "--pdeathsig", "KILL", sys.executable)
SLICE_S = 240


@pytest.mark.timeout(SLICE_S + 30)
def test_killed_at_every_139th_operation_the_next_start_goes_on_to_the_end() -> None:
    """Every scenario, from outside: nothing false at the kill, everything there when quiet."""
    done = subprocess.run(
        [*BEGIN, SCRIPT, "--every", "139", "--seed", "5"],
        capture_output=True,
        text=True,
        timeout=SLICE_S,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-2000:]
    assert " 0 failed" in done.stdout.splitlines()[-1]


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda m: m.name)
def test_a_mistake_that_only_a_kill_shows_is_shown(mistake: Mistake) -> None:
    """Undisturbed the scenario is well with it; a point fails, and says what is broken."""
    assert mistake.shows in shown(mistake)


def writes_twice(folder: Path) -> int:
    """Two files of ten bytes, through calls of the interpreter."""
    for name in ("a", "b"):
        with open(folder / name, "wb", buffering=0) as file:
            file.write(b"0123456789")
            os.fsync(file.fileno())
    return 7


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
def test_the_counter_counts_every_call_and_kills_before_it_is_carried_out(tmp_path: Path) -> None:
    """Opening, write and flush, twice; each kill leaves what the calls before it made."""
    whole = counted(lambda: writes_twice(tmp_path), looks=False)
    assert (whole.calls, whole.at, whole.status) == (6, "", 7)
    for at, left in ((1, {}), (2, {"a": 0}), (4, {"a": 10}), (5, {"a": 10, "b": 0})):
        for file in tmp_path.iterdir():
            file.unlink()
        ending = counted(lambda: writes_twice(tmp_path), Kill(at), looks=False)
        assert ending.status == -9
        assert {p.name: p.stat().st_size for p in tmp_path.iterdir()} == left
    half = counted(lambda: writes_twice(tmp_path), Kill(2, half=True), looks=False)
    assert half.at == f"write {tmp_path / 'a'}"
    assert (tmp_path / "a").read_bytes() == b"01234"
