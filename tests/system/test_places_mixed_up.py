"""Sources and destinations that are not where the config says, on real volumes."""

from __future__ import annotations

from pathlib import Path

import pytest

from cardmaker import fill
from instance import Instance, Place, copies_below, files_below
from loopbench import Bench

TWO: dict[str, Place] = {"s1": "SHUTTLE_1", "s2": "SHUTTLE_2"}


@pytest.mark.parametrize("bound", [False, True])
def test_nothing_is_written_to_a_destination_in_a_source(bench: Bench, tmp_path: Path, bound: bool):
    """P1: the same volume by path and by label, and a second mount of a folder in the source."""
    card = bench.disk("card", label="CARD1")
    made = fill(card.mount)
    drive = bench.disk("drive", label="SHUTTLE_2")
    inside: Place = "CARD1"
    if bound:
        (card.mount / "COPIES").mkdir()
        inside = bench.bind(card.mount / "COPIES", tmp_path / "media" / "elsewhere")
    laptop = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", card.mount)},
        {"s1": inside, "s2": "SHUTTLE_2"},
        {"copies_required": 1},
    )
    fitness = laptop.run("preflight")
    assert fitness.returncode == 1
    assert "lie within each other" in " ".join(fitness.stdout.split())
    laptop.run("once")
    assert set(files_below(card.mount)) == set(made)
    assert len(copies_below(drive.mount)) == len(made)


def test_preflight_writes_nothing_into_the_folder_of_a_drive_that_is_away(
    bench: Bench, tmp_path: Path
):
    """P4: the folder is there, its volume is not."""
    fill(bench.disk("card", label="SND_A1").mount)
    drive = bench.disk("drive", label="SHUTTLE_1")
    sources: dict[str, tuple[str, Place]] = {"primary": ("primary", "SND_A*")}
    laptop = Instance(tmp_path / "laptop", sources, {"s1": drive.mount}, {"copies_required": 1})
    assert laptop.run("once").returncode == 0
    drive.unmount()
    before = drive.mount.stat().st_mtime_ns
    fitness = laptop.run("preflight")
    assert fitness.returncode == 1
    assert "another volume" in " ".join(fitness.stdout.split())
    assert drive.mount.stat().st_mtime_ns == before


def test_a_first_run_without_the_drive_has_a_way_out(bench: Bench, tmp_path: Path):
    """Copies went to the laptop's own disk; preflight tells so, and the refusal what to do."""
    card = bench.disk("card", label="SND_A1")
    made = fill(card.mount)
    drive = bench.disk("drive", label="SHUTTLE_1")
    drive.unmount()
    sources: dict[str, tuple[str, Place]] = {"primary": ("primary", "SND_A*")}
    laptop = Instance(tmp_path / "laptop", sources, {"s1": drive.mount}, {"copies_required": 1})
    assert "the laptop's own disk" in " ".join(laptop.run("preflight").stdout.split())
    assert laptop.run("once").returncode == 0
    drive.mount_again()
    refused = laptop.run("once")
    assert refused.returncode == 1
    assert "another name in the config" in " ".join((refused.stdout + refused.stderr).split())
    laptop.destinations = {"drive-1": drive.mount}
    laptop.write_config()
    assert laptop.run("once").returncode == 0
    assert len(copies_below(drive.mount)) == len(made)
