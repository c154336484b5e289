"""The watchdog is told that the loop came round, and of nothing else (sd_notify(3)).

A device that hangs stalls itself: the signs go on, the others are served, the status tells it, the
timer goes on, and the stop is in time. A loop that stands gives no sign: the service manager acts.
"""

from __future__ import annotations

import contextlib
import json
import select
import signal
import socket
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from cardmaker import fill
from faultlab.checker import whole
from faultlab.lab import FaultyDisk, Lab, faulty_lab  # noqa: F401
from faultlab.unit import unit
from instance import Instance
from loopbench import Bench

WATCHDOG_S = 2
STOP_S = 25


@dataclass
class Laptop(Instance):
    """A takehold whose state folder lies on a disk of its own."""

    state_at: Path = field(default=Path())

    @property
    def state(self) -> Path:
        """Its own folder."""
        return self.state_at / "state"


class Manager:
    """The service manager's end of the notify socket."""

    def __init__(self, wire: socket.socket) -> None:
        self._wire = wire

    def signs(self, seconds: float, enough: int = 1 << 30) -> int:
        """New signs of life within so many seconds, or until there are enough."""
        while self._waiting():
            self._wire.recv(4096)
        count, end = 0, time.monotonic() + seconds
        while count < enough and (self._waiting() or time.monotonic() < end):
            self._wire.settimeout(max(0.01, end - time.monotonic()))
            with contextlib.suppress(TimeoutError):
                count += self._wire.recv(4096).decode().splitlines().count("WATCHDOG=1")
        return count

    def _waiting(self) -> bool:
        """Whether something was sent already."""
        return bool(select.select([self._wire], [], [], 0)[0])

    def hears(self) -> bool:
        """Whether signs come, one after the other; for a while more, should the machine stand."""
        return self.signs(5 * WATCHDOG_S, enough=2) == 2


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as wire:
        wire.bind(str(tmp_path / "n"))
        yield Manager(wire)


def watched(tmp_path: Path) -> dict[str, str]:
    """What a service manager that waits for signs puts into the environment."""
    return {"NOTIFY_SOCKET": str(tmp_path / "n"), "WATCHDOG_USEC": str(WATCHDOG_S * 1_000_000)}


def says_stalled(takehold: Instance) -> bool:
    """Whether the status names a device that hangs: in a flush, or where it takes no bytes."""
    said = takehold.run("status").stdout
    return "does not answer" in said or "has not taken a byte" in said


def test_a_hanging_drive_leaves_signs_timer_status_and_stop(
    lab: Lab, manager: Manager, tmp_path: Path
):
    """P6: its lane stands, the loop goes on; the next look is an hour away, the timer nudges."""
    it = unit(lab, stall_seconds=5, look_every_seconds=3600)
    it.takehold.environment = watched(tmp_path)
    with it.takehold.daemon() as daemon, contextlib.ExitStack() as ends:
        daemon.wait_for(lambda: it.is_all_there() and daemon.is_idle(), 60)
        assert manager.hears(), "idle, the timer nudges"
        ends.callback(it.bad.mend)
        it.bad.set(hang=["write", "flush"])
        it.made = {**it.made, **fill(it.card.mount, [(5, 1), (5, 2)])}
        daemon.wait_for(lambda: it.on_good() == it.made.keys(), 60)
        assert manager.hears(), "the loop goes on"
        daemon.wait_for(lambda: says_stalled(it.takehold), 60)
        assert manager.hears()
        it.bad.mend()
        daemon.wait_for(it.is_all_there, 60)
        assert daemon.stop(STOP_S) == 0


def test_a_loop_that_stands_gives_no_sign(lab: Lab, manager: Manager, tmp_path: Path):
    """The catalogue's own disk hangs: silence, though a timer runs; then all is made up for."""
    card, drive = lab.disk("card", label="SND_A1"), lab.disk("drive", label="SHUTTLE_1")
    state: FaultyDisk = lab.disk("laptop-disk")
    takehold = Laptop(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A1")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
        watched(tmp_path),
        state_at=state.mount,
    )
    made = fill(card.mount, [(1, 1)])
    with takehold.daemon() as daemon, contextlib.ExitStack() as ends:
        daemon.wait_for(lambda: whole(drive.mount, made) == made.keys() and daemon.is_idle())
        assert manager.hears()
        ends.callback(state.mend)
        state.set(hang=["write", "flush"])
        made |= fill(card.mount, [(2, 1), (2, 2)])
        takehold.wait_for(lambda: manager.signs(1.5 * WATCHDOG_S) == 0)
        assert manager.signs(WATCHDOG_S) == 0, "it would be ended and begun anew"
        state.mend()
        daemon.wait_for(lambda: whole(drive.mount, made) == made.keys() and daemon.is_idle())
        assert manager.hears()
        assert daemon.stop(STOP_S) == 0
    assert takehold.run("wrap").returncode == 0


def test_a_suspended_daemon_is_not_taken_for_one_that_is_well(bench: Bench, tmp_path: Path):
    """P12: what it showed last grows old, and a command does not wait for ever; both say why."""
    card, drive = bench.disk("card", label="SND_A1"), bench.disk("drive", label="SHUTTLE_1")
    takehold = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1, "stall_seconds": 5},
    )
    made = fill(card.mount, [(1, 1)])
    silent = "does not answer"
    with takehold.daemon() as daemon:
        daemon.wait_for(lambda: whole(drive.mount, made) == made.keys() and daemon.is_idle())
        assert silent not in takehold.run("status").stdout
        written = (takehold.state / "pulse").stat().st_mtime_ns
        daemon.send(signal.SIGSTOP)
        takehold.wait_for(lambda: silent in takehold.run("status").stdout)
        looked = takehold.run("status")
        assert looked.returncode == 1
        assert "READY" not in looked.stdout
        assert "Nothing left to do" not in looked.stdout
        line = next(line for line in looked.stdout.splitlines() if silent in line)
        for command in ("day", "card"):
            told, plain = takehold.run(command), takehold.run(command, "--json")
            assert told.stdout.splitlines().count(line) == 1, told.stdout
            assert (told.returncode, plain.returncode) == (1, 1)
            assert json.loads(plain.stdout)
            assert plain.stderr.splitlines() == [line]
        wrap = takehold.run("wrap")
        assert (wrap.returncode, silent in wrap.stderr) == (3, True), wrap
        daemon.send(signal.SIGCONT)
        daemon.wait_for(lambda: silent not in takehold.run("status").stdout)
        daemon.wait_for(lambda: list(drive.mount.rglob("*.manifest.json")))
        assert [silent in takehold.run(c).stdout for c in ("day", "card")] == [False, False]
        assert (takehold.state / "pulse").stat().st_mtime_ns == written
        assert daemon.stop(STOP_S) == 0
