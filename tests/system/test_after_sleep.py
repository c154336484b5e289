"""The real program falls asleep in the middle of copying, and keeps the machine awake where it may.

This machine cannot sleep. What a sleep looks like to a program is made instead: it is stopped
(SIGSTOP), the count of CLOCK_BOOTTIME goes ahead of CLOCK_MONOTONIC (clock_gettime(2)), it goes on.
"""

from __future__ import annotations

import contextlib
import signal
import subprocess
from pathlib import Path

import pytest

from cardmaker import fill, today
from faultlab.lab import Lab, faulty_lab  # noqa: F401
from instance import Daemon, Instance, copies_below, parts_below
from loopbench import Bench, Disk, run
from standin_inhibit import Inhibit, alive
from takehold.adapters.volumes.linux import LinuxVolumes

MANY = [(1 + n // 20, 1 + n % 20) for n in range(80)]
SHORT = 0.05
CLOCKS = """
import os, time
_true, _wall = time.clock_gettime_ns, time.time
def _slept():
    try:
        with open(os.environ["SLEPT_SECONDS"]) as file:
            return int(file.read())
    except OSError:
        return 0
def _told(which):
    return _true(which) + (_slept() * 10**9 if which == time.CLOCK_BOOTTIME else 0)
time.clock_gettime_ns, time.time = _told, lambda: _wall() + _slept()
"""


class Laptop:
    """One card, one drive, an inhibitor and a boot-time clock that the test moves."""

    def __init__(self, bench: Bench, folder: Path) -> None:
        self.card = bench.disk("card", "ext4", label="SND_A1", options="noatime")
        self.drive = bench.disk("drive", "ext4", label="SHUTTLE_1")
        self.inhibit = Inhibit(folder / "bin")
        self.slept = folder / "slept"
        clocks = folder / "clocks"
        clocks.mkdir()
        (clocks / "sitecustomize.py").write_text(CLOCKS)
        self.takehold = Instance(
            folder / "laptop",
            {"primary": ("primary", "SND_A*")},
            {"shuttle-1": "SHUTTLE_1"},
            {"copies_required": 1},
            {
                "PATH": self.inhibit.path(),
                "PYTHONPATH": str(clocks),
                "SLEPT_SECONDS": str(self.slept),
            },
        )

    def sleep(self, daemon: Daemon, seconds: int) -> None:
        daemon.send(signal.SIGSTOP)
        before = int(self.slept.read_text()) if self.slept.exists() else 0
        self.slept.with_suffix(".new").write_text(str(before + seconds))
        self.slept.with_suffix(".new").replace(self.slept)
        daemon.send(signal.SIGCONT)

    def names(self) -> dict[str, Path]:
        """Final names on the drive, by their path on the card."""
        found = copies_below(self.drive.mount)
        return {n.split("/SND_A1/")[1]: p for n, p in found.items() if ".takehold-" not in n}

    def true(self, made: dict[str, bytes]) -> bool:
        return all(path.read_bytes() == made[name] for name, path in self.names().items())


@pytest.fixture
def laptop(bench: Bench, tmp_path: Path) -> Laptop:
    return Laptop(bench, tmp_path)


def test_a_sleep_while_copying(laptop: Laptop) -> None:
    """Three sleeps in one card: each said once, each name true, everything there in the end."""
    made = fill(laptop.card.mount, MANY, seconds=SHORT)
    with laptop.takehold.daemon() as daemon:
        for count, after in enumerate((2, 20, 40), 1):
            daemon.wait_for(lambda after=after: len(laptop.names()) >= after)
            laptop.sleep(daemon, 7380)
            said = "The laptop slept for 2 h 3 min."
            daemon.wait_for(lambda n=count: laptop.takehold.log().count(said) == n)
            assert laptop.true(made)
        daemon.wait_for(lambda: len(laptop.names()) == len(made) and daemon.is_idle())
        assert daemon.stop() == 0
    assert "clock was set" not in laptop.takehold.log()
    assert laptop.true(made)
    assert not parts_below(laptop.drive.mount)
    day = laptop.takehold.facts("wrap", today(), status=0)
    assert [len(file["copies"]) for file in day["files"]] == [1] * len(made)


def test_it_is_kept_awake_while_it_copies(laptop: Laptop) -> None:
    """Asked for once for all the files; told to stop, it lets go and leaves no process."""
    made = fill(laptop.card.mount, MANY, seconds=SHORT)
    with laptop.takehold.daemon() as daemon:
        daemon.wait_for(laptop.inhibit.held)
        daemon.wait_for(lambda: len(laptop.names()) == len(made) and daemon.is_idle())
        assert [line.split()[0] for line in laptop.inhibit.diary()] == ["asked", "granted"]
        assert daemon.state()["notes"] == []
        assert daemon.stop() == 0
    laptop.takehold.wait_for(lambda: not any(map(alive, laptop.inhibit.pids())))
    assert not laptop.inhibit.held()


def test_nothing_is_left_after_a_kill(laptop: Laptop) -> None:
    """SIGKILL while the lock is held."""
    fill(laptop.card.mount, MANY, seconds=SHORT)
    with laptop.takehold.daemon() as daemon:
        daemon.wait_for(laptop.inhibit.held)
        daemon.kill()
        laptop.takehold.wait_for(lambda: not any(map(alive, laptop.inhibit.pids())))


def test_a_refusal_is_said_once_and_is_no_trouble(laptop: Laptop) -> None:
    """A note in the status, whose exit stays 0; one line in the log; all is copied."""
    laptop.inhibit.mood("refuse")
    made = fill(laptop.card.mount, MANY, seconds=SHORT)
    says = "The laptop may fall asleep while it copies: systemd-inhibit ended with status 1"
    with laptop.takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(laptop.names()) == len(made) and daemon.is_idle())
        daemon.wait_for(lambda: daemon.state()["notes"])
        status = laptop.takehold.run("status")
        assert status.returncode == 0, status.stdout
        assert f"  note: {says}" in status.stdout
        [note] = laptop.takehold.facts("status", status=0)["notes"]
        assert note.startswith(says)
        assert "Access denied" in note
        assert daemon.stop() == 0
    assert laptop.takehold.log().count(says) == 1
    assert laptop.true(made)


def test_once_keeps_awake_too(laptop: Laptop, lab: Lab) -> None:
    """A command that copies by itself, or says that it may not."""
    laptop.card.unmount()
    card = lab.layer("SND_A1")
    made = fill(card.folder, MANY, seconds=SHORT)
    card.set(hang=["read"])  # the work is not done before the lock is granted
    pipe = subprocess.PIPE
    with laptop.takehold.begun(("once",), pipe, pipe) as done, contextlib.ExitStack() as ends:
        ends.callback(card.mend)
        laptop.takehold.wait_for(lambda: laptop.inhibit.held() or done.poll() is not None)
        card.mend()
        said, _ = done.communicate(timeout=60)
        assert done.returncode == 0, said
    assert len(laptop.names()) == len(made)
    assert [line.split()[0] for line in laptop.inhibit.diary()[:2]] == ["asked", "granted"]
    laptop.takehold.wait_for(lambda: not any(map(alive, laptop.inhibit.pids())))


def test_every_device_is_asked_for_its_name_again(bench: Bench) -> None:
    """A mount that stayed as it was: what its device says counts, not what was known (tune2fs)."""
    disk: Disk = bench.disk("card", "ext4", label="SND_A1")
    volumes = LinuxVolumes()

    def label() -> str:
        [found] = [v for v in volumes.mounted() if v.mount == str(disk.mount).encode()]
        return found.label

    assert label() == "SND_A1"
    run("tune2fs", "-L", "SND_Z9", disk.loop)
    assert label() == "SND_A1"
    volumes.forget()
    assert label() == "SND_Z9"
    volumes.close()
