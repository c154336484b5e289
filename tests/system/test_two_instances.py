"""Two takeholds at one catalogue: one works, the other says so; a dead one holds nobody up."""

from __future__ import annotations

import contextlib
import os
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from cardmaker import fill, today
from faultlab.checker import whole
from faultlab.lab import Lab, faulty_lab  # noqa: F401
from instance import Daemon, Instance, copies_below, parts_below
from loopbench import Bench, Disk

MANY = [(1 + n // 20, 1 + n % 20) for n in range(60)]
OTHER = "Another takehold works with this catalogue"


@dataclass
class Laptop(Instance):
    """A takehold that is told another path of its state folder."""

    state_at: Path = field(default=Path())

    @property
    def state(self) -> Path:
        """Its own folder, by that path."""
        return self.state_at


@pytest.fixture
def card(bench: Bench) -> Disk:
    return bench.disk("card", label="SND_A1")


@pytest.fixture
def drive(bench: Bench) -> Disk:
    return bench.disk("drive", label="SHUTTLE_1")


@pytest.fixture
def takehold(card: Disk, drive: Disk, tmp_path: Path) -> Laptop:
    return laptop(tmp_path, tmp_path / "state")


def laptop(tmp_path: Path, state: Path) -> Laptop:
    """A takehold with a folder and a key of its own, and that state folder."""
    return Laptop(
        tmp_path / f"laptop-{len(list(tmp_path.glob('laptop-*')))}",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
        state_at=state,
    )


def test_one_state_folder_by_several_paths(
    bench: Bench, card: Disk, drive: Disk, takehold: Laptop, tmp_path: Path
):
    """By a link, by a bind mount, from another config: the lock is the file's, not the path's."""
    made = fill(card.mount, MANY, seconds=0.05)
    link = tmp_path / "link"
    link.symlink_to(takehold.state)
    with takehold.daemon() as daemon:
        bound = bench.bind(takehold.state, tmp_path / "bound")
        for state in (link, bound):
            for words in (("run",), ("once",)):
                second = laptop(tmp_path, state).run(*words)
                assert second.returncode == 4, second.stderr
                assert OTHER in second.stderr
        daemon.wait_for(lambda: whole(drive.mount, made) == made.keys() and daemon.is_idle())
        assert daemon.stop() == 0
    assert not parts_below(drive.mount)


def test_commands_beside_a_daemon_ask_it(card: Disk, drive: Disk, takehold: Laptop):
    """`wrap` and `recheck` twice at once, while it copies: each is answered, one copy a file."""
    made = fill(card.mount, MANY, seconds=0.05)
    with takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(copies_below(drive.mount)) >= 2)
        with contextlib.ExitStack() as held:
            asked = [
                held.enter_context(takehold.begun(words, subprocess.PIPE, subprocess.PIPE))
                for words in (("wrap",), ("wrap",), ("recheck",), ("recheck",))
            ]
            said = [process.communicate(timeout=100)[0].decode() for process in asked]
        assert [process.returncode for process in asked] == [0, 0, 0, 0], said
        assert daemon.stop() == 0
    assert whole(drive.mount, made) == made.keys()
    assert len(takehold.facts("wrap", today(), status=0)["files"]) == len(made)


def test_two_that_begin_at_once(card: Disk, drive: Disk, takehold: Laptop):
    """Neither was there before: exactly one works, the other ends with 4."""
    made = fill(card.mount, MANY, seconds=0.05)
    nowhere = subprocess.DEVNULL
    with (
        takehold.begun(("run",), nowhere, nowhere) as one,
        takehold.begun(("run",), nowhere, nowhere) as two,
    ):
        takehold.wait_for(lambda: None in (one.poll(), two.poll()) != (None, None))
        left, gone = (one, two) if one.poll() is None else (two, one)
        assert gone.returncode == 4
        takehold.wait_for(lambda: whole(drive.mount, made) == made.keys())
        assert Daemon(takehold, left).stop() == 0
    assert whole(drive.mount, made) == made.keys()


def test_a_lock_of_one_that_was_killed_holds_nobody_up(card: Disk, drive: Disk, takehold: Laptop):
    """After kill -9 the file stays, with its time in it, and is no claim."""
    made = fill(card.mount, MANY, seconds=0.05)
    with takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(copies_below(drive.mount)) >= 2)
        daemon.kill()
    assert (takehold.state / "lock").read_text()
    assert takehold.run("status").returncode == 3
    assert takehold.run("once").returncode == 0
    assert whole(drive.mount, made) == made.keys()


def test_a_state_folder_that_was_replaced_is_noticed(
    card: Disk, drive: Disk, takehold: Laptop, tmp_path: Path
):
    """Moved away under a running daemon, and begun anew: never two at work for longer than a look.

    The first one ends with 3 and says why; the second recognises every copy.
    """
    made = fill(card.mount, [(1, 1), (1, 2)])
    with takehold.daemon() as first:
        first.wait_for(lambda: whole(drive.mount, made) == made.keys() and first.is_idle())
        before = {n: p.stat().st_ino for n, p in copies_below(drive.mount).items()}
        os.rename(takehold.state, tmp_path / "moved")
        with takehold.daemon() as second:
            assert first.process.wait(60) == 3
            made |= fill(card.mount, [(2, 1)])
            second.wait_for(lambda: whole(drive.mount, made) == made.keys() and second.is_idle())
            assert second.stop() == 0
    after = {n: p.stat().st_ino for n, p in copies_below(drive.mount).items()}
    assert before.items() <= after.items()
    assert len(after) == len(made)
    assert "the state folder is not the one any more" in takehold.said()


@pytest.mark.parametrize("kind", ["exfat", "layer"])
def test_a_file_system_without_dependable_locks_is_refused(
    bench: Bench, lab: Lab, card: Disk, drive: Disk, tmp_path: Path, kind: str
):
    """exFAT, a FUSE share: status 2 with what to do; nothing is copied, no catalogue is made."""
    fill(card.mount)
    at = bench.disk("odd", "exfat").mount if kind == "exfat" else lab.layer("share").mount
    takehold = laptop(tmp_path, at / "state")
    for words in (("run",), ("once",), ("wrap",)):
        done = takehold.run(*words)
        assert done.returncode == 2, done.stderr
        assert "Keep takehold's state folder on the internal disk." in done.stderr
    assert copies_below(drive.mount) == {}
    assert not (takehold.state / "catalogue.sqlite").exists()
