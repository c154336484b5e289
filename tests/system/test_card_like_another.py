"""Two cards with one serial number and label, files of one name, size and time, other audio."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from cardmaker import fill
from instance import Instance, copies_below
from loopbench import Bench, Disk, run

STOPPED = 1_764_000_000  # the recorder's clock


def card(bench: Bench, name: str, sound: int) -> tuple[Disk, set[str]]:
    """A card with two takes; the SHA-256 of each."""
    disk = bench.disk(name, "exfat", label="SND_A1", uuid="1234-5678")
    made = fill(disk.mount, ((1, 1), (1, 2)), seconds=1.5, sound=sound)
    for path in made:
        os.utime(disk.mount / path, (STOPPED, STOPPED))
    run("sync", "--file-system", disk.mount)
    return disk, {hashlib.sha256(data).hexdigest() for data in made.values()}


@pytest.mark.parametrize("daemon", [False, True])
def test_the_second_card_is_copied_too(bench: Bench, tmp_path: Path, daemon: bool):
    """Nothing but the audio tells them apart: no stamp, no header. Both runs and the daemon see."""
    drives = [bench.disk(f"drive{n}", label=f"SHUTTLE_{n}") for n in (1, 2)]
    laptop = Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"s1": "SHUTTLE_1", "s2": "SHUTTLE_2"},
    )

    def copies() -> list[set[str]]:
        found = (copies_below(d.mount).values() for d in drives)
        return [{hashlib.sha256(p.read_bytes()).hexdigest() for p in files} for files in found]

    # Filled before anybody looks: a card whose files get their times while it is in is no such one.
    second, of_second = card(bench, "second", 1)
    second.unmount()
    first, of_first = card(bench, "first", 0)
    if daemon:
        with laptop.daemon() as at_work:
            at_work.wait_for(lambda: copies() == [of_first, of_first])
            at_work.wait_for(at_work.is_idle)
            first.unmount()
            at_work.wait_for(lambda: not at_work.cards())
            second.mount_again()
            at_work.wait_for(lambda: copies() == [of_first | of_second] * 2)
            assert at_work.stop() == 0
    else:
        assert laptop.run("once").returncode == 0
        first.unmount()
        second.mount_again()
        assert laptop.run("once").returncode == 0
        assert copies() == [of_first | of_second] * 2
        second.unmount()
        first.mount_again()
        assert laptop.run("once").returncode == 0
        assert copies() == [of_first | of_second] * 2
