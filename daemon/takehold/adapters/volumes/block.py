"""What Linux tells of block devices: names, sizes, the physical disks behind them.

Devices are named by the kernel's numbers, "8:1". Layouts: the kernel's sysfs documentation
(ABI/testing/sysfs-block, sysfs-dev); `ID_FS_LABEL_ENC` and `ID_FS_UUID_ENC`: libblkid.
"""

from __future__ import annotations

import os
import re
import stat
import subprocess
from collections.abc import Mapping
from dataclasses import dataclass

_SECTOR = 512  # sysfs counts sizes in these, whatever the device's own sector is
_HEX = re.compile(rb"\\x([0-9a-fA-F]{2})")


@dataclass(frozen=True, slots=True)
class Tags:
    """A file system's own label and UUID, empty where it has none or nobody may read them."""

    label: str = ""
    uuid: str = ""


def number_of(device: str, source: bytes, sysfs: str = "/sys") -> str | None:
    """The block device behind a mount, None if there is none.

    `device` is the mount's own number; btrfs has a made-up one, then its `source` counts. A
    folder as source (a FUSE file system that shows another folder) means that folder's device.
    """
    if os.path.exists(f"{sysfs}/dev/block/{device}"):
        return device
    if not source.startswith(b"/") or source.startswith(b"//"):
        return None
    try:
        found = os.stat(source)
    except OSError:
        return None
    raw = found.st_rdev if stat.S_ISBLK(found.st_mode) else found.st_dev
    number = f"{os.major(raw)}:{os.minor(raw)}"
    return number if os.path.exists(f"{sysfs}/dev/block/{number}") else None


def size_of(number: str, sysfs: str = "/sys") -> int:
    """The device's size in bytes, 0 if it is gone."""
    return int(line_of(f"{sysfs}/dev/block/{number}/size") or "0") * _SECTOR


def disks_behind(number: str, sysfs: str = "/sys") -> frozenset[str]:
    """The physical disks below a partition, a mapping, an array or a disk itself."""
    node = os.path.realpath(f"{sysfs}/dev/block/{number}")
    if os.path.exists(f"{node}/partition"):
        whole = line_of(f"{os.path.dirname(node)}/dev")
        return disks_behind(whole, sysfs) if whole else frozenset({number})
    below = [line_of(f"{node}/slaves/{name}/dev") for name in names_in(f"{node}/slaves")]
    return frozenset().union(*(disks_behind(n, sysfs) for n in below if n)) or frozenset({number})


def backing_file(number: str, sysfs: str = "/sys") -> bytes | None:
    """The image file that a loop device shows, None for any other device."""
    try:
        with open(f"{sysfs}/dev/block/{number}/loop/backing_file", "rb") as file:
            path = file.read()
    except OSError:
        return None
    return path.removesuffix(b"\n").removesuffix(b" (deleted)") or None


def pool_disks(uuid: str, sysfs: str = "/sys") -> frozenset[str]:
    """The physical disks of a btrfs file system that spans devices, empty if unknown."""
    folder = f"{sysfs}/fs/btrfs/{uuid}/devices"
    members = [line_of(f"{folder}/{name}/dev") for name in names_in(folder)]
    return frozenset().union(*(disks_behind(n, sysfs) for n in members if n))


def ask_tags(number: str, timeout_s: float, sysfs: str = "/sys") -> Tags | None:
    """Label and UUID of a device; None if the system did not answer in time."""
    told = ask(number, "ID_FS_UUID_ENC", timeout_s, sysfs)
    return None if told is None else tags_in(told)


def ask(number: str, wanted: str, timeout_s: float, sysfs: str = "/sys") -> dict[str, str] | None:
    """What the system knows of a device, by udev's names; None if it did not answer in time.

    The device database comes first: everybody may ask it, and it keeps two devices of the same
    label apart. Where it lacks what is `wanted`, the device itself is read, which needs rights.
    """
    name = _property(f"{sysfs}/dev/block/{number}/uevent", "DEVNAME")
    if not name:
        return None
    told: dict[str, str] = {}
    for command in (
        ("udevadm", "info", "--query=property", f"--path={sysfs}/dev/block/{number}"),
        ("blkid", "-p", "-o", "udev", f"/dev/{name}"),
    ):
        try:
            said = subprocess.run(  # noqa: S603 - fixed words and a kernel's device name
                command, capture_output=True, timeout=timeout_s, check=False, env=_environment()
            )
        except subprocess.TimeoutExpired:
            return None
        except OSError:
            continue
        told = pairs_in(said.stdout) | told
        if told.get(wanted):
            break
    return told


def pairs_in(said: bytes) -> dict[str, str]:
    r"""The lines `ID_FS_LABEL_ENC=SND\x20A` by name, decoded."""
    pairs = (line.partition(b"=")[::2] for line in said.split(b"\n") if b"=" in line)
    return {key.decode("ascii", "replace"): _decoded(value) for key, value in pairs}


def tags_in(told: Mapping[str, str]) -> Tags:
    """Label and UUID among a device's properties."""
    return Tags(told.get("ID_FS_LABEL_ENC", ""), told.get("ID_FS_UUID_ENC", ""))


def _decoded(value: bytes) -> str:
    plain = _HEX.sub(lambda x: bytes([int(x[1], 16)]), value)
    return plain.decode("utf-8", "backslashreplace")


def _environment() -> dict[str, str]:
    # A person's PATH often lacks the folders where blkid is.
    return {**os.environ, "LC_ALL": "C", "PATH": f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin"}


def _property(path: str, key: str) -> str:
    try:
        with open(path, encoding="utf-8", errors="replace") as lines:
            pairs = dict(line.rstrip("\n").partition("=")[::2] for line in lines)
    except OSError:
        return ""
    return pairs.get(key, "")


def line_of(path: str) -> str:
    """The first line of a small file, empty if it cannot be read."""
    try:
        with open(path, encoding="ascii", errors="replace") as file:
            return file.readline().strip()
    except OSError:
        return ""


def names_in(folder: str) -> list[str]:
    """The names in a folder in their order, none if it cannot be read."""
    try:
        return sorted(os.listdir(folder))
    except OSError:
        return []
