"""Real file systems on loop devices, in a mount namespace of the test process's own.

The process leaves the machine's mount namespace once, at the first use; nothing that a test mounts
is seen outside, and two workers never see each other's mounts. Everything below the test's
folder is taken away at the end by looking at what is there, not at what was noted.
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
SECONDS = 60
MEGABYTES = {"ext4": 64, "exfat": 64, "xfs": 320, "btrfs": 128, "tmpfs": 16}


def run(*command: str | bytes | Path, check: bool = True) -> str:
    """Run a command to its end and give back what it printed."""
    done = subprocess.run(
        command, capture_output=True, timeout=SECONDS, check=False, stdin=subprocess.DEVNULL
    )
    said = (done.stdout + done.stderr).decode(errors="replace")
    if check and done.returncode:
        raise AssertionError(f"{command}: status {done.returncode}: {said}")
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
        self.mount.mkdir(parents=True, exist_ok=True)
        if self.fs == "exfat":
            self._serve()
        else:
            what = ["-t", self.fs, self.loop or self.name, str(self.mount)]
            run("mount", *(["-o", self.options] if self.options else []), *what)
        return self.mount

    def _serve(self) -> None:
        """Start the exFAT server in the foreground, to be ended by its number, never by its name."""
        before = os.stat(self.mount).st_dev
        options = ",".join(filter(None, ("noatime", self.options)))
        self.server = subprocess.Popen(
            ["setpriv", "--pdeathsig", "KILL", "mount.exfat-fuse", "-d", "-o", options]
            + [self.loop, str(self.mount)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        end = time.monotonic() + SECONDS
        while os.stat(self.mount).st_dev == before:
            if self.server.poll() is not None or time.monotonic() > end:
                raise AssertionError(f"exFAT on {self.loop} was not mounted")
            time.sleep(0.01)

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
        if self.server is None:
            return
        try:
            self.server.wait(seconds)
        except subprocess.TimeoutExpired:
            self.server.kill()
            self.server.wait(SECONDS)
        self.server = None


class Bench:
    """Makes disks below one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.disks: list[Disk] = []

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
        """A new file system, mounted at media/`name` unless told otherwise.

        `label` is the name unless given ("" for none). `uuid` for exFAT is the serial number,
        "EB87-E13D". tmpfs has no image and no loop device.
        """
        size = (size_mb or MEGABYTES[fs]) * 1_000_000
        image = self.folder / "images" / f"{name}.img"
        disk = Disk(name, fs, image, "", self.folder / "media" / name, options)
        self.disks.append(disk)
        if fs == "tmpfs":
            disk.options = ",".join(filter(None, (f"size={size}", options)))
        else:
            image.parent.mkdir(exist_ok=True)
            with image.open("xb") as made:
                made.truncate(size)
            self._make(fs, image, name if label is None else label, uuid)
            disk.loop = attach(image)
        if mount:
            disk.mount_again()
        return disk

    def clone(self, disk: Disk, name: str, mount: bool = True) -> Disk:
        """A second disk of the same bytes: same label, same UUID. Unmount the first before."""
        image = self.folder / "images" / f"{name}.img"
        run("cp", "--sparse=always", disk.image, image)
        twin = Disk(name, disk.fs, image, attach(image), self.folder / "media" / name, disk.options)
        self.disks.append(twin)
        if mount:
            twin.mount_again()
        return twin

    def bind(self, source: Path, at: Path) -> Path:
        """The same folder at a second place."""
        at.mkdir(parents=True, exist_ok=True)
        run("mount", "--bind", source, at)
        return at

    @staticmethod
    def _make(fs: str, image: Path, label: str, uuid: str | None) -> None:
        quiet = {"ext4": ["-q", "-F"], "xfs": ["-q"], "btrfs": ["-q"], "exfat": []}[fs]
        run(f"mkfs.{fs}", *quiet, *(["-L", label] if label else []), image)
        if uuid is not None:
            change = {
                "ext4": ["tune2fs", "-f", "-U", uuid],
                "xfs": ["xfs_admin", "-U", uuid],
                "btrfs": ["btrfstune", "-f", "-U", uuid],
                "exfat": ["tune.exfat", "-I", "0x" + uuid.replace("-", "")],
            }[fs]
            run(*change, image)

    def close(self) -> None:
        """Unmount, stop and detach all that lies below the folder."""
        below = os.fsencode(self.folder) + b"/"
        for point in reversed(mount_points()):
            if point.startswith(below):
                run("umount", "-l", point, check=False)
        for disk in self.disks:
            disk._reap(2)
        for kept in Path("/sys/block").glob("loop*/loop/backing_file"):
            with contextlib.suppress(OSError):
                if kept.read_bytes().startswith(below):
                    run("losetup", "-d", f"/dev/{kept.parts[3]}", check=False)


def attach(image: Path, *options: str) -> str:
    """Put an image on a free loop device; others may race for it."""
    for _ in range(5):
        said = run("losetup", "--find", "--show", *options, image, check=False).strip()
        if said.startswith("/dev/loop"):
            return said
    raise AssertionError(f"no loop device for {image}: {said}")


def mount_points() -> list[bytes]:
    """Every mount point of this process, in the order they were mounted."""
    table = Path("/proc/self/mountinfo").read_bytes().splitlines()
    return [
        re.sub(rb"\\([0-7]{3})", lambda m: bytes([int(m[1], 8)]), line.split(b" ")[4])
        for line in table
    ]


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
    refused = own_namespace()
    if refused:
        pytest.skip(refused)
    made = Bench(tmp_path)
    try:
        yield made
    finally:
        made.close()
