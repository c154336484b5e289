"""Devices that die or hang under the running daemon: exFAT servers that are killed or stopped."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from cardmaker import fill, today
from instance import Instance, copies_below
from loopbench import Bench, Disk

MANY = [(1 + n // 20, 1 + n % 20) for n in range(60)]
SHORT = 0.05
DRIVES = {"one": "SHUTTLE_1", "two": "SHUTTLE_2"}


@pytest.fixture
def instance(tmp_path: Path) -> Instance:
    """Two drives, one copy asked for; a device that is silent for five seconds has stalled."""
    return Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        DRIVES,
        {"copies_required": 1, "stall_seconds": 5},
    )


def recordings_on(disk: Disk) -> dict[str, bytes]:
    """What has a final name on a drive, by the path on the card: read here, from the drive."""
    found = copies_below(disk.mount)
    return {
        name.split("/SND_A1/")[1]: path.read_bytes()
        for name, path in found.items()
        if ".takehold-" not in name
    }


def begun(disk: Disk) -> bool:
    """Whether some copies are there."""
    return len(list(disk.mount.rglob("*.WAV"))) >= 3


def die(disk: Disk) -> None:
    """The server of an exFAT volume is gone: every call fails until it is unmounted."""
    assert disk.server is not None
    disk.server.kill()
    disk.server.wait(60)


def bring_back(disk: Disk, instance: Instance) -> None:
    """Mount it again once the system has let go of the dead mount: no file of it may stay open."""

    def mounted() -> bool:
        try:
            disk.mount_again()
        except (AssertionError, OSError):
            return False
        return True

    instance.wait_for(mounted)


@contextmanager
def held(disk: Disk) -> Iterator[None]:
    """The server of an exFAT volume does not answer, inside this block."""
    assert disk.server is not None
    os.kill(disk.server.pid, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(disk.server.pid, signal.SIGCONT)


def test_a_drive_that_dies_while_it_is_written_is_finished_when_it_is_back(
    bench: Bench, instance: Instance
):
    """The other drive goes on; after a new mount nothing untrue is there and all is done."""
    card = bench.disk("card", "ext4", label="SND_A1")
    one = bench.disk("one", "ext4", label="SHUTTLE_1")
    two = bench.disk("two", "exfat", label="SHUTTLE_2")
    made = fill(card.mount, MANY, seconds=SHORT)
    with instance.daemon() as daemon:
        daemon.wait_for(lambda: begun(two))
        die(two)
        daemon.wait_for(lambda: len(recordings_on(one)) == len(made))
        daemon.wait_for(lambda: instance.run("status").returncode == 1)
        two.yank()
        daemon.wait_for(lambda: daemon.state()["absent"] == ["two"] and daemon.is_idle())
        assert os.listdir(two.mount) == []
        bring_back(two, instance)
        daemon.wait_for(lambda: len(recordings_on(two)) == len(made) and daemon.is_idle())
        daemon.wait_for(lambda: instance.run("status").returncode == 0)
        assert daemon.stop() == 0
    assert recordings_on(one) == recordings_on(two) == made


def test_a_card_that_dies_while_it_is_read_is_finished_when_it_is_back(
    bench: Bench, instance: Instance
):
    """A sentence while it is gone, the rest by itself afterwards, READY at the end."""
    card = bench.disk("card", "exfat", label="SND_A1")
    one = bench.disk("one", "ext4", label="SHUTTLE_1")
    made = fill(card.mount, MANY, seconds=SHORT)
    with instance.daemon() as daemon:
        daemon.wait_for(lambda: begun(one))
        die(card)
        daemon.wait_for(lambda: instance.facts("status")["needs"])
        card.yank()
        daemon.wait_for(lambda: daemon.cards() == set() and daemon.is_idle())
        bring_back(card, instance)
        daemon.wait_for(lambda: len(recordings_on(one)) == len(made) and daemon.is_idle())
        assert daemon.stop() == 0
    assert recordings_on(one) == made
    day = instance.facts("wrap", today())
    assert [f["confirmed"] for f in day["files"]] == [True] * len(made)


def test_a_drive_that_hangs_holds_nobody_up(bench: Bench, instance: Instance):
    """The other gets everything, it is said which one hangs; it is finished once it answers."""
    card = bench.disk("card", "ext4", label="SND_A1")
    one = bench.disk("one", "ext4", label="SHUTTLE_1")
    two = bench.disk("two", "exfat", label="SHUTTLE_2")
    made = fill(card.mount, MANY, seconds=SHORT)
    with instance.daemon() as daemon:
        daemon.wait_for(lambda: begun(two))
        with held(two):
            daemon.wait_for(lambda: len(recordings_on(one)) == len(made), timeout=60)
            daemon.wait_for(
                lambda: any("two" in n["says"] for n in instance.facts("status")["needs"]), 60
            )
        daemon.wait_for(lambda: len(recordings_on(two)) == len(made), timeout=60)
        assert daemon.stop() == 0
    assert recordings_on(one) == recordings_on(two) == made


def test_a_stop_ends_the_work_though_a_drive_hangs(bench: Bench, instance: Instance):
    """SIGTERM: it has stopped within its time. The system lets go of it once the drive answers.

    A process with a file open on a hanging FUSE server cannot leave the kernel (seen on Linux).
    """
    card = bench.disk("card", "ext4", label="SND_A1")
    two = bench.disk("two", "exfat", label="SHUTTLE_2")
    made = fill(card.mount, MANY, seconds=SHORT)
    with instance.daemon() as daemon:
        daemon.wait_for(lambda: begun(two))
        with held(two):
            daemon.send(signal.SIGTERM)
            instance.wait_for(lambda: '"Stopped' in instance.log(), timeout=25)
        assert daemon.process.wait(60) in (0, 3)
    complaints = [line for line in instance.log().splitlines() if '"warning"' in line]
    assert len(complaints) < len(made) / 2
    instance.destinations = {"two": "SHUTTLE_2"}
    instance.write_config()
    assert instance.run("once").returncode == 0
    assert recordings_on(two) == made
