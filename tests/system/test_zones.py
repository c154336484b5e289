"""The laptop travels between two looks at a card whose files tell local times.

exFAT keeps wall times and, if the writer knew it, the offset of its zone (Microsoft exFAT
specification, 7.4.10, "UtcOffset"). A recorder may leave that out, as FAT does always: here it is
taken out of the card's own folders. Then the system takes its own zone for the writer's, and the
same card shows other times after a flight.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from cardmaker import fill, today
from instance import Instance, copies_below, finals_below, newest_revision, stock_checks
from loopbench import Bench, Disk

FLIGHTS = [("Europe/Berlin", "America/New_York"), ("America/New_York", "Pacific/Auckland")]


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[pytest.MonkeyPatch]:
    """Sets the zone of this process and of all that it starts: servers and takehold."""
    yield monkeypatch
    monkeypatch.undo()
    time.tzset()


def fly(zone: pytest.MonkeyPatch, to: str) -> None:
    zone.setenv("TZ", to)
    time.tzset()


def forget_zone(disk: Disk) -> int:
    """Take the offsets out of every file's entries, on the unmounted volume; how many there were.

    Layout: exFAT specification, 7.4: an entry of 32 bytes, type 0x85, count of those that follow in
    byte 1, checksum of the set in bytes 2 and 3, offsets in bytes 22 to 24; then 0xC0.
    """
    with open(disk.loop, "r+b", buffering=0) as device:
        data = bytearray(device.read(16 << 20))
        found = [
            i for i in range(0, len(data) - 64, 32) if data[i] == 0x85 and data[i + 32] == 0xC0
        ]
        for at in found:
            data[at + 22 : at + 25] = bytes(3)
            whole = data[at : at + 32 * (1 + data[at + 1])]
            data[at + 2 : at + 4] = set_checksum(whole).to_bytes(2, "little")
            device.seek(at)
            device.write(data[at : at + 32])
        os.fsync(device)
    return len(found)


def set_checksum(entries: bytes) -> int:
    """Figure 2 of the specification, "EntrySetChecksum"."""
    total = 0
    for at, byte in enumerate(entries):
        if at not in (2, 3):
            total = ((total << 15) | (total >> 1)) + byte & 0xFFFF
    return total


def times(root: Path) -> dict[str, int]:
    return {p.name: int(p.stat().st_mtime) for p in sorted(root.rglob("*.WAV"))}


@pytest.mark.parametrize(("home", "away"), FLIGHTS)
def test_a_flight_between_two_runs(
    bench: Bench, tmp_path: Path, zone: pytest.MonkeyPatch, home: str, away: str
) -> None:
    """No file is copied a second time or left out; one load, one day, the manifest stays true."""
    fly(zone, home)
    card: Disk = bench.disk("card", "exfat", label="SND_A1")
    drives = [bench.disk(f"drive{n}", "exfat", label=f"SHUTTLE_{n}") for n in (1, 2)]
    takehold = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1", "shuttle-2": "SHUTTLE_2"},
    )
    made = fill(card.mount)
    card.unmount()
    assert forget_zone(card) >= len(made)
    card.mount_again()
    day = today()
    assert takehold.run("once").returncode == 0
    takehold.run("wrap", day)
    before, copies = times(card.mount), [copies_below(d.mount).keys() for d in drives]
    for disk in (card, *drives):
        disk.unmount()
    fly(zone, away)
    for disk in (card, *drives):
        disk.mount_again()
    after = times(card.mount)
    [moved] = {(after[name] - before[name]) / 3600 for name in before}
    assert moved == int(moved) != 0
    done = takehold.run("once")
    assert done.returncode == 0, done.stdout + done.stderr
    takehold.run("wrap", day)
    assert [copies_below(d.mount).keys() for d in drives] == copies
    told = takehold.facts("day", day)
    assert len(told["files"]) == len(made)
    assert {len(file["copies"]) for file in told["files"]} == {2}
    assert not [x for x in told["findings"] if x["code"].startswith("date-")]
    for drive in drives:
        folder = drive.mount / "Lantern Bay" / day
        stock_checks(folder, takehold.public_key, newest_revision(folder))
        assert [p.name for p in (drive.mount / "Lantern Bay").iterdir()] == [day]
        assert sorted(p.name for p in folder.iterdir() if p.is_dir()) == ["SND_A1"]


def test_a_running_daemon_and_a_card_that_comes_back_with_other_times(
    bench: Bench, tmp_path: Path, zone: pytest.MonkeyPatch
) -> None:
    """The desktop's zone is set anew while takehold runs; the next mount shows other times."""
    fly(zone, "Europe/Berlin")
    card = bench.disk("card", "exfat", label="SND_A1")
    drive = bench.disk("drive", "ext4", label="SHUTTLE_1")
    takehold = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
    )
    made = fill(card.mount)
    card.unmount()
    forget_zone(card)
    card.mount_again()
    before = times(card.mount)
    with takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(finals_below(drive.mount)) == len(made) and daemon.is_idle())
        copies = finals_below(drive.mount).keys()
        card.unmount()
        daemon.wait_for(lambda: not daemon.cards())
        fly(zone, "Asia/Tokyo")
        card.mount_again()
        assert times(card.mount) != before
        daemon.wait_for(lambda: daemon.cards() == {"SND_A1"} and daemon.is_idle())
        daemon.wait_for(lambda: takehold.run("status").returncode == 0)
        assert copies_below(drive.mount).keys() == copies
        assert daemon.stop() == 0
