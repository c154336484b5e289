"""One real run of takehold whose every write and flush, on all disks, is kept in order.

The laptop's disk (config, key, state), the card and both drives are served by
`faultlab/disk_server.py`, each with the same log. A recording is a folder: the four images as they
were before, the log, and `about.json`.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cardmaker import fill, put, take, today
from faultlab.lab import FaultyDisk, Lab
from faultlab.write_log import NOTE, Record, WriteLog, records
from instance import Instance
from loopbench import own_namespace, run

DISKS = {"laptop": "ext4", "card": "ext4", "shuttle-1": "ext4", "shuttle-2": "exfat"}
LABELS = {"laptop": "LAPTOP", "card": "SND_A1", "shuttle-1": "SHUTTLE_1", "shuttle-2": "SHUTTLE_2"}
DRIVES = ("shuttle-1", "shuttle-2")
MEGABYTES = 16
LATE = "DAY01/S03T01.WAV"


@dataclass(frozen=True, slots=True)
class Recording:
    """`stage` is the folder that it was made in, and has to be played back in."""

    folder: Path
    stage: Path
    day: str
    public_key: str

    def base(self, disk: str) -> Path:
        """A disk's image before the run."""
        return self.folder / f"{disk}.img"

    @property
    def log(self) -> Path:
        """All writes and flushes."""
        return self.folder / "log"

    def records(self) -> list[Record]:
        """The log."""
        return list(records(self.log))


def opened(folder: Path) -> Recording:
    """A recording made before."""
    about: Any = json.loads((folder / "about.json").read_bytes())
    return Recording(folder, Path(about["stage"]), about["day"], about["public_key"])


def recorded(folder: Path, stage: Path, environment: Mapping[str, str]) -> Recording:
    """Run takehold on a fresh card, on through a second revision; what became of the disks.

    `environment` is the program's, for a test that makes it worse.
    """
    refused = own_namespace()
    assert refused is None, refused
    folder.mkdir(parents=True)
    stage.mkdir(parents=True)
    with closing(Lab(stage)) as lab:
        disks = {
            name: lab.disk(name, fs, label=LABELS[name], size_mb=MEGABYTES)
            for name, fs in DISKS.items()
        }
        takehold = _takehold(disks, environment)
        _fill(disks["card"].mount)
        for number, disk in enumerate(disks.values()):
            disk.sync()
            disk.record(folder / "log", number)
            run("cp", "--sparse=always", disk.image, folder)
        made = Recording(folder, stage, today(), takehold.public_key.read_text())
        _play(takehold, disks["card"], made)
    shutil.rmtree(stage)
    about = {"stage": str(stage), "day": made.day, "public_key": made.public_key}
    (folder / "about.json").write_text(json.dumps(about))
    return made


def _takehold(disks: Mapping[str, FaultyDisk], environment: Mapping[str, str]) -> Instance:
    return Instance(
        disks["laptop"].mount / "takehold",
        {"primary": ("primary", LABELS["card"])},
        {drive: LABELS[drive] for drive in DRIVES},
        environment=environment,
    )


def _fill(card: Path) -> None:
    fill(card, ((1, 1), (1, 2), (1, 3)), seconds=0.05)
    put(card, "DAY01/S02T01.WAV", take(2, 1, seconds=3.7))  # beyond 1 MiB: past the cache
    put(card, "NOTES.TXT", b"harbour wall\n")


def _play(takehold: Instance, card: FaultyDisk, made: Recording) -> None:
    """Nothing is written on the card while takehold works: what is cut there is its own work."""
    with closing(WriteLog(made.log)) as log:

        def work(*words: str) -> None:
            log.add(Record(0, NOTE, data=("begin " + words[0]).encode()))
            done = takehold.run(*words, timeout=100)
            log.add(Record(0, NOTE, data=b"end"))
            assert done.returncode == 0, (words, done.stdout, done.stderr)

        work("once")
        work("wrap", made.day)
        put(card.mount, LATE, take(3, 1, seconds=0.05))
        card.sync()
        work("wrap", made.day)
