"""How often the program reads what: a card's bytes once (P9), each copy's at least once (P3).

The witness is the kernel's count of sectors read from each device (kernel documentation,
block/stat: field 3, of 512 bytes). Bars of the design: 1.02 times the card's content, 1.0 times
each copy's.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from cardmaker import put, take
from instance import Instance
from loopbench import Bench, Disk, run

TAKES = 6
SECONDS = 15.0  # 4.3 MB of two tracks: what is larger than one buffer, too, is read once


def sectors(disk: Disk) -> int:
    """Read from its device so far."""
    return int(Path(f"/sys/block/{os.path.basename(disk.loop)}/stat").read_text().split()[2])


@pytest.fixture
def disks(bench: Bench) -> dict[str, Disk]:
    """A full card, and three drives of the kinds people use; nothing of the card is cached."""
    card = bench.disk("card", label="SND_A1")
    for number in range(1, TAKES + 1):
        made = take(1, number, seconds=SECONDS)
        put(card.mount, f"1-T{number:02}.WAV", made)
    drives = {f"drive_{fs}": bench.disk(f"drive_{fs}", fs) for fs in ("ext4", "xfs", "exfat")}
    for disk in (card, *drives.values()):  # not of others: one that hangs would hold it up
        run("sync", "--file-system", disk.mount)
    card.unmount()
    run("blockdev", "--flushbufs", card.loop)
    card.mount_again()
    return {"card": card, **drives}


@pytest.mark.parametrize("role", ["primary", "backup"])
def test_a_card_is_read_once_and_each_copy_from_its_medium(
    disks: dict[str, Disk], tmp_path: Path, role: str
):
    """A primary card that no backup answers is read a second time, as P8 asks, and no more."""
    card = disks["card"]
    content = sum(file.stat().st_size for file in card.mount.rglob("*.WAV"))
    drives = {name: disk.mount for name, disk in disks.items() if name != "card"}
    takehold = Instance(tmp_path / "laptop", {"card": (role, "SND_A1")}, drives)
    before = {name: sectors(disk) for name, disk in disks.items()}
    takehold.run("once")
    read = {name: 512 * (sectors(disk) - before[name]) / content for name, disk in disks.items()}
    reads = 2 if role == "primary" else 1
    assert reads <= read["card"] <= reads * 1.02, read
    for name, drive in drives.items():
        assert read[name] >= 1.0, read
        copies = [p for p in drive.rglob("*.WAV") if "1-T" in p.name]
        assert len(copies) == TAKES, name
