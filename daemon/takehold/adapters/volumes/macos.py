"""The mount table of macOS, as `diskutil` tells it; not run on that system.

The documents are property lists: `diskutil list -plist` and `diskutil info -plist DEVICE`,
diskutil(8). Which keys they hold is from memory.
"""

from __future__ import annotations

import os
import plistlib
import re
import subprocess
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any
from xml.parsers.expat import ExpatError

from takehold.adapters.volumes.patience import Patience
from takehold.adapters.volumes.place import find, root_of, silent
from takehold.formats.names import display
from takehold.model.volume import Root, Volume
from takehold.ports.volumes import Absent, Silent

_TOOL = "/usr/sbin/diskutil"
_PATIENCE_S = 10.0
_WHOLE = re.compile(r"disk\d+")

Document = Mapping[str, Any]


class MacVolumes:
    """Implements `takehold.ports.volumes.Volumes`. Network shares are not listed by diskutil."""

    def __init__(self) -> None:
        self._patience = Patience()

    def forget(self) -> None:
        """Nothing is kept from look to look."""

    def silent(self) -> tuple[Silent, ...]:
        """Not told here."""
        return ()

    def mounted(self) -> tuple[Volume, ...]:
        """All mounted volumes that hold files and answer."""
        listed = _told("list", "-plist")
        names = devices_of(listed)
        infos = [told for name in names if (told := _told("info", "-plist", name))]
        found = (self._live(v) for v in volumes_of(listed, infos))
        return tuple(volume for volume in found if volume is not None)

    def root(self, volume: Volume, folder: bytes = b"") -> Root:
        """A folder of a volume as a root."""
        return root_of(volume, folder)

    def folder(self, path: bytes, known_identity: str | None) -> Root | Absent:
        """A configured folder as a root, if it lies where it lay."""
        volumes = self.mounted()
        found = self._patience.ask(path, lambda: find(path, volumes, known_identity))
        return silent(path) if found is None else found

    def _live(self, volume: Volume) -> Volume | None:
        device = self._patience.ask(volume.mount_id, lambda: _device(volume.mount))
        return replace(volume, device=device) if device else None


def devices_of(listed: Document) -> tuple[str, ...]:
    """The devices of a list that are mounted, in its order."""
    return tuple(str(part["DeviceIdentifier"]) for part in _parts(listed) if part.get("MountPoint"))


def volumes_of(listed: Document, infos: Iterable[Document]) -> tuple[Volume, ...]:
    """The mounted volumes of one list and its devices' own documents."""
    stores, names = _stores(listed), _names(listed)
    return tuple(_volume(info, stores, names) for info in infos if info.get("MountPoint"))


def _volume(
    info: Document, stores: Mapping[str, frozenset[str]], names: Mapping[str, frozenset[str]]
) -> Volume:
    device = str(info["DeviceIdentifier"])
    mount = os.fsencode(str(info["MountPoint"]))
    size = int(info.get("TotalSize") or info.get("Size") or 0)
    uuid = info.get("VolumeUUID") or info.get("DiskUUID")
    whole = str(info.get("ParentWholeDisk") or _whole(device))
    return Volume(
        mount=mount,
        mount_id=f"{device}@{display(mount)}",
        device=device,
        label=str(info.get("VolumeName") or "") or display(os.path.basename(mount) or mount),
        identity=f"uuid:{uuid}:{size}" if uuid else f"dev:{device}:{size}",
        kind=str(info.get("FilesystemType") or "unknown"),
        disks=frozenset().union(
            *(names.get(d) or {f"dev:{d}"} for d in stores.get(whole, frozenset({whole})))
        ),
        read_only=not info.get("WritableVolume", True),
        size_bytes=size,
    )


def _parts(listed: Document) -> list[Document]:
    wholes = listed.get("AllDisksAndPartitions", ())
    return [
        part
        for whole in wholes
        for part in (whole, *whole.get("Partitions", ()), *whole.get("APFSVolumes", ()))
    ]


def _names(listed: Document) -> dict[str, frozenset[str]]:
    """What a disk is known by at whatever port: the UUIDs of all its partitions.

    All, so that any two volumes of one disk have a name in common. The partition's own comes
    first: the UUID in a new FAT file system may be the same on many disks.
    """
    return {
        str(whole["DeviceIdentifier"]): frozenset(
            f"part:{uuid}"
            for part in whole.get("Partitions") or (whole,)
            if (uuid := part.get("DiskUUID") or part.get("VolumeUUID"))
        )
        for whole in listed.get("AllDisksAndPartitions", ())
    }


def _stores(listed: Document) -> dict[str, frozenset[str]]:
    """An APFS container looks like a disk of its own; the disks that it is kept on."""
    return {
        str(whole["DeviceIdentifier"]): frozenset(
            _whole(str(store["DeviceIdentifier"])) for store in whole["APFSPhysicalStores"]
        )
        for whole in listed.get("AllDisksAndPartitions", ())
        if whole.get("APFSPhysicalStores")
    }


def _whole(device: str) -> str:
    found = _WHOLE.match(device)
    return found[0] if found else device


def _device(mount: bytes) -> str:
    try:
        number = os.stat(mount).st_dev
    except OSError:
        return ""
    return f"{os.major(number)}:{os.minor(number)}"


def _told(*words: str) -> dict[str, Any]:
    try:
        said = subprocess.run(  # noqa: S603 - fixed words and a kernel's device name
            (_TOOL, *words), capture_output=True, timeout=_PATIENCE_S, check=False
        )
        told = plistlib.loads(said.stdout)
    except (OSError, subprocess.TimeoutExpired, plistlib.InvalidFileException, ExpatError):
        return {}
    return told if isinstance(told, dict) else {}
