"""`takehold demo` shows the whole job, and leaves a day that anyone can check."""

from __future__ import annotations

import os
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest

from instance import PROGRAM, stock_checks


def run_demo(folder: Path, zone: str = "UTC0") -> subprocess.CompletedProcess[str]:
    """Run it to its end where the clocks go by `zone` (POSIX TZ)."""
    return subprocess.run(
        [*PROGRAM, "demo", str(folder)],
        env={**os.environ, "TZ": zone},
        capture_output=True,
        text=True,
        timeout=110,
        check=False,
    )


def zone_where_it_is(hour: int) -> str:
    """A zone whose clocks read `hour` now (POSIX TZ: hours west of Greenwich)."""
    return f"SET{(datetime.now(UTC).hour - hour + 12) % 24 - 12}"


@pytest.mark.parametrize("hour", [2, 7, 14])
def test_the_demo_holds_and_then_is_ready(tmp_path: Path, hour: int):
    """HOLD with the missing take first, READY after it turned up; at night as in the afternoon.

    In the morning its takes are of later that day, which takehold notes: so that is said first.
    """
    shown = run_demo(tmp_path / "demo", zone_where_it_is(hour))
    assert shown.returncode == 0, shown.stdout + shown.stderr
    hold, ready = (shown.stdout.find(f": {word}.\nManifest") for word in ("HOLD", "READY"))
    assert 0 < hold < ready
    assert "the backup card has no such recording" in shown.stdout[:ready]
    for words in ("It is early", "by the recorder's clock 5 files were recorded later"):
        assert (words in shown.stdout) == (hour == 7)
    (day,) = (tmp_path / "demo" / "SHUTTLE_1" / "Lantern Bay").iterdir()
    key = tmp_path / "demo" / "laptop" / "signing_key.pub"
    for drive in ("SHUTTLE_1", "SHUTTLE_2"):
        stock_checks(tmp_path / "demo" / drive / "Lantern Bay" / day.name, key)


def test_a_folder_that_is_in_use_is_left_alone(tmp_path: Path):
    """A second demo in the same place ends with 2 and a sentence; nothing there is touched."""
    (tmp_path / "demo" / "SND_A1").mkdir(parents=True)
    kept = tmp_path / "demo" / "SND_A1" / "mine.WAV"
    kept.write_bytes(b"mine")
    shown = run_demo(tmp_path / "demo")
    assert shown.returncode == 2
    assert "empty folder." in shown.stderr
    assert "Traceback" not in shown.stderr
    assert kept.read_bytes() == b"mine"
