"""A day that is closed before any card was seen."""

from __future__ import annotations

from pathlib import Path

from cardmaker import fill, today
from instance import Instance, copies_below
from loopbench import Bench


def test_the_program_starts_again_after_a_day_of_nothing_was_closed(bench: Bench, tmp_path: Path):
    """Its manifest is kept, and is not taken for one that a lost catalogue forgot."""
    drive = bench.disk("drive", "ext4", label="SHUTTLE_1")
    laptop = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
    )
    assert laptop.run("wrap", today()).returncode == 1
    assert laptop.run("wrap", today()).stderr == ""
    card = bench.disk("card", "ext4", label="SND_A1")
    made = fill(card.mount)
    once = laptop.run("once")
    assert once.returncode == 0, once.stderr
    assert "rebuilt" not in once.stderr
    assert len(copies_below(drive.mount)) == len(made)
    assert laptop.run("wrap", today()).returncode == 0
