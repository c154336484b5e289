"""A row of the catalogue that cannot be read, found when its day is asked for (design, P10)."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from cardmaker import take
from instance import Instance

DAYS = [f"2026-03-{n:02}" for n in range(1, 11)]
# A text that a start, which reads the scenes only, takes for one.
BROKEN = "UPDATE recording SET description = '{}' WHERE day = ?"


def damage(laptop: Instance, day: str) -> None:
    """Make one day's descriptions unreadable."""
    db = sqlite3.connect(laptop.state / "catalogue.sqlite")
    with db:
        assert db.execute(BROKEN, (day,)).rowcount
    db.close()


@pytest.fixture
def share(tmp_path: Path) -> Path:
    """A watch folder with a take of each day."""
    folder = tmp_path / "share"
    folder.mkdir()
    for number, day in enumerate(DAYS, 1):
        (folder / f"T{number:02}.WAV").write_bytes(take(1, number, day=day))
    return folder


@pytest.fixture
def laptop(tmp_path: Path, share: Path) -> Instance:
    """All days are copied and closed."""
    (tmp_path / "drive").mkdir()
    keys = {"copies_required": 1, "settle_seconds": 2}
    where = {"share": ("primary", share)}, {"drive": tmp_path / "drive"}
    made = Instance(tmp_path / "laptop", *where, keys)
    assert made.run("once").returncode in (0, 1)
    for day in DAYS:
        assert made.run("wrap", day).returncode in (0, 1)
    return made


def copied(tmp_path: Path) -> bool:
    """Whether today's file arrived."""
    return any((tmp_path / "drive").rglob("TODAY.WAV"))


def test_a_start_that_finds_it_makes_the_catalogue_anew(
    tmp_path: Path, share: Path, laptop: Instance
) -> None:
    """The newest day is read at once: the one command does it, and goes on."""
    damage(laptop, DAYS[-1])
    (share / "TODAY.WAV").write_bytes(take(2, 1))
    done = laptop.run("once")
    assert done.returncode in (0, 1), done.stderr
    assert "rebuilt from signed manifests" in done.stderr + done.stdout
    assert copied(tmp_path)


def test_a_daemon_that_finds_it_goes_on_with_a_new_catalogue(
    tmp_path: Path, share: Path, laptop: Instance
) -> None:
    """An old day that nobody asked for until now: then the work goes on, today's too."""
    damage(laptop, DAYS[0])
    for file in share.iterdir():
        file.unlink()
    with laptop.daemon() as daemon:
        daemon.wait_for(daemon.is_idle)
        asked = laptop.run("wrap", DAYS[0])
        assert (asked.returncode, asked.stdout) == (3, "")
        assert "Give it again." in asked.stderr
        daemon.wait_for(lambda: "made anew" in laptop.log())
        (share / "TODAY.WAV").write_bytes(take(2, 1))
        daemon.wait_for(lambda: copied(tmp_path))
    assert laptop.facts("day", DAYS[0])["day"] == DAYS[0]


def test_a_command_that_only_looks_has_the_next_start_mend_it(laptop: Instance) -> None:
    """Beside a daemon it says to start that again, and after that the day can be told."""
    damage(laptop, DAYS[0])
    with laptop.daemon() as daemon:
        daemon.wait_for(daemon.is_idle)
        looked = laptop.run("day", DAYS[0])
        assert looked.returncode == 3
        assert "end it and start it again" in looked.stderr
    with laptop.daemon() as daemon:
        daemon.wait_for(daemon.is_idle)
        assert laptop.facts("day", DAYS[0])["day"] == DAYS[0]
    assert "rebuilt from signed manifests" in laptop.log()
