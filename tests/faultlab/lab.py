"""A fault laboratory: disks and folders that fail on purpose, and always an end to it.

The fixture is `faulty_lab`, asked for as `lab`:

    disk = lab.disk("shuttle", fs="xfs", label="SHUTTLE_1")     disk.mount, disk.loop, disk.image
    disk.set(write_error=[holding(take)])                       disk.mend()
    disk.power_cut(luck=3)                                      disk.come_back()
    disk.yank()                                                 disk.come_back(at=elsewhere)
    layer = lab.layer("share")                                  layer.mount, layer.folder
    layer.set(short_read=1000, files=".WAV")
    layer.unmount()                                             layer.come_back()

All of it is seen in the test process's own mount namespace only. Servers are killed first when the
test ends, whatever hangs in them: that fails every request that waits, and frees what waits for it.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from loopbench import SECONDS, Disk, attach, mount_points, own_namespace, run

TESTS = Path(__file__).parents[1]
BEGIN = ("setpriv", "--pdeathsig", "KILL", sys.executable, "-m")
ANSWER_S = 20
# Nothing writes in the background: what a test finds changed, somebody has changed.
MAKE = {
    "ext4": "mkfs.ext4 -q -F -E lazy_itable_init=0,lazy_journal_init=0 -L",
    "xfs": "mkfs.xfs -q -L",
    "btrfs": "mkfs.btrfs -q -L",
    "exfat": "mkfs.exfat -L",
}
MEGABYTES = {"ext4": 24, "exfat": 24, "xfs": 320, "btrfs": 120}

Spot = dict[str, Any]
ANYWHERE: Spot = {"from": 0, "to": 1 << 62}


def between(first: int, end: int) -> Spot:
    """The bytes `first` to `end`, not included, of an image."""
    return {"from": first, "to": end}


def holding(data: bytes, at: int | None = None) -> Spot:
    """The block that holds these bytes of a file, wherever it lies: 16 of them, in one sector."""
    start = (len(data) // 2 if at is None else at) // 512 * 512
    return {"holds": data[start : start + 16].hex()}


class Server:
    """A fault server in a process of its own, and the line to its switchboard."""

    def __init__(self, module: str, what: Path, mount: Path) -> None:
        mount.mkdir(parents=True, exist_ok=True)
        self.mount = mount
        self._line, theirs = socket.socketpair()
        self._line.settimeout(ANSWER_S)
        with theirs:
            self._process = subprocess.Popen(
                [*BEGIN, f"faultlab.{module}", what, mount],
                stdin=theirs,
                env={**os.environ, "PYTHONPATH": str(TESTS)},
            )
        self._talk = self._line.makefile("rw")
        self.counts: dict[str, int] = {}
        try:
            self.ask()
        except BaseException:
            self.kill()
            raise

    def ask(self, **faults: Any) -> dict[str, int]:
        """Set faults; what it counted so far."""
        self._talk.write(json.dumps(faults) + "\n")
        self._talk.flush()
        answer = self._talk.readline()
        assert answer, f"the server of {self.mount} has ended"
        self.counts = json.loads(answer)
        return self.counts

    def cut(self, luck: int | None) -> None:
        """Give the order that it answers by its end."""
        self._talk.write(json.dumps({"cut": luck}) + "\n")
        self._talk.flush()
        self._process.wait(ANSWER_S)
        self.kill()

    def kill(self) -> None:
        """End it at once. Every request that waits fails."""
        self._process.kill()
        self._process.wait(SECONDS)
        with contextlib.suppress(OSError):
            self._talk.close()
        self._line.close()


class Faulty:
    """What disks and layers share: a server whose faults are switched."""

    def __init__(self) -> None:
        self.server: Server | None = None
        self._set: set[str] = set()

    def set(self, **faults: Any) -> None:
        """Switch faults on, or change them; the words are in the server's module."""
        assert self.server is not None, "its power is off"
        self._set |= faults.keys()
        self.server.ask(**faults)

    def mend(self) -> None:
        """Switch all faults off."""
        assert self.server is not None, "its power is off"
        self.server.ask(**{word: [] for word in self._set - {"files"}})
        self._set.clear()

    def counts(self) -> dict[str, int]:
        """How many requests of each word were served since the server began."""
        assert self.server is not None, "its power is off"
        return self.server.ask()

    def kill(self) -> None:
        """End the server."""
        if self.server is not None:
            self.server.kill()
            self.server = None


class FaultyDisk(Faulty):
    """A file system on a loop device on a file that fails on purpose."""

    def __init__(self, folder: Path, name: str, fs: str, label: str, size_mb: int | None) -> None:
        super().__init__()
        self.image = folder / "images" / f"{name}.img"
        self._folder = folder
        self._lives = 0
        self._name = name
        self.image.parent.mkdir(exist_ok=True)
        run("truncate", "-s", str((size_mb or MEGABYTES[fs]) * 1_000_000), self.image)
        run(*MAKE[fs].split(), label, self.image)
        self.disk = Disk(name, fs, self.image, "", folder / "media" / name, "noatime")

    @property
    def mount(self) -> Path:
        """Where it is, or was last, mounted."""
        return self.disk.mount

    @property
    def loop(self) -> str:
        """Its block device."""
        return self.disk.loop

    def come_back(self, at: Path | None = None) -> None:
        """Plug it in: a server, a loop device and a mount that were not there before."""
        assert self.server is None, "it is there"
        self._lives += 1
        served = self._folder / "served" / f"{self._name}-{self._lives}"
        self.server = Server("disk_server", self.image, served)
        self.disk.loop = attach(served / "disk.img")
        # One request of the device is one of the server. The kernel would split a longer one, and
        # a loop device takes an error in a later piece for a short write, and that for success.
        number = os.path.basename(self.disk.loop)
        Path(f"/sys/block/{number}/queue/max_sectors_kb").write_text("64")
        self.disk.mount_again(at)

    def power_cut(self, luck: int | None = None) -> None:
        """What was not flushed is gone (`volatile` before), but for what luck saved; unmounted."""
        assert self.server is not None, "its power is off"
        self.server.cut(luck)
        self._away()

    def record(self, log: Path, number: int) -> None:
        """Add each write and flush from now on to a `write_log`, under that number."""
        assert self.server is not None, "its power is off"
        self.server.ask(record=[str(log), number])

    def yank(self) -> None:
        """Pull it out under whoever uses it; the mount point becomes a plain folder."""
        self.kill()
        self._away()

    def unmount(self) -> None:
        """Take it out as one should."""
        self.disk.unmount()
        run("losetup", "-d", self.loop)
        self.kill()

    def sync(self) -> None:
        """Flush this file system, and no other: one that hangs elsewhere would hang us."""
        run("sync", "--file-system", self.mount)

    def where(self, data: bytes) -> int:
        """Byte of the image where a file's bytes, in one piece, begin."""
        self.sync()
        start = self.image.read_bytes().find(data)
        assert start >= 0, "it is not on the image in one piece"
        return start

    def _away(self) -> None:
        self.server = None
        self.disk.yank()
        self.disk._reap(2)
        run("losetup", "-d", self.loop, check=False)


class FaultyLayer(Faulty):
    """A folder as a file system that fails on purpose serves it."""

    def __init__(self, folder: Path, mount: Path) -> None:
        super().__init__()
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.mount = mount
        self.come_back()

    def come_back(self) -> None:
        """Mount it: a server and a mount that were not there before."""
        assert self.server is None, "it is there"
        self.server = Server("layer_server", self.folder, self.mount)

    def unmount(self) -> None:
        """Take it out as one should."""
        run("umount", self.mount)
        self.kill()


@dataclass
class Lab:
    """Makes what fails, below one folder."""

    folder: Path
    things: list[Faulty] = field(default_factory=list)

    def disk(
        self,
        name: str,
        fs: str = "ext4",
        label: str = "",
        size_mb: int | None = None,
    ) -> FaultyDisk:
        """A disk without a fault as yet, mounted at media/`name`."""
        disk = FaultyDisk(self.folder, name, fs, label or name, size_mb)
        self.things.append(disk)
        disk.come_back()
        return disk

    def layer(self, name: str) -> FaultyLayer:
        """The folder below/`name` served at media/`name`, whose label is then that name."""
        layer = FaultyLayer(self.folder / "below" / name, self.folder / "media" / name)
        self.things.append(layer)
        return layer

    def close(self) -> None:
        """Kill, unmount, detach: in this order nothing waits for what hangs."""
        for thing in self.things:
            thing.kill()
        below = os.fsencode(self.folder) + b"/"
        served = os.fsencode(self.folder / "served") + b"/"
        points = reversed([p for p in mount_points() if p.startswith(below)])
        for point in sorted(points, key=lambda p: p.startswith(served)):
            if point.startswith(served):
                _detach(point)
            run("umount", "-l", point, check=False)
        for thing in self.things:
            if isinstance(thing, FaultyDisk):
                thing.disk._reap(2)


def _detach(served: bytes) -> None:
    """Let go of the loop devices on a served file, also of those that were not noted."""
    for kept in Path("/sys/block").glob("loop*/loop/backing_file"):
        with contextlib.suppress(OSError):
            if kept.read_bytes().startswith(served + b"/"):
                run("losetup", "-d", f"/dev/{kept.parts[3]}", check=False)


@pytest.fixture(name="lab")
def faulty_lab(tmp_path: Path) -> Iterator[Lab]:
    """A laboratory below the test's own folder; skipped where mounting is impossible."""
    if refused := own_namespace():
        pytest.skip(refused)
    with contextlib.closing(Lab(tmp_path)) as made:
        yield made
