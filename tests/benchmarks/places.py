"""Where is copied from and to: volumes of the kinds that are compared.

`loop`   an ext4 image each on the machine's disk, no second cache underneath
`media`  ext4 images in memory, each device slowed down to what cards and drives do
`exfat`  exFAT images through FUSE, as `loop` otherwise
`tmpfs`  memory

All of it lives in the process's own mount namespace. `media` needs the block controller's limits
(cgroup version 1, as root): a card gives 150 MB/s, a drive takes 300 and gives 400.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

from loopbench import Bench, attach, own_namespace, run

LIMITS = Path("/sys/fs/cgroup/blkio")
CARD_READ, DRIVE_WRITE, DRIVE_READ = 150, 300, 400
MEGABYTE = 10**6
ROOM = 400 * MEGABYTE


class Places:
    """One card or more, and some drives; `card` is an empty folder to be filled."""

    def __init__(self, folder: Path, kind: str, drives: int, size: int, cards: int = 1) -> None:
        self.kind = kind
        self._bench = Bench(folder)
        self._slowed: set[tuple[str, str]] = set()
        if kind == "media":
            (folder / "images").mkdir()
            whole = (size * 11 // 10 + ROOM) * (drives + cards)
            run("mount", "-t", "tmpfs", "-o", f"size={whole}", "images", folder / "images")
        self.cards = [self._volume(f"card-{n + 1}" if n else "card", size) for n in range(cards)]
        self.card = self.cards[0]
        self.drives = [self._volume(f"drive-{n + 1}", size) for n in range(drives)]

    def _volume(self, name: str, size: int) -> Path:
        room = size * 11 // 10 + ROOM
        if self.kind == "tmpfs":
            return self._bench.disk(name, "tmpfs", room // MEGABYTE).mount
        fs = "exfat" if self.kind == "exfat" else "ext4"
        megabytes = room // MEGABYTE // 64 * 64  # whole sectors
        disk = self._bench.disk(name, fs, megabytes, label=name[:11], mount=False)
        run("losetup", "-d", disk.loop)
        disk.loop = attach(disk.image, "--direct-io=on")
        mount = disk.mount_again()
        # In use now, it goes with its mount, however this run ends: images are held in memory.
        run("losetup", "-d", disk.loop)
        return mount

    def slow_down(self) -> None:
        """From now on the devices are no faster than real ones: call it once the card is full."""
        if self.kind != "media":
            return
        for card in self.cards:
            self.pace(card, "read", CARD_READ)
        for drive in self.drives:
            self.pace(drive, "write", DRIVE_WRITE)
            self.pace(drive, "read", DRIVE_READ)

    def pace(self, place: Path, way: str, speed: float) -> None:
        """Let the place's device read or write so many megabytes a second; 0 for any."""
        number = (self._device(place) / "dev").read_text().strip()
        _limit(number, way, int(speed * MEGABYTE))
        self._slowed.add((number, way))

    def _device(self, place: Path) -> Path:
        disk = next(d for d in self._bench.disks if d.mount == place)
        return Path("/sys/class/block", Path(disk.loop).name)

    def clean(self) -> None:
        """Empty drives, nothing waiting to be written, no cache."""
        for drive in self.drives:
            for child in drive.iterdir():
                if child.is_dir() and child.name != "lost+found":
                    shutil.rmtree(child)
                elif not child.is_dir():
                    child.unlink()
        os.sync()
        time.sleep(0.2)
        forget()

    def read_from(self, place: Path) -> int | None:
        """Bytes that its device gave since it began; None for memory."""
        if self.kind == "tmpfs":
            return None
        figures = (self._device(place) / "stat").read_text().split()
        return int(figures[2]) * 512  # sectors read (kernel, block/stat)

    def close(self) -> None:
        """Take all of it away."""
        for number, way in self._slowed:
            _limit(number, way, 0)
        self._bench.close()
        if self.kind == "media":
            run("umount", "-l", self._bench.folder / "images", check=False)


def _limit(device: str, way: str, bytes_a_second: int) -> None:
    (LIMITS / f"blkio.throttle.{way}_bps_device").write_text(f"{device} {bytes_a_second}\n")


def forget() -> None:
    """Drop the caches of the kernel, devices' own included."""
    subprocess.run(["sync"], check=True, timeout=600)
    Path("/proc/sys/vm/drop_caches").write_text("3")


@contextlib.contextmanager
def places(folder: Path, kind: str, drives: int, size: int, cards: int = 1) -> Iterator[Places]:
    """The volumes, and their end. Raises SystemExit where they cannot be made."""
    if refused := own_namespace():
        raise SystemExit(refused)
    if kind == "media" and not (LIMITS / "blkio.throttle.read_bps_device").exists():
        raise SystemExit("media: this machine cannot slow devices down (no blkio controller)")
    folder.mkdir(parents=True)
    with contextlib.closing(Places(folder, kind, drives, size, cards)) as made:
        yield made
