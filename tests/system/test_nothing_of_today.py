"""Yesterday's cards in the readers: nothing of today was seen, and that is said before all else."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from cardmaker import put, take
from instance import Instance

# Clocks nearly a day behind Greenwich (POSIX TZ: hours west of it), and Greenwich's own.
THE_DAY_BEFORE, NOW = {"TZ": "AGO+23:59"}, {"TZ": "UTC0"}


def shooting_day(ago: int) -> str:
    """That of so many days ago at Greenwich; it starts at 06:00 (design)."""
    return (datetime.now(UTC) - timedelta(days=ago, hours=6)).date().isoformat()


@pytest.fixture
def instance(tmp_path: Path) -> Instance:
    """A take on two cards and one drive, copied and closed on the day before."""
    (tmp_path / "shuttle").mkdir()
    for name in ("SND_A1", "SND_B1"):
        put(tmp_path / name, "DAY01/S01T01.WAV", take(1, 1, day=shooting_day(1)))
    made = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", tmp_path / "SND_A1"), "backup": ("backup", tmp_path / "SND_B1")},
        {"shuttle-1": tmp_path / "shuttle"},
        {"copies_required": 1},
        THE_DAY_BEFORE,
    )
    made.run("once")
    assert made.run("wrap").returncode == 0
    made.environment = NOW
    return made


def test_wrap_does_not_end_well_for_a_day_that_was_never_seen(instance: Instance):
    """It closes yesterday, which is READY: a script must not take that for today's."""
    today, yesterday = shooting_day(0), shooting_day(1)
    wrapped = instance.run("wrap")
    first, second, *_, last = wrapped.stdout.splitlines()
    assert first == f"! Nothing of today ({today}) was seen; this is {yesterday}."
    assert second == f"{yesterday}: READY."
    assert last == f"! Nothing was closed for today ({today})."
    assert wrapped.returncode == 1
    assert instance.run("day").stdout.splitlines()[:2] == [first, second]
    assert instance.facts("wrap", status=1)["day"] == yesterday
    assert instance.run("wrap", yesterday).returncode == 0


def test_the_cards_of_a_night_are_closed_in_the_morning(tmp_path: Path):
    """They came in after the new day began: that makes it no day of work."""
    today, night = shooting_day(0), shooting_day(1)
    (tmp_path / "shuttle").mkdir()
    for name in ("SND_A1", "SND_B1"):
        put(tmp_path / name, "NIGHT/S01T01.WAV", take(1, 1, day=night))
    cards = {
        "primary": ("primary", tmp_path / "SND_A1"),
        "backup": ("backup", tmp_path / "SND_B1"),
    }
    drive, keys = {"shuttle-1": tmp_path / "shuttle"}, {"copies_required": 1}
    made = Instance(tmp_path / "laptop", cards, drive, keys, NOW)
    made.run("once")
    wrapped = made.run("wrap")
    first, second, *_ = wrapped.stdout.splitlines()
    assert first == f"! Nothing of today ({today}) was seen; this is {night}."
    assert second == f"{night}: READY."
    assert [path.name for path in tmp_path.rglob("*.manifest.json")] != []
    assert all(night in path.name for path in tmp_path.rglob("*.manifest.json"))
    assert made.run("day").stdout.splitlines()[:2] == [first, second]


def test_what_is_decided_of_another_day_says_which_day_to_close(instance: Instance, tmp_path: Path):
    """`wrap` without a day would close today's."""
    yesterday = shooting_day(1)
    put(tmp_path / "SND_A1", "DAY01/S01T02.WAV", take(1, 1, day=yesterday, sound=1))
    instance.run("once")
    assert instance.run("wrap", yesterday).returncode == 1
    looks = [f for f in instance.facts("day", yesterday)["findings"] if f["severity"] == "look"]
    wanted = f"takehold wrap {yesterday}"
    for look in looks:
        said = instance.run("ack", look["id"], "--note", "the first one counts").stdout
        assert said == f"Noted. It goes into the manifest with the next `{wanted}`.\n"
    shown = instance.run("day", yesterday)
    assert f"{yesterday}: READY" in shown.stdout
    assert shown.stdout.endswith(f"things have changed since. Before you hand over: {wanted}\n")
