"""The mount table of Windows. Written from its documentation; not run on that system.

GetVolumeNameForVolumeMountPointW, GetVolumeInformationW (fileapi.h), and from winioctl.h
IOCTL_VOLUME_GET_VOLUME_DISK_EXTENTS, IOCTL_STORAGE_QUERY_PROPERTY and
IOCTL_DISK_GET_DRIVE_LAYOUT_EX, all on learn.microsoft.com.
"""

from __future__ import annotations

import ctypes
import os
import struct
import sys
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial

from takehold.adapters.volumes.patience import Patience
from takehold.adapters.volumes.place import find, root_of, silent
from takehold.model.volume import Root, Volume
from takehold.ports.volumes import Absent, Silent

_FILE_READ_ONLY_VOLUME = 0x00080000
_IOCTL_VOLUME_GET_VOLUME_DISK_EXTENTS = 0x00560000
_EXTENT = struct.Struct("<I4xqq")  # DISK_EXTENT: disk number, offset, length
_IOCTL_STORAGE_QUERY_PROPERTY = 0x002D1400
_IOCTL_DISK_GET_DRIVE_LAYOUT_EX = 0x00070050
# STORAGE_DEVICE_DESCRIPTOR: removable medium; offsets of vendor, product, (revision), serial number
_DESCRIPTOR = struct.Struct("<10x?xII4xI")
_LAYOUT = struct.Struct("<I4x16s")  # DRIVE_LAYOUT_INFORMATION_EX: style, MBR signature or GPT GUID
_MBR, _GPT = 0, 1
_SHARE_ALL = 0x1 | 0x2 | 0x4
_OPEN_EXISTING = 3


@dataclass(frozen=True, slots=True)
class Disk:
    """What the system tells of one physical disk: its number, its descriptor, its partitions."""

    number: int
    descriptor: bytes = b""
    layout: bytes = b""


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
    disks: tuple[Disk, ...] = ()
    device: str = ""


class WindowsVolumes:
    """Implements `takehold.ports.volumes.Volumes`."""

    def __init__(self) -> None:
        self._patience = Patience()

    def forget(self) -> None:
        """Nothing is kept from look to look."""

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
        disks=names_of(told.disks),
        read_only=bool(told.flags & _FILE_READ_ONLY_VOLUME),
        size_bytes=told.size,
    )


def numbers_in(extents: bytes) -> tuple[int, ...]:
    """The physical disks in a VOLUME_DISK_EXTENTS: a count, then the extents from byte 8."""
    if len(extents) < 8:
        return ()
    room = (len(extents) - 8) // _EXTENT.size
    count = min(int.from_bytes(extents[:4], "little"), room)
    found = (_EXTENT.unpack_from(extents, 8 + n * _EXTENT.size) for n in range(count))
    return tuple(sorted({number for number, _, _ in found}))


def names_of(disks: Iterable[Disk]) -> frozenset[str]:
    """What disks are known by at whatever port; by the system's number where nothing else tells.

    In a slot for cards the serial number is the reader's: there the partition table comes first.
    """
    found = set()
    for disk in disks:
        serial, removable = _serial_in(disk.descriptor)
        table = _table_in(disk.layout)
        first, second = (table, serial) if removable else (serial, table)
        found.add(first or second or f"dev:PhysicalDrive{disk.number}")
    return frozenset(found)


def _serial_in(descriptor: bytes) -> tuple[str, bool]:
    if len(descriptor) < _DESCRIPTOR.size:
        return "", False
    removable, *places = _DESCRIPTOR.unpack_from(descriptor)
    # An offset of 0 means that there is none.
    words = [descriptor[at:].partition(b"\0")[0] if at else b"" for at in places]
    about = " ".join(b" ".join(words).decode("ascii", "replace").split())
    return (f"serial:{about}" if words[-1].strip(b" 0") else ""), removable


def _table_in(layout: bytes) -> str:
    if len(layout) < _LAYOUT.size:
        return ""
    style, name = _LAYOUT.unpack_from(layout)
    if style == _GPT:
        return f"table:{uuid.UUID(bytes_le=name)}"
    signature = int.from_bytes(name[:4], "little")
    return f"table:{signature:08x}" if style == _MBR and signature else ""


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
        return Told(
            mount, name.value, label.value, serial.value, kind.value, flags.value, size,
            _disks(name.value) if name.value else (), device,
        )  # fmt: skip

    def _disks(name: str) -> tuple[Disk, ...]:
        extents = _answer(name.rstrip("\\"), _IOCTL_VOLUME_GET_VOLUME_DISK_EXTENTS)
        return tuple(
            Disk(
                number,
                # StorageDeviceProperty, PropertyStandardQuery: both 0.
                _answer(rf"\\.\PhysicalDrive{number}", _IOCTL_STORAGE_QUERY_PROPERTY, bytes(12)),
                _answer(rf"\\.\PhysicalDrive{number}", _IOCTL_DISK_GET_DRIVE_LAYOUT_EX),
            )
            for number in numbers_in(extents)
        )

    def _answer(path: str, code: int, question: bytes = b"") -> bytes:
        # Opened without any access: enough to ask, and it changes nothing.
        handle = ctypes.c_void_p(
            _kernel.CreateFileW(path, 0, _SHARE_ALL, None, _OPEN_EXISTING, 0, None)
        )
        if handle.value == ctypes.c_void_p(-1).value:
            return b""
        # Room for a full table of 128 partitions of 144 bytes each.
        room, filled = ctypes.create_string_buffer(32768), ctypes.c_uint32()
        told = _kernel.DeviceIoControl(
            handle, code, question, len(question), room, len(room), ctypes.byref(filled), None
        )
        _kernel.CloseHandle(handle)
        return room.raw[: filled.value] if told else b""

else:

    def _mounts() -> tuple[str, ...]:
        return ()

    def _ask(_: str) -> Told | None:
        return None
