"""The power cut at flushes, on ext4 and exFAT: a slice of `power.py`, and that it bites."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from crash.power import distinct, some
from crash.power_medium import ALL, NOTHING, Media, Point, boundaries, points
from crash.power_recording import DISKS, Recording, recorded
from crash.power_stage import staged
from faultlab.lab import Lab, faulty_lab  # noqa: F401
from faultlab.write_log import FLUSH, WRITE, records
from loopbench import own_namespace

SEED = 20
SOME = 10

# What the program is made to do, by a `sitecustomize` that its interpreter reads at its start.
NO_FLUSH = """
import os, stat
flush = os.fsync
def fsync(fd):
    on_a_drive = "/media/shuttle" in os.readlink(f"/proc/self/fd/{fd}")
    if not (on_a_drive and stat.S_ISDIR(os.fstat(fd).st_mode) == %s):
        flush(fd)
os.fsync = fsync
"""
CARELESS_CATALOGUE = """
from takehold.adapters import catalogue_file
catalogue_file._SETTINGS = ("PRAGMA synchronous = OFF",)
"""
MISTAKES = {
    "folders of the drives are not flushed": NO_FLUSH % True,
    "files on the drives are not flushed": NO_FLUSH % False,
    "the catalogue is not flushed": CARELESS_CATALOGUE,
}


def apart(work: Callable[..., Any], *given: Any) -> Any:
    """In a process of its own: mounts and what it starts end with it."""
    spawned = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=spawned) as pool:
        return pool.submit(work, *given).result(100)


@pytest.fixture(autouse=True)
def _may_mount() -> None:
    if os.geteuid() != 0:
        pytest.skip("mounting needs root")


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Recording:
    """One run of takehold as it is."""
    folder = tmp_path_factory.mktemp("power")
    made: Recording = apart(recorded, folder / "recording", folder / "stage", {})
    return made


def test_a_power_cut_costs_nothing_that_was_promised(sound: Recording) -> None:
    """P3, P11: at each point all that is recorded, said or signed is there; on to a whole day."""
    every = list(distinct(sound, points(sound.records(), 4), SEED))
    assert len(every) > 600  # 1,250, and the fewer the busier the machine is
    result = apart(some, sound, every[:: len(every) // SOME], SEED)
    assert result.failed == []
    assert result.points >= SOME


def test_a_point_is_the_same_whenever_it_is_asked_for(sound: Recording) -> None:
    """Lucks name states of the disks; nothing and all of what waits are no dice."""
    one, other = Media(sound, SEED), Media(sound, SEED)
    chosen = [Point(n, luck) for n in boundaries(sound.records())[:300:15] for luck in range(8)]
    states = [one.at(point) for point in chosen]
    assert [other.at(point) for point in chosen[::-1][:50]] == states[::-1][:50]
    assert all(not more for state in states[NOTHING::8] for _, more in state.values())
    assert any(more for state in states[ALL::8] for _, more in state.values())


def first_fault(recording: Recording) -> str:
    """What the checker says first; nothing is restarted.

    Looked at: the least that can be there, at some of the flushes, and what dice leave right before
    exFAT is flushed, whose order of writes is nobody's.
    """
    log, exfat = recording.records(), list(DISKS).index("shuttle-2")
    chosen = [Point(n, NOTHING) for n in boundaries(log)[::6]]
    flushes = [n for n, r in enumerate(log) if (r.disk, r.kind) == (exfat, FLUSH)]
    chosen += [Point(n, luck) for n in flushes for luck in range(2, 6)]
    with staged(recording, SEED) as stage:
        for point in distinct(recording, chosen, SEED):
            try:
                stage.play(point, on=False)
            except (AssertionError, ValueError) as fault:  # a manifest of no bytes that count
                return str(fault)
    return ""


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_flush_that_is_left_out_is_caught(tmp_path: Path, mistake: str) -> None:
    """The same program with one kind of flush taken away does not pass."""
    (tmp_path / "sitecustomize.py").write_text(MISTAKES[mistake])
    worse = {"PYTHONPATH": str(tmp_path)}
    recording = apart(recorded, tmp_path / "recording", tmp_path / "stage", worse)
    assert apart(first_fault, recording) != ""


def test_exfat_flushes_its_device_for_files_and_folders(lab: Lab, tmp_path: Path) -> None:
    """What a proof on it stands on: fsync(2) returns once all that was written has been flushed."""
    assert own_namespace() is None
    disk, log = lab.disk("drive", "exfat"), tmp_path / "log"
    disk.sync()
    disk.record(log, 0)
    for name, change in (
        ("a", lambda: (disk.mount / "a").write_bytes(b"take" * 500)),
        ("", lambda: (disk.mount / "a").rename(disk.mount / "b")),
    ):
        change()
        fd = os.open(disk.mount / name, os.O_RDONLY)
        os.fsync(fd)
        os.close(fd)
        kinds = [record.kind for record in records(log)]
        assert WRITE in kinds
        assert kinds[-1] == FLUSH
        assert (b"take" in b"".join(r.data for r in records(log))) is True
