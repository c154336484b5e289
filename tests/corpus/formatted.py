"""Cards that the recorder formatted at lunch, and had not before: real volumes, for no folder is.

In the morning a take of the day before is on them still. In the afternoon the morning's names come
again, with other takes: each formatted life of a card is a load of its own, and nothing of the
morning is taken for something of the afternoon.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from cardmaker import today
from corpus.day import SCENE_TAKES, Day, Result, a_take, is_later_today, weigh, whole
from corpus.rounds import YESTERDAY, yesterdays
from instance import Instance
from loopbench import Bench, Disk, make, own_namespace

PLANT, BEFORE = "formatted cards", "cards that were not formatted"
LABELS = {"primary": "SND_A", "backup": "SND_B"}


class Mounted(Day):
    """A day whose cards are volumes."""

    def card(self, name: str) -> Path:
        """Where the volume is mounted."""
        return self.folder / "media" / LABELS[name]


def play_formatted(folder: Path, seed: int, *, odd: bool) -> Result:
    """A scene on both cards; both are formatted, and the next scene has the same names."""
    folder.mkdir()
    day = Mounted(folder, np.random.default_rng(seed), odd)
    day.plants.update({PLANT: 1, BEFORE: 1, "plain": 2 * SCENE_TAKES})
    with volumes(folder) as disks:
        owner = Instance(
            folder / "laptop",
            {role: (role, label) for role, label in LABELS.items()},
            {"drive_1": folder / "drive_1"},
            {"copies_required": 1},
        )
        (folder / "drive_1").mkdir()
        day.plant = BEFORE
        yesterdays(day, a_take(day, "90", 1))
        owner.run("once", timeout=600)
        later()
        for label in LABELS.values():
            day.owed("card-not-cleared", f"{label} was not formatted since {YESTERDAY}: 1 file")
            day.owed("files-of-other-days", f"{label}: 1 of its files")
        day.plant = PLANT
        for scene in ("1", "2"):
            for number in range(1, SCENE_TAKES + 1):
                take = a_take(day, scene, number)
                for card in LABELS:
                    day.put(card, f"T{number:02}.WAV", whole(day, take), take.said.start)
                day.relate(f"T{number:02}.WAV", "identical")
            owner.run("once", timeout=600)
            if is_later_today(day.card("primary")):
                for label in LABELS.values():
                    day.owed("clock-ahead", f"{label}: by the recorder's clock")
            if scene == "1":
                for label, disk in disks.items():
                    format_anew(disk, label)
        found: dict[str, Any] = json.loads(owner.run("day", today(), "--json").stdout)
    result = weigh(day, found)
    result.missed.extend(lost(folder, len(found["files"])))
    return result


def later() -> None:
    """Until the next second: what was on a card before is told by whole ones."""
    now = int(time.time())
    while int(time.time()) == now:
        time.sleep(0.05)


def lost(folder: Path, files: int) -> Iterator[str]:
    """What there is too little of: files in the day, and folders of loads on the drive."""
    wanted = 2 * 2 * SCENE_TAKES
    there = list(folder.glob(f"drive_1/*/{today()}/*/DAY01/*.WAV"))
    homes, copies = {path.parent.parent.name for path in there}, len(there)
    if (files, copies) != (wanted, wanted):
        yield f"{PLANT}: {files} files in the day and {copies} copies, not {wanted}"
    if homes != {f"{label}{life}" for label in LABELS.values() for life in ("", ".load-2")}:
        yield f"{PLANT}: the loads have the folders {sorted(homes)}"


@contextmanager
def volumes(folder: Path) -> Iterator[dict[str, Disk]]:
    """Two cards by their labels, mounted in a namespace of this process's own."""
    refused = own_namespace()
    assert refused is None, refused
    for name in ("images", "media"):
        (folder / name).mkdir()
    bench = Bench(folder)
    try:
        yield {label: bench.disk(label) for label in LABELS.values()}
    finally:
        bench.close()


def format_anew(disk: Disk, label: str) -> None:
    """As a recorder does it: the same card, under the same label, empty."""
    disk.unmount()
    make(disk.fs, Path(disk.loop), label, None)
    disk.mount_again()
