"""What is recorded of a verifying read, on each kind of file system: medium, cache, or unknown.

That a medium that lies is caught on ext4, xfs, btrfs and exFAT is shown in
`tests/faults/test_lab_disk_errors.py`. Here one day lies on six kinds at once, and the kernel's own
counter of sectors read from each device (kernel documentation, block/stat: field 3, 512 bytes a
sector) is the witness that a recheck reads it all from there, with all of it in the page cache.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path

import pytest

from cardmaker import fill, put, take, today
from faultlab.checker import whole
from faultlab.lab import Lab, faulty_lab  # noqa: F401
from faultlab.unit import LARGE, SMALL
from instance import Instance, newest_revision
from loopbench import Bench, Disk, run

DISKS = ("ext4", "xfs", "btrfs", "exfat")
RECORDED = {**dict.fromkeys(DISKS, "medium"), "share": "unknown", "tmpfs": "cache"}
UNPROVABLE = "read-back-not-provable"


@dataclass
class Unit:
    """A card, and a destination of each kind, by its name."""

    disks: dict[str, Disk]
    roots: dict[str, Path]
    takehold: Instance
    made: dict[str, bytes]

    def sectors_read(self, kind: str) -> int:
        """How many were read from the device of a destination so far."""
        name = os.path.basename(self.disks[kind].loop)
        return int(Path(f"/sys/block/{name}/stat").read_text().split()[2])

    def warm(self, kind: str) -> None:
        """Read every copy there, so that all of it lies in the page cache."""
        assert whole(self.roots[kind], self.made) == self.made.keys()


@pytest.fixture
def unit(bench: Bench, lab: Lab, tmp_path: Path) -> Unit:
    card = bench.disk("card", label="SND_A1")
    disks = {kind: bench.disk(kind, kind, label=f"D_{kind.upper()}") for kind in (*DISKS, "tmpfs")}
    roots = {kind: disk.mount for kind, disk in disks.items()} | {"share": lab.layer("share").mount}
    labels = {kind: f"D_{kind.upper()}" for kind in DISKS}
    takehold = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {**labels, "share": roots["share"], "tmpfs": roots["tmpfs"]},
        {"copies_required": 4},
    )
    made = fill(card.mount, [(1, 1), (1, 2)])
    made[LARGE] = take(2, 1, seconds=5)
    put(card.mount, LARGE, made[LARGE])
    assert {SMALL, LARGE} < made.keys()
    return Unit(disks, roots, takehold, made)


def test_each_kind_of_file_system_gets_its_true_word(unit: Unit):
    """In the catalogue, in the signed manifest and for the person; a copy in memory is no copy."""
    once = unit.takehold.run("once")
    assert once.returncode == 0, once.stdout
    day = unit.takehold.facts("wrap", today(), status=0)
    manifests = unit.roots["ext4"] / "Lantern Bay" / today()
    manifest = json.loads((manifests / f"{newest_revision(manifests)}.manifest.json").read_text())
    for source, files in (("catalogue", day["files"]), ("manifest", manifest["files"])):
        assert len(files) == len(unit.made)
        for file in files:
            found = {c["destination"]: c["read_back"] for c in file["copies"]}
            assert found == RECORDED, (source, file["path"])
    assert {f["devices"] for f in day["files"]} == {len(DISKS) + 1}, (
        "a copy in memory counts for nothing"
    )
    told = {
        f["says"].split("copy on ")[1].split()[0]
        for f in day["findings"]
        if f["code"] == UNPROVABLE
    }
    assert told == {"share", "tmpfs"}
    shown = unit.takehold.run("day").stdout
    assert "could not be read past the cache" in shown


def test_a_recheck_reads_each_device_though_the_cache_holds_it_all(unit: Unit):
    """Sectors counted by the kernel: at least the copies' own bytes, from each disk."""
    assert unit.takehold.run("once").returncode == 0
    for kind in DISKS:
        run("sync", "--file-system", unit.roots[kind])
        unit.warm(kind)
    before = {kind: unit.sectors_read(kind) for kind in DISKS}
    for kind in DISKS:
        unit.warm(kind)
    for kind in DISKS:  # the check can fail: read as any program does, nothing comes from the disk
        assert unit.sectors_read(kind) - before[kind] < sum(map(len, unit.made.values())) / 512 / 10
    before = {kind: unit.sectors_read(kind) for kind in DISKS}
    recheck = unit.takehold.run("recheck")
    assert recheck.returncode == 0, recheck.stdout
    for kind in DISKS:
        read = 512 * (unit.sectors_read(kind) - before[kind])
        assert read >= sum(map(len, unit.made.values())), kind
