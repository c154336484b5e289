"""Faults of the file layer: network shares and odd file systems, as a card and as a destination."""

from __future__ import annotations

import os

import pytest

from cardmaker import today
from faultlab.checker import files_of, finals, temporaries, unchanged
from faultlab.lab import Lab, faulty_lab  # noqa: F401
from faultlab.unit import LARGE, SMALL, Thing, Unit, unit


@pytest.fixture
def share(lab: Lab) -> Unit:
    """The second destination is a folder that another program serves."""
    return unit(lab, bad=lab.layer("share"))


@pytest.fixture
def reader(lab: Lab) -> Unit:
    """The card is one."""
    return unit(lab, card=lab.layer("SND_A1"))


def test_short_reads_and_writes_are_gone_on_with(lab: Lab):
    """Row 62: each call moves less than it was asked for; every byte arrives."""
    it = unit(lab, card=lab.layer("SND_A1"), bad=lab.layer("share"))
    for thing in (it.card, it.bad):
        thing.set(short_read=7001, short_write=9001)
    once = it.takehold.run("once", timeout=100)
    assert "All 4 files that are there have their proven copies." in once.stdout
    assert it.is_all_there()


def test_a_flush_that_failed_is_never_asked_again(share: Unit):
    """Row 30, P3: EIO once, then success; that copy is dead and is written anew."""
    share.bad.set(fsync_once=["EIO"])
    once = share.once()
    assert once.returncode == 1
    assert "Input/output error" in once.stdout
    flushed = {w: n for w, n in share.bad.counts().items() if w.startswith("flush ")}
    assert len(flushed) == len(share.made)
    assert set(flushed.values()) == {1}
    assert len(share.on_bad()) == len(share.made) - 1
    share.once()
    assert share.is_all_there()
    assert not temporaries(share.bad.folder)


def test_an_error_that_only_close_tells_kills_the_copy(share: Unit):
    """Row 35: every write and flush succeeded; the name is not given."""
    share.bad.set(close_once=["EIO"])
    once = share.once()
    assert once.returncode == 1
    assert "Input/output error" in once.stdout
    assert len(share.on_bad()) == len(share.made) - 1
    assert share.on_good() == share.made.keys()
    share.once()
    assert share.is_all_there()


def test_full_at_a_byte(share: Unit):
    """Row 62: a short write, then no room; the large file is owed, the small ones are there."""
    share.bad.set(full_at=1_000_003)
    once = share.once()
    assert once.returncode == 1
    assert f"{LARGE} to shuttle-2: " in once.stdout
    assert "no room is left" in once.stdout
    assert share.on_bad() == share.made.keys() - {LARGE}
    assert not temporaries(share.bad.folder)
    share.bad.set(full_at=None)
    share.once()
    assert share.is_all_there()


def test_a_tail_that_is_lost_behind_the_cache(share: Unit):
    """Row 34: every call succeeds and the end is not stored; nothing gets a final name."""
    share.bad.set(lose_tail=100)
    assert share.once().returncode == 1
    assert share.on_good() == share.made.keys()
    assert finals(share.bad.folder) == {}


@pytest.mark.parametrize("name", ["ENOTTY", "ENOTSUP", "EINVAL"])
def test_a_share_that_cannot_flush_says_so_in_the_day(share: Unit, name: str):
    """Row 33, P4: no failure; the copy is read back, and a note says that no flush was promised."""
    share.bad.set(fsync_error=name)
    share.once()
    assert share.is_all_there()
    day = share.takehold.facts("wrap", today())
    notes = [f for f in day["findings"] if f["code"] == "not-durable"]
    assert notes, day["findings"]
    assert all("shuttle-2" in str(note) for note in notes)
    assert {note["severity"] for note in notes} == {"note"}
    assert all("put it in again" in note["do"] for note in notes)


def test_a_share_that_cannot_flush_is_read_again_once_it_came_back(share: Unit):
    """Row 33, P4: while it stays mounted nothing is read; after an unmount each copy is, once.

    The new mount's id and device number may be those of before.
    """
    share.bad.set(fsync_error="ENOTTY")
    share.once()
    share.once()
    before = _read(share.bad)
    share.once()
    assert _read(share.bad) == before, "nothing is read for this while it is mounted"
    share.bad.unmount()
    share.bad.come_back()
    share.bad.set(fsync_error="ENOTTY")
    assert _read(share.bad) == 0
    share.once()
    assert _read(share.bad) == sum(map(len, share.made.values()))
    share.once()
    assert _read(share.bad) == sum(map(len, share.made.values())), "once is enough"
    day = share.takehold.facts("wrap", today())
    notes = [f for f in day["findings"] if f["code"] == "not-durable"]
    assert len(notes) == len(share.made)
    assert all("read whole again" in note["says"] and not note["do"] for note in notes)
    assert share.is_all_there()


def test_what_a_share_had_never_stored_is_found_when_it_came_back(share: Unit):
    """Row 33: it had answered from its memory; the copies that are not there any more are bad."""
    share.bad.set(fsync_error="ENOTSUP")
    share.once()
    share.bad.unmount()
    [lost] = share.bad.folder.rglob(os.path.basename(LARGE))
    about = lost.stat()
    data = bytearray(lost.read_bytes())
    data[700_000:704_096] = bytes(4096)
    lost.write_bytes(data)
    os.utime(lost, ns=(about.st_atime_ns, about.st_mtime_ns))
    share.bad.come_back()
    share.once()
    day = share.takehold.facts("wrap", today())
    assert [f["code"] for f in day["findings"] if LARGE in str(f)].count("copy-altered") == 1
    assert sum(p.read_bytes() == share.made[LARGE] for p in share.bad.folder.rglob("*.WAV")) == 1


def test_a_name_that_cannot_be_held_is_refused_before_a_byte_is_moved(share: Unit):
    """Rows 15 and 47: said at once, and the card is read once, for the other drive."""
    longest = max(map(os.path.basename, share.made), key=len)
    share.bad.set(longest_name=len(longest) - 1)
    assert all(len(os.path.basename(name)) == len(longest) for name in share.made)
    once = share.once()
    assert once.returncode == 1
    assert "cannot hold this name" in once.stdout
    assert share.bad.counts().get("write", 0) == 0
    assert share.on_good() == share.made.keys()
    assert not temporaries(share.bad.folder)


def test_a_file_that_does_not_fit_is_refused_before_a_byte_is_moved(share: Unit):
    """Row 62: less room than the file needs, above the reserve: no part is begun, it is said."""
    share.takehold.write_config(reserve_megabytes=10**6)
    once = share.once()
    assert once.returncode == 1
    assert share.bad.counts().get("write", 0) == 0
    assert "room" in once.stdout
    assert not list(share.bad.folder.rglob("*.WAV"))


def test_what_stands_there_is_not_touched(share: Unit):
    """P2: a file of the same name and other bytes stays; the recording gets a name beside it."""
    place = share.bad.folder / "Lantern Bay" / today() / "SND_A1" / SMALL
    place.parent.mkdir(parents=True)
    place.write_bytes(b"somebody else's")
    before = files_of(share.bad.folder)
    share.once()
    unchanged(before, share.bad.folder)
    found = finals(share.bad.folder)
    assert sum(data == share.made[SMALL] for data in found.values()) == 1
    assert len(found) == len(share.made) + 1


@pytest.mark.parametrize("name", ["EPERM", "EACCES"])
def test_a_file_that_is_listed_and_not_opened_did_not_vanish(reader: Unit, name: str):
    """Row 12, P7: the system refuses one file; it holds the day by its name until it opens."""
    reader.card.set(open_error=name, files=os.path.basename(SMALL))
    once = reader.once()
    assert once.returncode == 1
    assert f"{SMALL} on {reader.card.mount}: the system refuses access" in once.stdout
    assert "left its card" not in once.stdout
    assert reader.on_good() == reader.on_bad() == reader.made.keys() - {SMALL}
    held = reader.wrapped()
    assert held["verdict"] == "HOLD"
    assert SMALL in str(held)
    reader.card.set(open_error=None)
    reader.once()
    assert reader.is_all_there()


def test_a_read_error_at_a_byte_holds_one_file(reader: Unit):
    """Row 60: the file is read up to there and not beyond; no part of it gets a name."""
    reader.card.set(read_error_from=600_000)
    once = reader.once()
    assert once.returncode == 1
    assert f"{LARGE} on {reader.card.mount}: the device failed" in once.stdout
    assert reader.on_good() == reader.on_bad() == reader.made.keys() - {LARGE}


def test_times_in_steps_of_two_seconds_and_an_hour_off_cost_no_second_copy(reader: Unit):
    """Rows 53 and 54: FAT's stamps are no change; an hour's shift is looked into once, no more.

    Each `once` is a new process and looks shortly into the card that it knows.
    """
    reader.card.set(step_ns=2_000_000_000)
    reader.once()
    assert reader.is_all_there()
    first = files_of(reader.good.mount)
    read = _read(reader.card)
    reader.once()
    short = _read(reader.card) - read
    assert short < read / 4
    reader.once()
    assert _read(reader.card) == read + 2 * short
    reader.card.set(shift_ns=3_600_000_000_000)
    reader.once()
    shifted = _read(reader.card)
    reader.once()
    assert _read(reader.card) == shifted + short
    assert files_of(reader.good.mount) == first


def _read(thing: Thing) -> int:
    """Bytes of a layer's recordings that were read so far."""
    counts = thing.counts().items()
    return sum(n for word, n in counts if word.startswith("bytes ") and word.endswith(".WAV"))
