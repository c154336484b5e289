"""Real file systems on loop devices, in a mount namespace of the test process's own.

The process leaves the machine's mount namespace once: no mount is seen outside it.
What is below the test's folder at its end is taken away, noted or not.
"""

from __future__ import annotations

import contextlib
import ctypes
import functools
import hashlib
import os
import re
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

CLONE_NEWNS = 0x00020000  # linux/sched.h
# In the foreground; it dies with the test process.
SERVER = ("setpriv", "--pdeathsig", "KILL", "mount.exfat-fuse", "-d")
SECONDS = 60
MEGABYTES = {"ext4": 64, "exfat": 64, "xfs": 320, "btrfs": 128, "tmpfs": 16}


def run(*command: str | bytes | Path, check: bool = True) -> str:
    """Run a command to its end and give back what it printed."""
    done = subprocess.run(command, capture_output=True, timeout=SECONDS, input=b"", check=False)
    said = (done.stdout + done.stderr).decode(errors="replace")
    assert done.returncode == 0 or not check, f"{command}: status {done.returncode}: {said}"
    return said


@dataclass
class Disk:
    """One image on one loop device. `mount` is where it is, or was last, mounted."""

    name: str
    fs: str
    image: Path
    loop: str
    mount: Path
    options: str
    server: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    def mount_again(self, at: Path | None = None, options: str | None = None) -> Path:
        """Mount it, at another place if one is given."""
        self.mount = at or self.mount
        self.options = self.options if options is None else options
        if self.fs == "exfat":
            self._reap(0.2)
            self._clear()
        self.mount.mkdir(parents=True, exist_ok=True)
        if self.fs == "exfat":
            self._serve()
        else:
            how = ("-t", self.fs, "-o", self.options or "defaults")
            run("mount", *how, self.loop or self.name, self.mount)
        return self.mount

    def _clear(self) -> None:
        """Take away what a server that ended left behind: nobody answers there any more."""
        try:
            self.mount.stat()
        except FileNotFoundError:
            pass
        except OSError:
            run("umount", "-l", self.mount)

    def _serve(self) -> None:
        """Start the exFAT server in the foreground: it can be ended by its number."""
        before = os.stat(self.mount).st_dev
        options = ",".join(filter(None, ("noatime", self.options)))
        command = [*SERVER, "-o", options, self.loop, str(self.mount)]
        self.server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.STDOUT)
        while os.stat(self.mount).st_dev == before:
            time.sleep(0.01)
            assert self.server.poll() is None, f"the exFAT server of {self.loop} ended"

    def unmount(self) -> None:
        """Unmount it and wait until the device is free."""
        run("umount", self.mount)
        self._reap(SECONDS)

    def yank(self) -> None:
        """Take it away under whoever uses it: the mount point becomes a plain folder."""
        run("umount", "-l", self.mount)

    def image_bytes_sha256(self) -> str:
        """Digest of the whole image as it is now."""
        with self.image.open("rb") as image:
            return hashlib.file_digest(image, "sha256").hexdigest()

    def _reap(self, seconds: float) -> None:
        if self.server is not None:
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.server.wait(seconds)
            self.server.kill()
            self.server.wait(SECONDS)
            self.server = None


@dataclass
class Bench:
    """Makes disks below one folder."""

    folder: Path
    disks: list[Disk] = field(default_factory=list)

    def disk(
        self,
        name: str,
        fs: str = "ext4",
        size_mb: int | None = None,
        label: str | None = None,
        uuid: str | None = None,
        options: str = "",
        mount: bool = True,
    ) -> Disk:
        """A new file system, mounted at media/`name`; `label` is the name unless given.

        `uuid` for exFAT is the serial number, "EB87-E13D". tmpfs has no image and no loop device.
        """
        size = (size_mb or MEGABYTES[fs]) * 1_000_000
        image = self.folder / "images" / f"{name}.img"
        disk = Disk(name, fs, image, "", self.folder / "media" / name, options)
        self.disks.append(disk)
        if fs == "tmpfs":
            disk.options = ",".join(filter(None, (f"size={size}", options)))
        else:
            image.parent.mkdir(exist_ok=True)
            run("truncate", "-s", str(size), image)
            make(fs, image, name if label is None else label, uuid)
            disk.loop = attach(image)
        if mount:
            disk.mount_again()
        return disk

    def clone(self, disk: Disk, name: str) -> Disk:
        """A second disk of the same bytes: same label, same UUID. Unmount the first before."""
        image = self.folder / "images" / f"{name}.img"
        run("cp", "--sparse=always", disk.image, image)
        twin = Disk(name, disk.fs, image, attach(image), self.folder / "media" / name, disk.options)
        self.disks.append(twin)
        twin.mount_again()
        return twin

    def bind(self, source: Path, at: Path) -> Path:
        """The same folder at a second place."""
        at.mkdir(parents=True, exist_ok=True)
        run("mount", "--bind", source, at)
        return at

    def close(self) -> None:
        """Unmount, stop and detach all that lies below the folder."""
        below = os.fsencode(self.folder) + b"/"
        for point in reversed([p for p in mount_points() if p.startswith(below)]):
            run("umount", "-l", point, check=False)
        for disk in self.disks:
            disk._reap(2)
        for kept in Path("/sys/block").glob("loop*/loop/backing_file"):
            with contextlib.suppress(OSError):
                if kept.read_bytes().startswith(below):
                    run("losetup", "-d", f"/dev/{kept.parts[3]}", check=False)


def make(fs: str, image: Path, label: str, uuid: str | None) -> None:
    """Make a file system, and change its UUID afterwards: the tools differ in that."""
    quiet = {"ext4": ["-q", "-F"], "exfat": []}.get(fs, ["-q"])
    run(f"mkfs.{fs}", *quiet, *(["-L", label] if label else []), image)
    if uuid is not None:
        tool = {"ext4": "tune2fs -f -U", "xfs": "xfs_admin -U", "btrfs": "btrfstune -f -U"}
        number = uuid if fs in tool else "0x" + uuid.replace("-", "")
        run(*tool.get(fs, "tune.exfat -I").split(), number, image)


def attach(image: Path, *options: str) -> str:
    """Put an image on a free loop device; losetup itself tries again where others race for it."""
    return run("losetup", "--find", "--show", *options, image).strip()


def attach_at(loop: str, image: Path) -> None:
    """Put an image on this loop device; waited for while another test has its number."""
    end = time.monotonic() + SECONDS
    while f"{image}" not in run(
        "losetup", "--noheadings", "--output", "BACK-FILE", loop, check=False
    ):
        run("losetup", loop, image, check=False)
        assert time.monotonic() < end, f"{loop} does not come free"
        time.sleep(0.05)


def mount_points() -> list[bytes]:
    """Every mount point, in the order they were mounted."""
    points = [x.split(b" ")[4] for x in Path("/proc/self/mountinfo").read_bytes().splitlines()]
    return [re.sub(rb"\\([0-7]{3})", lambda m: bytes([int(m[1], 8)]), x) for x in points]


@functools.cache
def own_namespace() -> str | None:
    """Leave the machine's mount namespace, once; a sentence if the system refuses."""
    if os.geteuid() != 0:
        return "mounting needs root"
    if ctypes.CDLL(None, use_errno=True).unshare(CLONE_NEWNS) != 0:
        return f"no mount namespace: {os.strerror(ctypes.get_errno())}"
    run("mount", "--make-rprivate", "/")
    return None


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A bench below the test's own folder; the test is skipped where mounting is impossible."""
    if refused := own_namespace():
        pytest.skip(refused)
    with contextlib.closing(Bench(tmp_path)) as made:
        yield made
