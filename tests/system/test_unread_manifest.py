"""A laptop that knows nothing any more, and a drive whose manifest cannot be read again."""

from __future__ import annotations

import shutil
from pathlib import Path

from cardmaker import fill, today
from instance import Instance
from loopbench import Bench


def test_a_manifest_that_tells_nothing_again_is_named(bench: Bench, tmp_path: Path):
    """The state folder is lost and the manifest rotten: that is said, not passed over."""
    card, drive = bench.disk("card", label="SND_A1"), bench.disk("drive", label="SHUTTLE_1")
    takehold = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
    )
    fill(card.mount, [(1, 1)])
    assert takehold.run("once").returncode == 0
    takehold.run("wrap", today())
    [manifest] = drive.mount.rglob("*.manifest.json")
    manifest.write_bytes(manifest.read_bytes().replace(b"Lantern", b"lantern"))
    shutil.rmtree(takehold.state)
    done = takehold.run("once")
    assert done.returncode == 0
    assert f"{manifest.name} (shuttle-1): The signature does not fit" in done.stderr
    assert "is rebuilt" not in done.stderr
