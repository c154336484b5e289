"""The mount table and the device tree, read from texts and made-up folders."""

from __future__ import annotations

import pytest

from devicetree import DeviceTree
from takehold.adapters.volumes.block import (
    Tags,
    backing_file,
    disks_behind,
    pairs_in,
    pool_disks,
    size_of,
    tags_in,
)
from takehold.adapters.volumes.linux import _host, _identity, _Live, _shares
from takehold.adapters.volumes.mountinfo import Mount, mounts

# The example line of proc_pid_mountinfo(5), Linux man-pages.
MANUAL = b"36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue\n"


def mount(kind: str = "ext4", source: bytes = b"/dev/sdb1", **other: object) -> Mount:
    fields = {"id": "40", "device": "0:50", "root": b"/", "point": b"/media/a", **other}
    return Mount(kind=kind, source=source, **fields)  # type: ignore[arg-type]


def test_the_manuals_example():
    assert mounts(MANUAL) == (Mount("36", "98:0", b"/mnt1", b"/mnt2", "ext3", b"/dev/root"),)


@pytest.mark.parametrize("tags", [b"", b"shared:1 ", b"shared:1 master:2 propagate_from:2 "])
def test_any_number_of_optional_fields(tags):
    """The optional fields end at a single hyphen (proc_pid_mountinfo(5), field 8)."""
    line = b"50 1 8:1 / /media/a rw " + tags + b"- exfat /dev/sda1 rw\n"
    assert mounts(line) == (Mount("50", "8:1", b"/", b"/media/a", "exfat", b"/dev/sda1"),)


def test_escapes_are_decoded_and_bytes_stay_bytes():
    line = b"1 1 8:1 /a\\040b /m/\\011\\012\\134040\\043\xff rw - fuse.x a\\040b rw"
    found = mounts(line)[0]
    assert (found.root, found.point, found.source) == (b"/a b", b"/m/\t\n\\040#\xff", b"a b")


@pytest.mark.parametrize("line", [b"", b"garbage", b"1 2 3 4 5 6 7", b"1 1 8:1 / /a rw - ext4"])
def test_lines_of_another_form_are_left_out(line):
    assert mounts(line + b"\n" + MANUAL) == mounts(MANUAL)


@pytest.mark.parametrize(
    "kind", ["proc", "sysfs", "cgroup2", "devpts", "devtmpfs", "autofs", "squashfs", "overlay"]
)
def test_what_holds_no_files_of_people(kind):
    assert not mount(kind, point=b"/x").holds_files


@pytest.mark.parametrize(
    "kind",
    [
        "tmpfs",
        "fuseblk",
        "fuse.sshfs",
        "nfs4",
        "cifs",
        "ext4",
        "xfs",
        "btrfs",
        "vfat",
        "exfat",
        "x",
    ],
)
def test_what_holds_files(kind):
    assert mount(kind).holds_files


def test_an_overlay_is_a_volume_where_it_is_the_system():
    assert mount("overlay", b"overlay", point=b"/").holds_files


def test_which_mounts_may_hang():
    hang = {
        k for k in ("ext4", "fuseblk", "fuse", "fuse.sshfs", "nfs4", "cifs") if mount(k).may_hang
    }
    assert hang == {"fuseblk", "fuse", "fuse.sshfs", "nfs4", "cifs"}


@pytest.mark.parametrize(
    ("kind", "source", "disks"),
    [
        ("nfs4", b"nas:/export/audio", {"nas"}),
        ("nfs4", b"[fe80::1]:/export", {"[fe80::1]"}),
        ("cifs", b"//nas/share", {"nas"}),
        ("fuse.sshfs", b"user@nas:/home", {"nas"}),
        ("zfs", b"tank/audio", {"tank"}),
        ("fuse.other", b"bucket", {"bucket"}),
        ("fuse.other", b"/no/such/folder", set()),
        ("fuse", b"none", set()),
        ("overlay", b"overlay", set()),
        ("tmpfs", b"tmpfs", set()),
    ],
)
def test_disks_without_a_device(kind, source, disks):
    """Shares of one machine count as one device; what is unknown counts as none (P5)."""
    assert _shares(mount(kind, source)) == disks


@pytest.mark.parametrize(
    ("kind", "source", "root", "identity"),
    [
        ("tmpfs", b"tmpfs", b"/", "memory:40"),
        ("cifs", b"//nas/share", b"/", "net://nas/share"),
        ("zfs", b"tank/audio", b"/", "dev:tank/audio:1000"),
        ("zfs", b"tank/audio", b"/below", "dev:tank/audio:1000:below"),
    ],
)
def test_identity_without_a_uuid(kind, source, root, identity):
    assert _identity(mount(kind, source, root=root), _Live(1000, False, None), "") == identity


def test_tags_are_decoded():
    r"""`blkid -p -o udev` and `udevadm info` write what is unsafe as \xhh."""
    said = b"A=/b\nID_FS_LABEL_ENC=SND\\x20A\\x5c\xc3\xa9\\xff\nID_FS_UUID_ENC=EB87-E13D\n"
    assert tags_in(pairs_in(said)) == Tags("SND A\\é\\xff", "EB87-E13D")
    assert tags_in(pairs_in(b"")) == Tags("", "")


@pytest.fixture
def sysfs(tmp_path):
    made = DeviceTree(tmp_path)
    made.add("sda", "8:0")
    made.add("sda/sda1", "8:1", partition=True)
    made.add("sda/sda2", "8:2", partition=True)
    made.add("sdb", "8:16")
    made.add("md0", "9:0", slaves=("sda/sda2", "sdb"))
    made.add("dm-0", "253:0", slaves=("md0",))
    return made


@pytest.mark.parametrize(
    ("number", "disks"),
    [
        ("8:0", {"8:0"}),
        ("8:1", {"8:0"}),
        ("8:2", {"8:0"}),
        ("9:0", {"8:0", "8:16"}),
        ("253:0", {"8:0", "8:16"}),
        ("99:0", {"99:0"}),
    ],
)
def test_disks_behind_partitions_arrays_and_mappings(sysfs, number, disks):
    """Layout: the kernel's ABI/testing/sysfs-block; `slaves` and `partition`."""
    assert disks_behind(number, str(sysfs.top)) == disks


def test_disks_of_a_pool(sysfs):
    members = sysfs.top / "fs/btrfs/u-u/devices"
    members.mkdir(parents=True)
    (members / "sda1").symlink_to(sysfs.top / "devices/sda/sda1")
    (members / "sdb").symlink_to(sysfs.top / "devices/sdb")
    assert pool_disks("u-u", str(sysfs.top)) == {"8:0", "8:16"}
    assert pool_disks("other", str(sysfs.top)) == set()


def test_size_counts_sectors_of_512(sysfs):
    assert size_of("8:0", str(sysfs.top)) == 2000 * 512
    assert size_of("99:0", str(sysfs.top)) == 0


@pytest.mark.parametrize(
    ("kept", "path"),
    [
        (b"/media/a/x y.img\n", b"/media/a/x y.img"),
        (b"/media/a\xff\n\n", b"/media/a\xff\n"),
        (b"/gone.img (deleted)\n", b"/gone.img"),
    ],
)
def test_the_file_of_a_loop_device(sysfs, kept, path):
    """One newline is the kernel's (drivers/block/loop.c, loop_attr_backing_file_show)."""
    sysfs.add("loop3", "7:3", files={"loop/backing_file": kept})
    assert backing_file("7:3", str(sysfs.top)) == path
    assert backing_file("8:0", str(sysfs.top)) is None


def test_the_mount_that_an_image_lies_on():
    """Not the system's own, not one beside, not the image's own mount over its folder."""
    system = mount(device="254:0", point=b"/")
    lower, upper = mount(device="8:1", id="41"), mount(device="8:17", id="42")
    table = (system, lower, mount(device="8:33", point=b"/media/a b"), upper)
    assert _host(b"/media/a/x.img", table, frozenset()) == upper
    assert _host(b"/media/a/x.img", table, frozenset({upper.device})) == lower
    assert _host(b"/media/ab/x.img", table, frozenset()) is None
    assert _host(b"/media/a/x.img", (), frozenset()) is None
    again = (*table, mount(device="254:0", point=b"/srv"))
    assert _host(b"/srv/x.img", again, frozenset()) is None
