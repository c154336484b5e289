"""Roots and volumes of real folders, as the mount table tells them."""

from __future__ import annotations

import os
from pathlib import Path

from takehold.model.volume import Root, Volume


def root_at(path: Path | bytes) -> Root:
    """The root for a folder: kind, number and mount point from proc_pid_mountinfo(5)."""
    path = os.fsencode(path)
    number, device, mount, kind = _mount_of(path)
    disks = frozenset() if device.startswith("0:") else frozenset({device})
    volume = Volume(mount, number, device, _label(mount), f"test:{device}", kind, disks)
    below = os.path.relpath(path, mount)
    return Root(path, volume, f"test:{device}:{os.fsdecode(below)}")


def _mount_of(path: bytes) -> tuple[str, str, bytes, str]:
    """Id, device, mount point and kind of the mount a path lies on: the longest, newest match."""
    best = ("", "", b"", "")
    with open("/proc/self/mountinfo", "rb") as table:
        for line in table:
            fields = line.split()
            mount = fields[4].replace(b"\\040", b" ")
            kind = fields[fields.index(b"-") + 1].decode()
            below = mount == b"/" or path == mount or path.startswith(mount + b"/")
            if below and len(mount) >= len(best[2]):
                best = (fields[0].decode(), fields[2].decode(), mount, kind)
    return best


def _label(mount: bytes) -> str:
    return os.fsdecode(os.path.basename(mount)) or "root"
