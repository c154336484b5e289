"""`takehold demo` shows the whole job, and leaves a day that anyone can check."""

from __future__ import annotations

import subprocess
from pathlib import Path

from cardmaker import today
from instance import PROGRAM, stock_checks


def run_demo(folder: Path) -> subprocess.CompletedProcess[str]:
    """Run it to its end."""
    return subprocess.run(
        [*PROGRAM, "demo", str(folder)], capture_output=True, text=True, timeout=110, check=False
    )


def test_the_demo_holds_and_then_is_ready(tmp_path: Path):
    """HOLD with the missing take first, READY after it turned up; status 0; both drives check."""
    shown = run_demo(tmp_path / "demo")
    assert shown.returncode == 0, shown.stdout + shown.stderr
    hold, ready = (shown.stdout.find(f": {word}.\nManifest") for word in ("HOLD", "READY"))
    assert 0 < hold < ready
    assert "the backup card has no such recording" in shown.stdout[:ready]
    (day,) = (tmp_path / "demo" / "SHUTTLE_1" / "Lantern Bay").iterdir()
    assert len(day.name) == len(today())
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
