"""The laptop's own disk fails: full, read-only, yanked under the catalogue and the log.

No claim is lost or invented (P3, P4), and the work goes on by itself once the disk is well (P6).
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from cardmaker import fill, today
from faultlab.checker import whole
from faultlab.lab import ANYWHERE, Lab, faulty_lab  # noqa: F401
from instance import Daemon, Instance, copies_below, parts_below, stock_checks
from loopbench import Bench, Disk

TAKES = [(1, n) for n in range(1, 9)]
MORE = [(2, n) for n in range(1, 41)]


@dataclass
class Laptop(Instance):
    """A takehold whose state folder lies on a disk of its own."""

    state_at: Path = field(default=Path())

    @property
    def state(self) -> Path:
        """Its own folder."""
        return self.state_at / "state"


@dataclass
class Unit:
    """A card, a drive, and a laptop with a small disk."""

    card: Disk
    drive: Disk
    disk: Disk
    takehold: Laptop
    made: dict[str, bytes]

    @property
    def ballast(self) -> Path:
        """What fills the laptop's disk."""
        return self.disk.mount / "ballast"

    def fill_up(self) -> None:
        """Not a byte is left on the laptop's disk."""
        with self.ballast.open("ab", buffering=0) as file:
            for size in (1 << 16, 512, 1):
                with contextlib.suppress(OSError):
                    while True:
                        file.write(bytes(size))

    def give_back(self) -> None:
        """There is room again."""
        self.ballast.unlink()

    def insert(self, takes: list[tuple[int, int]]) -> None:
        """Record more takes on the card."""
        self.made = {**self.made, **fill(self.card.mount, takes)}

    def on_drive(self) -> set[str]:
        return whole(self.drive.mount, self.made)

    def claimed(self) -> set[str]:
        """The files of which the catalogue says that they have a proven copy: asked in SQL."""
        catalogue = self.takehold.state / "catalogue.sqlite"
        with contextlib.closing(
            sqlite3.connect(f"file:{catalogue}?mode=ro", timeout=60, uri=True)
        ) as db:
            sql = "SELECT r.path FROM recording r JOIN copy c ON c.recording = r.id"
            return {os.fsdecode(path) for (path,) in db.execute(sql)}

    def stands_still(self, daemon: Daemon) -> bool:
        """Whether it shows that it can record nothing."""
        return any("No room is left" in a["says"] for a in daemon.state().get("alarms", ()))

    def needs(self, words: str) -> bool:
        """Whether `status` names this as what needs a hand, with its exit status for that."""
        done = self.takehold.run("status")
        return done.returncode == 1 and any(
            line.startswith("! ") and words in line for line in done.stdout.splitlines()
        )

    def is_all_claimed(self) -> bool:
        if self.on_drive() != self.made.keys():
            return False
        return self.claimed() == self.on_drive() == self.made.keys()

    def ends_well(self) -> None:
        """One copy a file under its own name, each true; the day is signed, and checks."""
        assert self.claimed() == self.on_drive() == self.made.keys()
        assert len(copies_below(self.drive.mount)) == len(self.made)
        assert not parts_below(self.drive.mount)
        wrapped = self.takehold.run("wrap", today())
        assert wrapped.returncode == 0, wrapped.stdout + wrapped.stderr
        stock_checks(self.drive.mount / "Lantern Bay" / today(), self.takehold.public_key)


@contextlib.contextmanager
def blind_daemon(takehold: Instance) -> Iterator[Daemon]:
    """`takehold run` where it may be unable to show that it works."""
    nowhere = subprocess.DEVNULL
    with takehold.begun(("run",), nowhere, nowhere) as process:
        yield Daemon(takehold, process)


def inodes(root: Path) -> dict[str, tuple[int, int]]:
    """Each copy's inode and time of change: one that is made again has others."""
    return {n: (p.stat().st_ino, p.stat().st_ctime_ns) for n, p in copies_below(root).items()}


@pytest.fixture
def unit(bench: Bench, tmp_path: Path, request: pytest.FixtureRequest) -> Unit:
    card = bench.disk("card", label="SND_A1")
    drive = bench.disk("drive", label="SHUTTLE_1")
    disk = bench.disk("laptop-disk", getattr(request, "param", "tmpfs"), size_mb=8)
    takehold = Laptop(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
        state_at=disk.mount,
    )
    return Unit(card, drive, disk, takehold, fill(card.mount, TAKES))


@pytest.mark.parametrize("unit", ["tmpfs", "ext4"], indirect=True)
def test_full_before_the_first_start(unit: Unit):
    """A sentence and status 3, nothing is copied that could not be told; with room it works."""
    unit.fill_up()
    for words in (("once",), ("run",), ("wrap",)):
        done = unit.takehold.run(*words)
        assert done.returncode == 3, done.stderr
        assert "Traceback" not in done.stderr
        assert "No space left" in done.stderr or "No room is left" in done.stderr, done.stderr
    assert copies_below(unit.drive.mount) == {}
    unit.give_back()
    assert unit.takehold.run("once").returncode == 0
    unit.ends_well()


@pytest.mark.parametrize("shown", [True, False], ids=["shown before", "nothing shown"])
def test_full_before_a_later_start(unit: Unit, shown: bool):
    """What it had claimed is still said; the daemon waits, says why, and goes on with room."""
    assert unit.takehold.run("once").returncode == 0
    if not shown:
        (unit.takehold.state / "live.json").unlink()
    unit.insert(MORE)
    unit.fill_up()
    assert unit.claimed() < unit.made.keys()
    says = "No room is left" if shown else "does not show how it is"
    with blind_daemon(unit.takehold) as daemon:
        daemon.wait_for(lambda: unit.needs(says))
        unit.give_back()
        daemon.wait_for(lambda: unit.is_all_claimed() and daemon.is_idle())
        daemon.wait_for(lambda: not unit.needs(says))
        assert daemon.stop() == 0
    unit.ends_well()


@pytest.mark.parametrize("unit", ["tmpfs", "ext4"], indirect=True)
def test_full_while_copying(unit: Unit):
    """What was acknowledged stays, what could not be recorded is no claim; with room it goes on."""
    unit.insert(MORE)
    with unit.takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(unit.on_drive()) >= 2)
        unit.fill_up()
        daemon.wait_for(lambda: unit.stands_still(daemon))
        assert unit.needs("No room is left")
        unit.insert([(3, 1)])
        assert unit.claimed() <= unit.on_drive()
        before = inodes(unit.drive.mount)
        unit.give_back()
        daemon.wait_for(lambda: unit.is_all_claimed() and daemon.is_idle())
        assert daemon.stop() == 0
    assert before.items() <= inodes(unit.drive.mount).items(), "nothing is made twice"
    unit.ends_well()


def test_killed_while_full(unit: Unit):
    """Copies under final names that no catalogue knows are recognised, and not made twice."""
    unit.insert(MORE)
    with unit.takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(unit.on_drive()) >= 2)
        unit.fill_up()
        daemon.wait_for(lambda: unit.claimed() < unit.on_drive())
        daemon.wait_for(lambda: unit.stands_still(daemon))
        assert unit.needs("No room is left")
        daemon.kill()
    before, claimed = inodes(unit.drive.mount), unit.claimed()
    assert claimed < unit.on_drive()
    unit.give_back()
    once = unit.takehold.run("once")
    assert once.returncode == 0, once.stdout
    assert before.items() <= inodes(unit.drive.mount).items()
    unit.ends_well()


def test_full_at_wrap(bench: Bench, unit: Unit):
    """No room for the manifest: said, status 3, no half manifest; with room the day is signed."""
    assert unit.takehold.run("once").returncode == 0
    unit.fill_up()
    wrapped = unit.takehold.run("wrap", today())
    assert wrapped.returncode == 3
    assert "No room is left on the disk of the catalogue" in wrapped.stderr
    unit.give_back()
    archive = bench.disk("archive", "tmpfs", size_mb=1, mount=False)
    archive.mount_again(at=unit.takehold.state / "manifests")
    archive_ballast = archive.mount / "ballast"
    with contextlib.suppress(OSError):
        archive_ballast.write_bytes(bytes(1 << 21))
    wrapped = unit.takehold.run("wrap", today())
    assert wrapped.returncode == 3
    assert "No space left on device" in wrapped.stderr
    assert not list(unit.drive.mount.rglob("*.manifest.json*"))
    assert not parts_below(archive.mount)
    archive_ballast.unlink()
    unit.ends_well()


def test_full_when_the_key_is_made(unit: Unit):
    """A sentence, status 3, and no half of a key; with room it is made."""
    config = unit.disk.mount / "takehold.toml"
    config.write_text(unit.takehold.config.read_text())
    unit.fill_up()
    words = ("--config", str(config), "key", "new")
    for _ in range(2):
        done = unit.takehold.run(*words)
        assert done.returncode == 3, done.stderr
        assert "No space left on device" in done.stderr
        assert not list(unit.disk.mount.glob("*key*"))
    unit.give_back()
    assert unit.takehold.run(*words).returncode == 0


def test_a_log_that_takes_nothing_stops_nothing(unit: Unit):
    """The log on a full disk: all is copied, proven, signed, and the stop is clean."""
    unit.takehold.state.mkdir()
    (unit.takehold.state / "takehold.log").symlink_to("/dev/full")
    with unit.takehold.daemon() as daemon:
        daemon.wait_for(lambda: unit.is_all_claimed() and daemon.is_idle())
        unit.ends_well()
        assert daemon.stop() == 0


@pytest.mark.parametrize("unit", ["ext4"], indirect=True)
def test_a_read_only_state_folder(unit: Unit):
    """Nothing is begun that could not be recorded; what is known can be read; then it works."""
    assert unit.takehold.run("once").returncode == 0
    claimed = unit.claimed()
    unit.insert(MORE)
    unit.disk.unmount()
    unit.disk.mount_again(options="ro")
    for words in (("once",), ("run",)):
        done = unit.takehold.run(*words)
        assert done.returncode == 3, done.stderr
        assert str(unit.takehold.state) in done.stderr
        assert "Traceback" not in done.stderr
    assert unit.takehold.run("status").returncode == 3
    assert unit.claimed() == claimed == unit.on_drive()
    unit.disk.unmount()
    unit.disk.mount_again(options="defaults")
    assert unit.takehold.run("once").returncode == 0
    unit.ends_well()


def test_the_state_folder_s_disk_fails_and_is_pulled(lab: Lab, bench: Bench, tmp_path: Path):
    """Its writes fail, it goes, it is back: no false word; begun anew, all is done and claimed."""
    card = bench.disk("card", label="SND_A1")
    drive = bench.disk("drive", label="SHUTTLE_1")
    state = lab.disk("laptop-disk")
    takehold = Laptop(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
        state_at=state.mount,
    )
    unit = Unit(card, drive, state.disk, takehold, fill(card.mount, TAKES))
    with takehold.daemon() as daemon:
        daemon.wait_for(lambda: unit.is_all_claimed() and daemon.is_idle())
        claimed = unit.claimed()
        state.set(write_error=[ANYWHERE])
        unit.insert(MORE)
        takehold.wait_for(lambda: unit.needs("takes no writes"))
        assert claimed <= unit.claimed() <= unit.on_drive()
        state.yank()
        assert list(state.mount.iterdir()) == []
        assert daemon.process.poll() is None
        state.come_back()
        daemon.process.wait(60)
        assert daemon.process.returncode == 3
    assert "the state folder is not the one any more" in takehold.said()
    assert claimed <= unit.claimed() <= unit.on_drive()
    with takehold.daemon() as daemon:
        daemon.wait_for(lambda: unit.is_all_claimed() and daemon.is_idle())
        assert daemon.stop() == 0
    unit.ends_well()
