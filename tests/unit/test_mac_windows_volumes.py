"""Volumes of systems that the tests do not run on, from documents in the documented form.

The documents are made up; their keys are those of diskutil(8) and winioctl.h, from memory.
"""

from __future__ import annotations

import plistlib
import struct
import uuid

from takehold.adapters.volumes.macos import MacVolumes, devices_of, volumes_of
from takehold.adapters.volumes.place import find, holder
from takehold.adapters.volumes.windows import Disk, Told, names_of, numbers_in, volume_of
from takehold.model.volume import Root
from takehold.ports.volumes import Absent

LISTED = plistlib.loads(b"""<?xml version="1.0" encoding="UTF-8"?>
<plist version="1.0"><dict>
<key>AllDisksAndPartitions</key><array>
 <dict><key>DeviceIdentifier</key><string>disk0</string><key>Partitions</key><array>
  <dict><key>DeviceIdentifier</key><string>disk0s1</string>
   <key>DiskUUID</key><string>P1</string><key>VolumeUUID</key><string>SAME</string></dict>
  <dict><key>DeviceIdentifier</key><string>disk0s2</string>
   <key>DiskUUID</key><string>P2</string></dict></array></dict>
 <dict><key>DeviceIdentifier</key><string>disk1</string>
  <key>APFSPhysicalStores</key><array>
   <dict><key>DeviceIdentifier</key><string>disk0s2</string></dict></array>
  <key>APFSVolumes</key><array>
   <dict><key>DeviceIdentifier</key><string>disk1s1</string>
    <key>MountPoint</key><string>/</string></dict></array></dict>
 <dict><key>DeviceIdentifier</key><string>disk4</string><key>Partitions</key><array>
  <dict><key>DeviceIdentifier</key><string>disk4s1</string>
   <key>VolumeUUID</key><string>V1</string>
   <key>MountPoint</key><string>/Volumes/SND_A1</string></dict></array></dict>
 <dict><key>DeviceIdentifier</key><string>disk5</string>
  <key>MountPoint</key><string>/Volumes/PLAIN</string></dict>
</array></dict></plist>""")

INFOS = [
    {
        "DeviceIdentifier": "disk1s1",
        "MountPoint": "/",
        "VolumeName": "System",
        "VolumeUUID": "11111111-2222-3333-4444-555555555555",
        "ParentWholeDisk": "disk1",
        "FilesystemType": "apfs",
        "TotalSize": 500_000,
        "WritableVolume": False,
    },
    {
        "DeviceIdentifier": "disk4s1",
        "MountPoint": "/Volumes/SND_A1",
        "VolumeName": "SND_A1",
        "VolumeUUID": "AAAAAAAA-2222-3333-4444-555555555555",
        "ParentWholeDisk": "disk4",
        "FilesystemType": "exfat",
        "TotalSize": 64_000,
        "WritableVolume": True,
    },
    {"DeviceIdentifier": "disk5", "MountPoint": "/Volumes/PLAIN", "Size": 32_000},
    {"DeviceIdentifier": "disk6", "MountPoint": ""},
]


def test_mac_devices_that_are_mounted():
    assert devices_of(LISTED) == ("disk1s1", "disk4s1", "disk5")
    assert devices_of({}) == ()


def test_mac_volumes():
    """An APFS volume stands on the disk of its container's store.

    A disk is known by its partitions; only one without any UUID by its number of the moment.
    """
    system, card, plain = volumes_of(LISTED, INFOS)
    assert (system.mount, system.disks, system.read_only) == (b"/", {"part:P1", "part:P2"}, True)
    assert card.identity == "uuid:AAAAAAAA-2222-3333-4444-555555555555:64000"
    assert (card.label, card.kind, card.disks) == ("SND_A1", "exfat", {"part:V1"})
    assert not card.read_only
    assert (plain.label, plain.identity) == ("PLAIN", "dev:disk5:32000")
    assert plain.disks == {"dev:disk5"}


def test_mac_without_its_tool_has_no_volumes_and_says_so_of_a_folder(tmp_path):
    """On another system the tool is missing: nothing is mounted, nothing is raised."""
    assert MacVolumes().mounted() == ()
    assert isinstance(MacVolumes().folder(bytes(tmp_path), None), Absent)


def test_a_folder_by_its_longest_mount_point(tmp_path):
    """/ and the folder's own mount both lie above it: the longer one holds it."""
    (tmp_path / "card" / "AUDIO").mkdir(parents=True)
    card = {**INFOS[1], "MountPoint": str(tmp_path / "card")}
    volumes = volumes_of(LISTED, [INFOS[0], card])
    root = find(bytes(tmp_path / "card" / "AUDIO"), volumes, None)
    assert isinstance(root, Root)
    assert root.volume.label == "SND_A1"
    assert root.identity == volumes[1].identity + ":AUDIO"
    assert find(root.path, volumes, root.identity) == root
    assert isinstance(find(root.path, volumes[:1], root.identity), Absent)
    beside = bytes(tmp_path / "card") + b"-2"
    assert holder(beside, volumes) == volumes[0]


def extents(*disks: int) -> bytes:
    """A VOLUME_DISK_EXTENTS as winioctl.h lays it out."""
    return struct.pack("<I4x", len(disks)) + b"".join(struct.pack("<I4xqq", d, 0, 9) for d in disks)


def descriptor(serial: bytes, removable: bool = False) -> bytes:
    """A STORAGE_DEVICE_DESCRIPTOR as winioctl.h lays it out, its words behind 36 bytes."""
    words = b"ACME    \0Shuttle\0" + serial + b"\0"
    places = (36, 45, 0, 53 if serial else 0)
    return struct.pack("<IIBB?BIIII8x", 36, 99, 0, 0, removable, False, *places) + words


def mbr(signature: int) -> bytes:
    """A DRIVE_LAYOUT_INFORMATION_EX of style 0: signature, then a checksum."""
    return struct.pack("<IIII40x", 0, 4, signature, 7)


GUID = uuid.UUID("b1c2d3e4-0000-4000-8000-123456789abc")
GPT = struct.pack("<II16s24x", 1, 2, GUID.bytes_le)


def test_windows_disks():
    assert numbers_in(extents(2)) == (2,)
    assert numbers_in(extents(3, 1, 3)) == (1, 3)


def test_windows_disks_of_a_broken_answer():
    """A count beyond what was filled allocates nothing and reads nothing."""
    assert (
        numbers_in(b"") == numbers_in(b"\xff" * 7) == numbers_in(b"\xff\xff\xff\xff\0\0\0\0") == ()
    )
    assert names_of([Disk(1, b"\xff" * 27, b"\0" * 23)]) == {"dev:PhysicalDrive1"}
    assert names_of([Disk(1, b"\xff" * 28)]) == {"dev:PhysicalDrive1"}


def test_windows_names_stay_with_the_disk():
    """The serial number, else the table's; in a slot for cards the table's first."""
    serial = {"serial:ACME Shuttle X1"}
    assert names_of([Disk(1, descriptor(b" X1"), GPT)]) == serial
    assert names_of([Disk(7, descriptor(b" X1"))]) == serial
    assert names_of([Disk(1, descriptor(b"X1", removable=True), GPT)]) == {f"table:{GUID}"}
    assert names_of([Disk(1, descriptor(b"X1", removable=True), mbr(0))]) == serial
    assert names_of([Disk(1, descriptor(b""), mbr(0xA1B2C3D4))]) == {"table:a1b2c3d4"}
    assert names_of([Disk(1, descriptor(b"0000")), Disk(2)]) == {
        "dev:PhysicalDrive1",
        "dev:PhysicalDrive2",
    }


def test_windows_volumes():
    name = "\\\\?\\Volume{0}\\"
    card = volume_of(
        Told("E:\\", name, "SND_A1", 0xEB87E13D, "exFAT", 0x80000, 64, (Disk(2),), "7")
    )
    assert (card.identity, card.label, card.kind) == ("uuid:EB87-E13D:64", "SND_A1", "exfat")
    assert (card.mount, card.disks, card.read_only) == (b"E:\\", {"dev:PhysicalDrive2"}, True)


def test_windows_share():
    """A share has no volume name and no disk that is known."""
    share = volume_of(Told("Z:\\", "", "", 1, "NTFS", 0, 64))
    assert (share.identity, share.label, share.disks) == ("net:Z:\\", "Z:", frozenset())
