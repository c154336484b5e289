"""What is mounted now."""

from __future__ import annotations

from dataclasses import dataclass

# Kept in memory only: nothing on them outlives the power (P5, P3).
MEMORY_FILE_SYSTEMS = frozenset({"tmpfs", "ramfs", "devtmpfs"})


@dataclass(frozen=True, slots=True)
class Volume:
    """One live mount of one file system.

    `identity` is stable over mounts ("uuid:EB87-E13D:63963136", never a path); `mount_id` names
    this mount alone; `device` is the kernel's number of the file system ("7:0"); `disks` are the
    physical disks behind it by names that stay with them ("wwn:…", "serial:…", "table:…", "fs:…",
    "image:…", "dev:…"), empty where the system does not tell. `appearance` stays the same until the
    volume was away and came back, whoever asks; empty where the system does not tell. `top` is the
    folder of the file system that is mounted there, b"" for all of it.
    """

    mount: bytes
    mount_id: str
    device: str
    label: str
    identity: str
    kind: str
    disks: frozenset[str]
    read_only: bool = False
    size_bytes: int = 0
    appearance: str = ""
    top: bytes = b""

    @property
    def keeps(self) -> bool:
        """Whether what is written here outlives the power."""
        return self.kind not in MEMORY_FILE_SYSTEMS


@dataclass(frozen=True, slots=True)
class Root:
    """A folder that the engine works below: a card's mount point, a watch folder, a destination.

    `place` says it to people. `identity` is the volume's, with the folder below its mount point.
    """

    path: bytes
    volume: Volume
    identity: str

    @property
    def disks(self) -> frozenset[str]:
        """The disks that copies here stand on; none where the volume keeps nothing."""
        return self.volume.disks if self.volume.keeps else frozenset()
