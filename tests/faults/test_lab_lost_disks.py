"""Disks that hang, are yanked and come back elsewhere, or lose their power in the middle."""

from __future__ import annotations

import signal

import pytest

from cardmaker import fill, today
from faultlab.lab import FaultyDisk, Lab, faulty_lab, holding  # noqa: F401
from faultlab.unit import Thing, Unit, unit
from instance import Daemon

MANY = [(1 + n // 20, 1 + n % 20) for n in range(40)]
QUICK = {"stall_seconds": 5, "look_every_seconds": 5}
STOP_S = 25  # the ten that are promised, and a stalled test machine


def many(lab: Lab) -> tuple[FaultyDisk, dict[str, bytes]]:
    """A card with forty short takes, of which the last is not read through: it stays in use."""
    card = lab.disk("card", label="SND_A1")
    made = fill(card.mount, MANY, seconds=0.1)
    card.sync()
    last = made[max(made)]
    card.set(slow=0.01, stuck=[holding(last, at=len(last) - 1000)])
    return card, made


def known_copies(it: Unit, destination: str) -> set[str]:
    """What the catalogue calls proven there."""
    day = it.takehold.facts("day", today())
    return {
        f["path"]
        for f in day["files"]
        if any(copy["destination"] == destination for copy in f["copies"])
    }


def stops_without(daemon: Daemon, it: Unit, hanging: Thing) -> None:
    """SIGTERM while something hangs: it says in time that it left that, and lets go of its lock.

    A thread that sleeps in the kernel for a device cannot be ended by anybody (row 66), and keeps
    its process in the table; it goes as soon as the device answers or is pulled out.
    """
    daemon.send(signal.SIGTERM)
    it.takehold.wait_for(lambda: '"Stopped' in it.takehold.log(), STOP_S)
    it.takehold.wait_for(lambda: it.takehold.run("ack", "none", "--note", "x").returncode != 4)
    hanging.mend()
    daemon.process.wait(STOP_S)


# Hanging (row 66)


def test_a_share_that_hangs_holds_nobody(lab: Lab):
    """P6: the other destination is served, the stop is in time, and later the rest follows."""
    it = unit(lab, bad=lab.layer("share"), **QUICK)
    it.bad.set(hang=["write", "flush"])
    with it.takehold.daemon() as daemon:
        daemon.wait_for(lambda: it.on_good() == it.made.keys(), 60)
        daemon.wait_for(lambda: "shuttle-2 has not taken a byte" in it.takehold.log(), 60)
        stops_without(daemon, it, it.bad)
    it.takehold.run("once", timeout=60)
    assert it.is_all_there()


@pytest.mark.parametrize("fs", ["ext4", "exfat"])
def test_a_drive_that_hangs_holds_nobody_and_goes_on_when_it_answers(lab: Lab, fs: str):
    """P6: its thread sleeps in the kernel; the other drive is served and all resumes by itself."""
    it = unit(lab, fs=fs, **QUICK)
    with it.takehold.daemon() as daemon:
        daemon.wait_for(lambda: it.is_all_there() and daemon.is_idle(), 60)
        it.bad.set(hang=["write", "flush"])
        it.made = {**it.made, **fill(it.card.mount, [(5, 1), (5, 2)])}
        daemon.wait_for(lambda: it.on_good() == it.made.keys(), 60)
        it.bad.mend()
        daemon.wait_for(it.is_all_there, 60)
        assert daemon.stop(STOP_S) == 0


def test_a_card_that_hangs_holds_no_other_card(lab: Lab):
    """P6: the backup card is copied meanwhile, the stop is in time, and the rest follows later."""
    card, made = many(lab)
    it = unit(lab, card=card, made=made, **QUICK)
    it.takehold.sources = {**it.takehold.sources, "backup": ("backup", "SND_B1")}
    it.takehold.write_config()
    with it.takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(it.on_good()) >= 2, 60)
        card.set(hang=["read"])
        other = lab.disk("other", label="SND_B1")
        extra = fill(other.mount, [(9, 1), (9, 2)])
        it.made = {**made, **extra}
        daemon.wait_for(lambda: extra.keys() <= it.on_good() & it.on_bad(), 60)
        daemon.wait_for(lambda: "does not answer" in it.takehold.log(), 60)
        stops_without(daemon, it, card)
    assert it.takehold.run("once").returncode == 0
    assert it.is_all_there()


# Pulled out and back (row 7)


def test_a_yanked_drive_comes_back_elsewhere(lab: Lab):
    """Rows 7 and 67: another path, another loop device; the daemon goes on by itself."""
    card, made = many(lab)
    it = unit(lab, card=card, made=made, **QUICK)
    with it.takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(it.on_bad()) >= 3, 60)
        plain = it.bad.mount
        it.bad.yank()
        card.mend()
        daemon.wait_for(lambda: it.on_good() == made.keys(), 60)
        assert list(plain.iterdir()) == [], "nothing is written to the plain folder"
        it.bad.come_back(at=lab.folder / "media" / "bad1")
        daemon.wait_for(it.is_all_there, 60)
        assert daemon.stop(STOP_S) == 0
    assert list(plain.iterdir()) == []


def test_a_yanked_card_comes_back_elsewhere(lab: Lab):
    """Row 7: the same load under another path; nothing is copied twice."""
    card, made = many(lab)
    it = unit(lab, card=card, made=made, **QUICK)
    with it.takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(it.on_good()) >= 3, 60)
        card.yank()
        daemon.wait_for(lambda: daemon.cards() == set(), 30)
        assert it.on_good() < made.keys()
        card.come_back(at=lab.folder / "media" / "card1")
        daemon.wait_for(lambda: it.is_all_there() and daemon.is_idle(), 60)
        assert daemon.stop(STOP_S) == 0
    loads = {p.relative_to(it.good.mount).parts[2] for p in it.good.mount.rglob("*.WAV")}
    assert loads == {"SND_A1"}


# The end of power (rows 31 and 95)


@pytest.mark.parametrize("luck", [None, 4])
@pytest.mark.parametrize("fs", ["ext4", "xfs", "btrfs", "exfat"])
def test_power_cut_while_copying(lab: Lab, fs: str, luck: int | None):
    """P3: the drive's own cache is lost, or half of it; each name is true, each fact still is."""
    card, made = many(lab)
    it = unit(lab, fs=fs, card=card, made=made, **QUICK)
    it.bad.set(volatile=True)
    with it.takehold.daemon() as daemon:
        daemon.wait_for(lambda: len(it.on_bad()) >= 5, 60)
        it.bad.power_cut(luck)
        daemon.send(signal.SIGKILL)
        card.mend()  # a read that hangs in the kernel keeps the process there
        daemon.process.wait(STOP_S)
    claimed = known_copies(it, "shuttle-2")
    it.bad.come_back()
    assert claimed <= it.on_bad() < made.keys()
    once = it.takehold.run("once", timeout=60)
    assert once.returncode == 0, once.stdout
    assert it.is_all_there()
    assert it.card_is_untouched()
