"""A shooting day on real volumes, with the real program, label by label as in its config."""

from __future__ import annotations

import json
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

from cardmaker import fill, put, today
from instance import (
    Instance,
    copies_below,
    finals_below,
    parts_below,
    same_bytes,
    stock_checks,
)
from loopbench import Bench, Disk, run

EXPECT = {"timecode_rate": "25", "sample_rate": 48000, "bit_depth": 24}
TAKES = ((1, 1), (1, 2), (1, 3), (2, 1))


@dataclass
class Day:
    """Two cards and two drives that are in, and a takehold that is set up for them."""

    primary: Disk
    backup: Disk
    drives: tuple[Disk, Disk]
    instance: Instance


def set_up(bench: Bench, tmp_path: Path) -> Day:
    """The config of the design's ninth section, with the drives of this bench."""
    options = "strictatime"
    primary = bench.disk("primary", "ext4", label="SND_A1", options=options)
    backup = bench.disk("backup", "exfat", label="SND_B1")
    drives = bench.disk("one", "ext4", label="SHUTTLE_1"), bench.disk("two", "exfat", label="SH_2")
    instance = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*"), "backup": ("backup", "SND_B*")},
        {"shuttle-1": "SHUTTLE_1", "shuttle-2": "SH_2"},
        {"expect": EXPECT},
    )
    return Day(primary, backup, drives, instance)


@pytest.fixture
def day(bench: Bench, tmp_path: Path) -> Day:
    return set_up(bench, tmp_path)


def test_a_day_ends_ready_and_anyone_can_check_it(day: Day):
    """Every copy stands under the card's own names, cmp finds no difference, stock tools agree."""
    on_primary = fill(day.primary.mount, TAKES)
    fill(day.backup.mount, TAKES)
    put(day.primary.mount, "NOTES.TXT", b"harbour wall\n")

    once = day.instance.run("once")
    assert once.returncode == 0, once.stdout + once.stderr
    wrapped = day.instance.run("wrap", today())
    assert wrapped.returncode == 0, wrapped.stdout + wrapped.stderr
    assert f"{today()}: READY" in wrapped.stdout

    names = {f"SND_A1/{name}" for name in (*on_primary, "NOTES.TXT")}
    names |= {f"SND_B1/{name}" for name in on_primary}
    cards = {"SND_A1": day.primary.mount, "SND_B1": day.backup.mount}
    for drive in day.drives:
        day_folder = drive.mount / "Lantern Bay" / today()
        copies = copies_below(day_folder)
        assert copies.keys() == names
        assert copies_below(drive.mount).keys() == {f"Lantern Bay/{today()}/{n}" for n in names}
        for name, copy in copies.items():
            card, _, path = name.partition("/")
            assert same_bytes(cards[card] / path, copy)
        assert "Good" in stock_checks(day_folder, day.instance.public_key)
        assert not parts_below(drive.mount)
        listed = (day_folder / f"{today()}.r1.sha256").read_text().splitlines()
        assert len(listed) == len(names)
        for ending in ("manifest.json", "manifest.json.sig", "sha256", "xxh64", "signers"):
            assert (day_folder / f"{today()}.r1.{ending}").is_file()


def test_what_sha256sum_reads_on_a_drive_is_what_lay_on_the_card(day: Day):
    """The list on a drive holds the sums that sha256sum (GNU coreutils) finds on the card."""
    fill(day.primary.mount)
    fill(day.backup.mount)
    assert day.instance.run("once").returncode == 0
    assert day.instance.run("wrap", today()).returncode == 0
    folder = day.drives[0].mount / "Lantern Bay" / today()
    listed = dict(
        reversed(line.split("  ", 1))
        for line in (folder / f"{today()}.r1.sha256").read_text().splitlines()
    )
    on_card = subprocess.run(
        ["find", ".", "-name", "*.WAV", "-exec", "sha256sum", "{}", "+"],
        cwd=day.primary.mount,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    ).stdout
    for line in on_card.splitlines():
        digest, name = line.split("  ./", 1)
        assert listed[f"SND_A1/{name}"] == digest


def test_a_take_that_the_backup_lacks_holds_the_day(day: Day):
    """`wrap` says HOLD with the take's name, exit 1; the manifest on the drives says so too."""
    fill(day.primary.mount, TAKES)
    fill(day.backup.mount, [take for take in TAKES if take != (1, 3)])
    assert day.instance.run("once").returncode == 0
    wrapped = day.instance.run("wrap", today())
    assert wrapped.returncode == 1
    assert "SND_A1/DAY01/S01T03.WAV: the backup card has no such recording." in wrapped.stdout
    assert f"{today()}: HOLD" in wrapped.stdout
    folder = day.drives[0].mount / "Lantern Bay" / today()
    stock_checks(folder, day.instance.public_key)
    manifest = json.loads((folder / f"{today()}.r1.manifest.json").read_bytes())
    assert "HOLD" in json.dumps(manifest["verdict"])

    fill(day.backup.mount, [(1, 3)])
    again = day.instance.run("wrap", today())
    assert again.returncode == 0, again.stdout
    stock_checks(folder, day.instance.public_key, f"{today()}.r2")
    stock_checks(folder, day.instance.public_key, f"{today()}.r1")


def settled_image(disk: Disk) -> str:
    """Digest of what the loop device holds once all that was written has reached it."""
    run("sync", "--file-system", disk.mount)
    run("blockdev", "--flushbufs", disk.loop)
    return disk.image_bytes_sha256()


def changed_blocks(before: Path, after: Path) -> set[int]:
    """The blocks of 4 KiB that differ between two images, as cmp (POSIX) tells."""
    done = subprocess.run(
        ["cmp", "-l", before, after], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode in (0, 1), done.stderr
    return {(int(line.split()[0]) - 1) // 4096 for line in done.stdout.splitlines()}


@pytest.mark.parametrize(("fs", "options"), [("ext4", "strictatime"), ("exfat", "")])
def test_a_day_changes_no_byte_of_a_card(bench: Bench, tmp_path: Path, fs: str, options: str):
    """The card is mounted to write, with access times: its image is the same after the day.

    A mount itself writes (ext4 counts mounts, exFAT marks the volume in use): images are compared
    while the card stays mounted, and after it was taken out with a twin that takehold never saw.
    """
    card = bench.disk("card", fs, label="SND_A1")
    fill(card.mount)
    (card.mount / "EMPTY").mkdir()
    card.unmount()
    fresh = bench.folder / "fresh.img"
    run("cp", "--sparse=always", card.image, fresh)
    twin = bench.clone(card, "twin")
    twin.unmount()
    card.mount_again(options=options)
    before = settled_image(card)
    drive = bench.disk("drive", "ext4", label="SHUTTLE_1")
    instance = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
    )
    assert instance.run("once").returncode == 0
    assert instance.run("wrap", today()).returncode == 0
    with instance.daemon() as daemon:
        daemon.wait_for(lambda: daemon.cards() == {"SND_A1"} and daemon.is_idle())
        assert daemon.stop() == 0
    assert len(copies_below(drive.mount)) == 3
    assert settled_image(card) == before
    card.unmount()
    settled_image(card)
    assert changed_blocks(fresh, card.image) <= changed_blocks(fresh, twin.image)


def test_the_check_of_a_card_s_image_can_fail(bench: Bench):
    """Reading one file the common way writes its access time: the image is another one."""
    card = bench.disk("card", "ext4", label="SND_A1", options="strictatime")
    fill(card.mount, [(1, 1)])
    before = settled_image(card)
    run("cat", card.mount / "DAY01" / "S01T01.WAV")
    assert settled_image(card) != before


def goes(disk: Disk) -> bool:
    """Whether umount lets it go: it refuses a volume on which anything is open."""
    try:
        disk.unmount()
    except AssertionError:
        return False
    return True


def test_a_card_can_be_taken_out_while_the_daemon_idles(day: Day):
    """Every one of the four goes while takehold runs; a look, a moment long, may be in the way."""
    fill(day.primary.mount)
    fill(day.backup.mount)
    with day.instance.daemon() as daemon:
        daemon.wait_for(lambda: daemon.cards() == {"SND_A1", "SND_B1"})
        daemon.wait_for(lambda: len(finals_below(day.drives[1].mount)) == 6 and daemon.is_idle())
        daemon.wait_for(lambda: all(not c["in_use"] for c in daemon.state()["cards"]))
        for disk in (day.primary, day.backup, *day.drives):
            daemon.wait_for(lambda disk=disk: goes(disk))
        daemon.wait_for(lambda: daemon.state()["cards"] == [])
        daemon.wait_for(lambda: set(daemon.state()["absent"]) == {"shuttle-1", "shuttle-2"})
