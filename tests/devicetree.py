"""A made-up device tree in the form of sysfs, and tools that tell what a test lays down."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path


class DeviceTree:
    """Device nodes below `devices`, by number below `dev/block`."""

    def __init__(self, top: Path) -> None:
        self.top = top
        (top / "dev/block").mkdir(parents=True)

    def add(
        self,
        path: str,
        number: str,
        partition: bool = False,
        slaves: tuple[str, ...] = (),
        files: Mapping[str, bytes] | None = None,
    ) -> None:
        """A device; `files` are more attributes, by their path below it."""
        node = self.top / "devices" / path
        (node / "slaves").mkdir(parents=True)
        given = {"dev": f"{number}\n".encode(), "size": b"2000\n", **(files or {})}
        given["uevent"] = f"DEVNAME={os.path.basename(path)}\n".encode()
        if partition:
            given["partition"] = b"1\n"
        for name, content in given.items():
            (node / name).parent.mkdir(parents=True, exist_ok=True)
            (node / name).write_bytes(content)
        for slave in slaves:
            (node / "slaves" / os.path.basename(slave)).symlink_to(self.top / "devices" / slave)
        (self.top / "dev/block" / number).symlink_to(node)

    def tools(self) -> Path:
        """A folder with `udevadm` and `blkid` that answer from `udev` and `blkid` below the top."""
        folder = self.top / "bin"
        folder.mkdir()
        for tool, kept in (("udevadm", "udev"), ("blkid", "blkid")):
            (self.top / kept).mkdir()
            # The device is the last word of both, as a number or as a name.
            script = (
                f'#!/bin/sh\nfor last; do :; done\nexec cat "{self.top}/{kept}/${{last##*/}}"\n'
            )
            (folder / tool).write_text(script)
            (folder / tool).chmod(0o755)
        return folder
