"""The mount table of Windows. Written from its documentation; not run on that system.

GetVolumeNameForVolumeMountPointW, GetVolumeInformationW (fileapi.h) and
IOCTL_VOLUME_GET_VOLUME_DISK_EXTENTS (winioctl.h), all on learn.microsoft.com.
"""

from __future__ import annotations

import ctypes
import os
import struct
import sys
from dataclasses import dataclass
from functools import partial

from takehold.adapters.volumes.patience import Patience
from takehold.adapters.volumes.place import find, root_of, silent
from takehold.model.volume import Root, Volume
from takehold.ports.volumes import Absent, Silent

_FILE_READ_ONLY_VOLUME = 0x00080000
_IOCTL_VOLUME_GET_VOLUME_DISK_EXTENTS = 0x00560000
_EXTENT = struct.Struct("<I4xqq")  # DISK_EXTENT: disk number, offset, length
_SHARE_ALL = 0x1 | 0x2 | 0x4
_OPEN_EXISTING = 3


@dataclass(frozen=True, slots=True)
class Told:
    r"""What the system tells of one drive. `name`: `\\?\Volume{…}\`, empty for a share."""

    mount: str
    name: str
    label: str
    serial: int
    kind: str
    flags: int
    size: int
    extents: bytes = b""
    device: str = ""


class WindowsVolumes:
    """Implements `takehold.ports.volumes.Volumes`."""

    def __init__(self) -> None:
        self._patience = Patience()

    def silent(self) -> tuple[Silent, ...]:
        """Not told here."""
        return ()

    def mounted(self) -> tuple[Volume, ...]:
        """All drives with something in them that answers."""
        mounts = self._patience.ask("drives", _mounts) or ()
        told = [self._patience.ask(mount, partial(_ask, mount)) for mount in mounts]
        return tuple(volume_of(one) for one in told if one is not None)

    def root(self, volume: Volume, folder: bytes = b"") -> Root:
        """A folder of a volume as a root."""
        return root_of(volume, folder)

    def folder(self, path: bytes, known_identity: str | None) -> Root | Absent:
        """A configured folder as a root, if it lies where it lay."""
        volumes = self.mounted()
        found = self._patience.ask(path, lambda: find(path, volumes, known_identity))
        return silent(path) if found is None else found


def volume_of(told: Told) -> Volume:
    """A drive as a volume. The serial number is written as Windows shows it: `EB87-E13D`."""
    serial = f"{told.serial >> 16:04X}-{told.serial & 0xFFFF:04X}"
    return Volume(
        mount=told.mount.encode("utf-8", "surrogatepass"),
        mount_id=f"{told.name or told.mount}@{told.mount}",
        device=told.device,
        label=told.label or told.mount.rstrip("\\"),
        identity=f"uuid:{serial}:{told.size}" if told.name else f"net:{told.mount}",
        kind=told.kind.lower(),
        disks=disks_in(told.extents),
        read_only=bool(told.flags & _FILE_READ_ONLY_VOLUME),
        size_bytes=told.size,
    )


def disks_in(extents: bytes) -> frozenset[str]:
    """The physical disks in a VOLUME_DISK_EXTENTS: a count, then the extents from byte 8."""
    if len(extents) < 8:
        return frozenset()
    room = (len(extents) - 8) // _EXTENT.size
    count = min(int.from_bytes(extents[:4], "little"), room)
    found = (_EXTENT.unpack_from(extents, 8 + n * _EXTENT.size) for n in range(count))
    return frozenset(f"PhysicalDrive{number}" for number, _, _ in found)


if sys.platform == "win32":
    import shutil

    import psutil

    _kernel = ctypes.WinDLL("kernel32", use_last_error=True)
    _kernel.CreateFileW.restype = ctypes.c_void_p

    def _mounts() -> tuple[str, ...]:
        return tuple(p.mountpoint for p in psutil.disk_partitions(all=True) if p.fstype)

    def _ask(mount: str) -> Told | None:
        label = ctypes.create_unicode_buffer(261)
        kind = ctypes.create_unicode_buffer(261)
        name = ctypes.create_unicode_buffer(50)
        serial, longest, flags = ctypes.c_uint32(), ctypes.c_uint32(), ctypes.c_uint32()
        numbers = (ctypes.byref(serial), ctypes.byref(longest), ctypes.byref(flags))
        if not _kernel.GetVolumeInformationW(mount, label, 261, *numbers, kind, 261):
            return None
        _kernel.GetVolumeNameForVolumeMountPointW(mount, name, 50)
        try:
            size, device = shutil.disk_usage(mount).total, str(os.stat(mount).st_dev)
        except OSError:
            return None
        extents = _extents(name.value) if name.value else b""
        return Told(
            mount, name.value, label.value, serial.value, kind.value, flags.value, size,
            extents, device,
        )  # fmt: skip

    def _extents(name: str) -> bytes:
        # Opened without any access: enough to ask, and it changes nothing.
        handle = ctypes.c_void_p(
            _kernel.CreateFileW(name.rstrip("\\"), 0, _SHARE_ALL, None, _OPEN_EXISTING, 0, None)
        )
        if handle.value == ctypes.c_void_p(-1).value:
            return b""
        room, filled = ctypes.create_string_buffer(8 + 32 * _EXTENT.size), ctypes.c_uint32()
        code = _IOCTL_VOLUME_GET_VOLUME_DISK_EXTENTS
        told = _kernel.DeviceIoControl(
            handle, code, None, 0, room, len(room), ctypes.byref(filled), None
        )
        _kernel.CloseHandle(handle)
        return room.raw[: filled.value] if told else b""

else:

    def _mounts() -> tuple[str, ...]:
        return ()

    def _ask(_: str) -> Told | None:
        return None
