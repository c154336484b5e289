"""The mount table of Linux with real file systems on loop devices."""

from __future__ import annotations

import contextlib
import json
import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from loopbench import Bench, attach_at, run
from takehold.adapters.volumes import volumes
from takehold.adapters.volumes.linux import LinuxVolumes
from takehold.adapters.volumes.patience import PATIENCE_S, Patience
from takehold.model.volume import Root, Volume
from takehold.ports.volumes import Absent

UUID = "b1c2d3e4-0000-4000-8000-123456789abc"


def patient(monkeypatch: pytest.MonkeyPatch, seconds: float) -> None:
    """How long a mount is waited for that may hang: on a busy machine it may answer late."""
    monkeypatch.setattr(Patience.ask, "__defaults__", (seconds,))


@pytest.fixture
def table(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Iterator[LinuxVolumes]:
    patient(monkeypatch, 60.0)
    with contextlib.closing(LinuxVolumes()) as opened:
        yield opened


def at(table: LinuxVolumes, mount: Path) -> Volume | None:
    found = [v for v in table.mounted() if v.mount == os.fsencode(mount)]
    assert len(found) <= 1
    return found[0] if found else None


def number(loop: str) -> str:
    raw = os.stat(loop).st_rdev
    return f"{os.major(raw)}:{os.minor(raw)}"


def test_this_system_has_a_table(bench):
    with contextlib.closing(volumes()) as made:
        assert isinstance(made, LinuxVolumes)
        assert any(v.mount == b"/" for v in made.mounted())


@pytest.mark.parametrize(
    ("fs", "uuid"), [("ext4", UUID), ("exfat", "EB87-E13D"), ("xfs", UUID), ("btrfs", UUID)]
)
def test_a_volume_on_a_device(bench, table, fs, uuid):
    """Label, UUID, size and disk are those that mkfs and losetup (util-linux) were given."""
    disk = bench.disk("card", fs, label="SND_A 1", uuid=uuid)
    size = int(run("blockdev", "--getsize64", disk.loop))
    found = at(table, disk.mount)
    assert found is not None
    assert found.label == "SND_A 1"
    assert found.identity == f"uuid:{uuid}:{size}"
    assert found.disks == {f"image:{disk.image}"}
    assert found.kind == {"exfat": "fuseblk"}.get(fs, fs)
    assert 0 < found.size_bytes <= size
    assert not found.read_only
    assert found.keeps


def test_the_same_volume_elsewhere_has_the_same_identity(bench, table):
    disk = bench.disk("card")
    before = at(table, disk.mount)
    disk.unmount()
    assert at(table, disk.mount) is None
    after = at(table, disk.mount_again(at=bench.folder / "media/card1"))
    assert before is not None
    assert after is not None
    assert before.identity == after.identity


def test_another_card_in_the_same_place_is_not_mistaken(bench, table):
    """Mount point, size and often device number and mount id are the first card's again."""
    first = bench.disk("first")
    second = bench.disk("second", mount=False)
    before = at(table, first.mount)
    first.unmount()
    run("losetup", "-d", first.loop)
    run("losetup", "-d", second.loop)
    attach_at(first.loop, second.image)
    second.loop = first.loop
    after = at(table, second.mount_again(at=first.mount))
    assert before is not None
    assert after is not None
    assert (before.device, before.label, after.label) == (after.device, "first", "second")
    assert before.identity != after.identity


def test_read_only(bench, table):
    found = at(table, bench.disk("card", options="ro").mount)
    assert found is not None
    assert found.read_only


def test_without_a_label_the_mount_points_name_serves(bench, table):
    found = at(table, bench.disk("SND_B2", label="").mount)
    assert found is not None
    assert found.label == "SND_B2"


@pytest.mark.parametrize("name", ["two words", "tab\tline\nb\\s", "\x1b[31m", "é", "#1"])
def test_odd_mount_points_and_labels(bench, table, name):
    """The tool findmnt (util-linux) sees the same mount."""
    disk = bench.disk("x", label=name, mount=False)
    mount = disk.mount_again(at=bench.folder / "media" / name)
    found = at(table, mount)
    assert found is not None
    assert found.label == name
    told = json.loads(
        run("findmnt", "--json", "--list", "--output", "TARGET", "--source", disk.loop)
    )
    assert [f["target"] for f in told["filesystems"]] == [os.fsdecode(found.mount)]


def test_a_mount_point_that_is_no_utf8(bench, table):
    disk = bench.disk("x", label="", mount=False)
    found = at(table, disk.mount_again(at=Path(os.fsdecode(bytes(bench.folder) + b"/\xff"))))
    assert found is not None
    assert found.label == "\\xff"


def test_memory_has_no_disk(bench, table):
    disk = bench.disk("fast", "tmpfs")
    found = at(table, disk.mount)
    assert found is not None
    assert found.identity == f"memory:{found.mount_id}"
    assert not found.keeps
    assert table.root(found).disks == frozenset()


def test_a_bind_mount_is_the_same_volume(bench, table):
    """Of two mounts of one file system the shortest is listed."""
    disk = bench.disk("drive")
    bench.bind(disk.mount, bench.folder / "media/another-name")
    found = [v for v in table.mounted() if v.device == number(disk.loop)]
    assert [v.mount for v in found] == [os.fsencode(disk.mount)]


def test_a_clone_is_a_second_volume_of_the_same_identity(bench, table):
    disk = bench.disk("card")
    disk.unmount()
    twin = bench.clone(disk, "twin")
    disk.mount_again()
    one, two = at(table, disk.mount), at(table, twin.mount)
    assert one is not None
    assert two is not None
    assert (one.identity, one.label) == (two.identity, two.label)
    assert one.mount_id != two.mount_id
    assert one.disks != two.disks


def test_a_covered_mount_is_not_listed(bench, table):
    """What was mounted over its parent hides it: its path leads elsewhere."""
    disk = bench.disk("drive")
    run("mount", "-t", "tmpfs", "cover", disk.mount.parent)
    disk.mount.mkdir()
    assert at(table, disk.mount) is None
    assert at(table, disk.mount.parent) is not None


def test_of_two_mounts_at_one_place_the_upper_counts(bench, table):
    lower = bench.disk("lower")
    upper = bench.disk("upper", mount=False)
    found = at(table, upper.mount_again(at=lower.mount))
    assert found is not None
    assert found.label == "upper"


def test_a_mount_whose_server_died_is_left_out(bench, table):
    disk = bench.disk("card", "exfat")
    other = bench.disk("other")
    disk.server.kill()
    disk.server.wait(60)
    assert at(table, disk.mount) is None
    assert at(table, other.mount) is not None
    answer = table.folder(os.fsencode(disk.mount), None)
    assert isinstance(answer, Absent)
    assert "not answer" in answer.says


def test_a_mount_whose_server_hangs_is_left_out_and_comes_back(bench, table, monkeypatch):
    """It is waited for once; the looks after that skip it until it answers."""
    patient(monkeypatch, PATIENCE_S)
    disk = bench.disk("card", "exfat")
    disk.server.send_signal(signal.SIGSTOP)
    try:
        assert at(table, disk.mount) is None
        assert at(table, disk.mount) is None
        assert isinstance(table.folder(os.fsencode(disk.mount), None), Absent)
    finally:
        disk.server.send_signal(signal.SIGCONT)
    for asking in table._patience._hanging.values():
        asking.join(60)
    patient(monkeypatch, 60.0)
    assert at(table, disk.mount) is not None


def test_a_root_and_its_folder(bench, table):
    disk = bench.disk("drive")
    volume = at(table, disk.mount)
    assert volume is not None
    top = table.root(volume)
    assert (top.path, top.identity) == (os.fsencode(disk.mount), volume.identity)
    below = table.root(volume, b"day/one")
    assert below.path == os.fsencode(disk.mount / "day/one")
    assert below.identity == f"{volume.identity}:day/one"


def test_a_configured_folder(bench, table):
    disk = bench.disk("drive")
    (disk.mount / "audio").mkdir()
    root = table.folder(os.fsencode(disk.mount / "audio") + b"/", None)
    assert isinstance(root, Root)
    assert root.identity == f"{root.volume.identity}:audio"
    assert root.volume == at(table, disk.mount)
    assert table.folder(root.path, root.identity) == root


def test_a_folder_left_behind_by_its_volume_is_absent(bench, table):
    """P4: after the yank the folder is there, on the wrong disk."""
    disk = bench.disk("drive")
    disk.mount.mkdir(exist_ok=True)
    root = table.folder(os.fsencode(disk.mount), None)
    assert isinstance(root, Root)
    disk.yank()
    answer = table.folder(root.path, root.identity)
    assert isinstance(answer, Absent)
    assert "another volume" in answer.says
    disk.mount_again()
    again = table.folder(root.path, root.identity)
    assert isinstance(again, Root)
    assert again.identity == root.identity


def test_folders_that_cannot_serve(bench, table):
    top = bench.folder
    (top / "file").write_bytes(b"")
    (top / "real").mkdir()
    (top / "link").symlink_to("real")
    for path, says in {
        top / "file": "no folder",
        top / "link": "is a link",
        top / "missing": "is not there",
        Path("relative"): "no complete path",
        top / "file/below": "does not answer",
    }.items():
        answer = table.folder(os.fsencode(path) + b"/", None)
        assert isinstance(answer, Absent), path
        assert says in answer.says


def test_a_link_on_the_way_is_followed(bench, table):
    """Only the folder itself must be none: a home folder may be linked."""
    disk = bench.disk("drive")
    (disk.mount / "audio").mkdir()
    (bench.folder / "short").symlink_to(disk.mount)
    root = table.folder(os.fsencode(bench.folder / "short/audio"), None)
    assert isinstance(root, Root)
    assert root.path == os.fsencode(disk.mount / "audio")


def test_looking_leaves_the_card_as_it_was(bench, table):
    """P1: the image is the same bit for bit, and the card can be unmounted at once."""
    disk = bench.disk("card")
    disk.unmount()
    before = disk.image_bytes_sha256()
    disk.mount_again(options="ro")
    assert at(table, disk.mount) is not None
    assert isinstance(table.folder(os.fsencode(disk.mount), None), Root)
    disk.unmount()
    assert disk.image_bytes_sha256() == before
