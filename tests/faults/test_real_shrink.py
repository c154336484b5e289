"""A file that gets shorter, longer or other bytes while it is read: on real file systems.

As a recorder does that is still at work, or another program with a share. No call says anything of
it: read(2) beyond a shortened end gives no bytes and no error.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from instance import copies_below, parts_below
from loopbench import Bench
from makings import root_at
from takehold.adapters.clock import SystemClock
from takehold.adapters.decoder import SoundfileDecoder
from takehold.adapters.disk import LocalDisk
from takehold.engine.outcome import Outcome
from takehold.engine.patience import Patience
from takehold.engine.perform import Performer, Work
from takehold.model.recording import Recording
from takehold.model.situation import Target
from takehold.model.sound import Description, Kind
from takehold.model.step import Owed, Transfer

SIZE = 48 << 20
NAME = b"T01.WAV"


def cut(path: Path) -> None:
    os.truncate(path, SIZE // 2)


def lengthen(path: Path) -> None:
    with path.open("ab") as file:
        file.write(b"more")


def change(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(SIZE - 5)
        file.write(b"other")


@pytest.mark.parametrize("kind", ["ext4", "exfat"])
@pytest.mark.parametrize("meddle", [cut, lengthen, change])
def test_a_source_that_changes_under_the_read_gets_no_name(
    bench: Bench, kind: str, meddle: Callable[[Path], None]
) -> None:
    """After the first bytes have moved: said, no fact, no name, no part; then it is copied."""
    card = bench.disk("card", kind, label="SND_A1", size_mb=120)
    drive = bench.disk("drive", "ext4", label="SHUTTLE_1", size_mb=160)
    file = card.mount / NAME.decode()
    file.write_bytes(os.urandom(1 << 20) * (SIZE >> 20))
    os.utime(file, (1_900_000_000, 1_900_000_000))  # exFAT's steps of two seconds would hide it
    once = threading.Event()

    def moved(_: int) -> None:
        if not once.is_set():
            once.set()
            meddle(file)

    told = transfer(card.mount, drive.mount, moved)
    assert once.is_set()
    assert [outcome.error.code for outcome in told if outcome.error] == ["source-changed"]
    assert [fact for outcome in told for fact in outcome.facts] == []
    assert copies_below(drive.mount) == {}
    assert not parts_below(drive.mount)
    told = transfer(card.mount, drive.mount, moved)
    assert [outcome.error for outcome in told if outcome.error] == []
    [copy] = [p for p in drive.mount.rglob("*") if p.is_file()]
    assert copy.read_bytes() == file.read_bytes()


def transfer(card: Path, drive: Path, moved: Callable[[int], None]) -> list[Outcome]:
    """One recording from the one to the other, by the real engine."""
    disk, root, told = LocalDisk(), root_at(card), list[Outcome]()
    with disk.source(root) as tree:
        [(path, stamp)] = tree.listing().files
    place = b"Lantern Bay/2031-03-14/SND_A1/" + NAME
    made = Recording(1, 1, path, stamp, 1, "2031-03-14", place, 1, Description(Kind.OTHER))
    target = Target("shuttle-1", root_at(drive), 1 << 40)
    performer = Performer(disk, SoundfileDecoder(), SystemClock(), Patience(30))
    work = Work(Transfer(root, (Owed(made, (target,)),)), {}, {}, SystemClock().asleep_ns())
    performer.perform(work, told.append, moved, threading.Event())
    return told
