"""What a physical disk is known by, from made-up device trees and tools."""

from __future__ import annotations

import os

import pytest

from devicetree import DeviceTree
from takehold.adapters.volumes.disks import names_of

TABLE = "ID_PART_TABLE_UUID=7d9c1a2b\n"


@pytest.fixture
def tree(tmp_path, monkeypatch):
    made = DeviceTree(tmp_path)
    monkeypatch.setenv("PATH", f"{made.tools()}:{os.environ['PATH']}")
    return made


def names(tree, number="8:0"):
    return names_of(number, 5.0, str(tree.top))


@pytest.mark.parametrize(
    ("files", "name"),
    [
        ({"device/wwid": b"naa.5002538d40a1b2c3\n"}, "wwn:naa.5002538d40a1b2c3"),
        ({"wwid": b"eui.0025385971b00001\n"}, "wwn:eui.0025385971b00001"),
        ({"device/wwid": b"t10.ACME    Disk  7\n", "serial": b"X\n"}, "wwn:t10.ACME Disk 7"),
        ({"serial": b"VIRT-77\n"}, "serial:VIRT-77"),
        ({"device/serial": b" S1 \n", "device/model": b"Fast  \n"}, "serial:Fast S1"),
        ({"device/cid": b"1b534d41\n", "device/serial": b"0x12ab\n"}, "serial:1b534d41"),
        (
            {"device/vpd_pg80": b"\0\x80\0\x06  ZX81junk", "device/vendor": b"ACME\n"},
            "serial:ACME ZX81",
        ),
    ],
)
def test_the_makers_number(tree, files, name):
    """Page 80h: length in bytes 2-3, number from byte 4 (SCSI Primary Commands; from memory)."""
    tree.add("sda", "8:0", files={"removable": b"0\n", **files})
    (tree.top / "blkid/sda").write_text(TABLE)
    assert names(tree) == {name}


@pytest.mark.parametrize(
    "filler", [b"0000000000\n", b"0x00000000\n", b"naa.0000000000000000\n", b"\n"]
)
def test_a_makers_filler_is_no_number(tree, filler):
    tree.add("sda", "8:0", files={"device/wwid": filler, "device/serial": filler})
    (tree.top / "blkid/sda").write_text(TABLE)
    assert names(tree) == {"table:7d9c1a2b"}


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("ID_WWN=0x5002538d\nID_SERIAL=A_1\nID_SERIAL_SHORT=1\n", "wwn:0x5002538d"),
        ("ID_WWN=0x5\nID_WWN_WITH_EXTENSION=0x5777\n", "wwn:0x5777"),
        ("ID_SERIAL=ACME_Dock_X1-0:0\nID_SERIAL_SHORT=X1\n", "serial:ACME_Dock_X1-0:0"),
        ("ID_SERIAL=ACME_Dock-0:0\n" + TABLE, "table:7d9c1a2b"),
        (TABLE, "table:7d9c1a2b"),
    ],
)
def test_what_the_device_database_knows(tree, said, name):
    """A serial of vendor and model alone would make one of two drives of the same make."""
    tree.add("sda", "8:0")
    (tree.top / "udev/8:0").write_text(said)
    assert names(tree) == {name}


def test_in_a_slot_the_card_counts_and_not_the_reader(tree):
    """Two cards used in one reader are two; the reader's number is the last resort but one."""
    tree.add("sda", "8:0", files={"removable": b"1\n", "device/serial": b"READER-1\n"})
    assert names(tree) == {"serial:READER-1"}
    (tree.top / "blkid/sda").write_text("ID_FS_UUID_ENC=EB87-E13D\n")
    assert names(tree) == {"fs:EB87-E13D:1024000"}
    (tree.top / "blkid/sda").write_text(TABLE)
    assert names(tree) == {"table:7d9c1a2b"}


def test_a_table_without_a_number_leaves_all_file_systems(tree):
    """Any two partitions of the disk have a name in common."""
    tree.add("sda", "8:0")
    tree.add("sda/sda1", "8:1", partition=True)
    tree.add("sda/sda2", "8:2", partition=True)
    (tree.top / "blkid/sda1").write_text("ID_FS_UUID_ENC=AAAA-0001\n")
    (tree.top / "blkid/sda2").write_text("ID_FS_UUID_ENC=AAAA-0002\n")
    assert names(tree) == {"fs:AAAA-0001:1024000", "fs:AAAA-0002:1024000"}


def test_the_kernels_number_is_the_last_resort(tree):
    tree.add("sda", "8:0")
    assert names(tree) == {"dev:8:0"}


def test_a_loop_device_is_its_file(tree):
    tree.add("loop0", "7:0", files={"loop/backing_file": b"/srv/a.img\n", "serial": b"X\n"})
    assert names(tree, "7:0") == {"image:/srv/a.img"}


def test_a_disk_that_does_not_answer_has_no_name(tree):
    """Neither has one that is gone: a made-up name would make it a device of its own."""
    tree.add("sda", "8:0")
    os.mkfifo(tree.top / "udev/8:0")
    assert names_of("8:0", 0.2, str(tree.top)) is None
    assert names(tree, "8:16") is None
