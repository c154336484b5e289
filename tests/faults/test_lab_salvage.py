"""Bad sectors on a card under real file systems: what is saved, by the real program.

The checker reads the card's bytes and the saved file by itself. Rows are those of the acceptance
matrix of hazards.
"""

from __future__ import annotations

import pytest

from cardmaker import today
from faultlab.checker import finals, names_of, saved
from faultlab.lab import FaultyDisk, Lab, between, faulty_lab  # noqa: F401
from faultlab.unit import LARGE, SMALL, Unit, unit

PAGE, SECTOR = 4096, 512
# Offsets in the large file: ranges of half a kilobyte and more.
SOME = [(300_032, 300_544), (655_360, 720_896), (1_200_128, 1_200_640)]
ON_CARD = pytest.mark.parametrize("fs", ["ext4", "exfat"])


def broken(lab: Lab, fs: str, name: str, *ranges: tuple[int, int]) -> Unit:
    """A card of that file system with bad sectors under these bytes of a file."""
    it = unit(lab, card=lab.disk("card", fs, label="SND_A1"))
    spoil(it, name, *ranges)
    return it


def spoil(it: Unit, name: str, *ranges: tuple[int, int]) -> None:
    """Bad sectors are found by their bytes: the file may lie in several pieces."""
    assert isinstance(it.card, FaultyDisk)
    it.card.sync()
    image, data = it.card.image.read_bytes(), it.made[name]
    starts = [n for a, b in ranges for n in range(a // SECTOR * SECTOR, b, SECTOR)]
    found = [image.find(data[start : start + SECTOR]) for start in starts]
    assert min(found) >= 0
    it.card.set(read_error=[between(at, at + SECTOR) for at in found])


def is_saved(it: Unit, name: str, *ranges: tuple[int, int]) -> None:
    """On both drives: all bytes but those, and little around them, and it counts for nothing."""
    for drive in (it.good, it.bad):
        holes = saved(drive.mount, name, it.made[name])
        for first, end in ranges:
            assert any(low <= first and end <= high for low, high in holes), (holes, first)
        lost = sum(high - low for low, high in holes)
        bad = sum(end - first for first, end in ranges)
        assert lost <= bad + len(ranges) * 2 * PAGE, "more than the pages around is given up"
    assert it.on_good() == it.on_bad() == it.made.keys() - {name}


@ON_CARD
def test_all_but_the_bad_places_is_saved(lab: Lab, fs: str):
    """Row 61: several ranges of one file; its neighbours are copied, and the day holds."""
    it = broken(lab, fs, LARGE, *SOME)
    once = it.once()
    assert once.returncode == 1
    is_saved(it, LARGE, *SOME)
    held = it.wrapped()
    assert held["verdict"] == "HOLD"
    [found] = [f for f in held["findings"] if f["code"] == "unreadable"]
    assert found["severity"] == "hold"
    assert f"SND_A1/{LARGE} cannot be read at bytes " in found["says"]
    assert f"{LARGE}.PARTS-MISSING" in found["says"]
    if it.digest and fs == "ext4":
        assert it.card_is_untouched()


@ON_CARD
@pytest.mark.parametrize("name", [SMALL, LARGE])
def test_the_header_and_the_end_are_bad(lab: Lab, fs: str, name: str):
    """Row 61: nothing of the header can be read, so it cannot be described; the rest is saved."""
    size = len((it := unit(lab, card=lab.disk("card", fs, label="SND_A1"))).made[name])
    ends = ((0, 512), (size - 100, size))
    spoil(it, name, *ends)
    assert it.once().returncode == 1
    is_saved(it, name, *ends)


def test_a_place_that_grows_and_a_reader_that_reads_more(lab: Lab):
    """Row 61: the second pass gets less and changes nothing; another reader gets all: a copy."""
    it = broken(lab, "ext4", LARGE, SOME[0])
    it.once()
    before = {path: (it.good.mount / path).read_bytes() for path in names_of(it.good.mount)}
    it.card.unmount()
    it.card.come_back()
    spoil(it, LARGE, *SOME)
    it.once()
    saved_files = [p for p in names_of(it.good.mount) if "PARTS-MISSING" in p]
    assert len(saved_files) == 2, "the file and its text"
    assert all((it.good.mount / p).read_bytes() == before[p] for p in saved_files)
    it.card.mend()
    it.once()
    assert it.is_all_there()
    assert [p for p in names_of(it.good.mount) if "PARTS-MISSING" in p] == saved_files
    day = it.takehold.facts("wrap", today())
    codes = {f["code"] for f in day["findings"]}
    assert "unreadable" not in codes
    assert "salvage-left" in codes


def test_nothing_of_it_can_be_read_and_the_tries_end(lab: Lab):
    """Row 61: counted at the disk; a second pass of the program costs a few reads more."""
    it = unit(lab)
    spoil(it, LARGE, (0, len(it.made[LARGE])))
    first = it.card.counts()["read"]
    assert it.once().returncode == 1
    second = it.card.counts()["read"]
    assert second - first < 6 * len(it.made[LARGE]) // PAGE
    assert not [p for p in names_of(it.good.mount) if "PARTS-MISSING" in p]
    it.once()
    assert it.card.counts()["read"] - second < 300, "it is not picked at again"
    assert it.on_good() == it.made.keys() - {LARGE}


def test_a_receiver_is_told_of_no_stranger(lab: Lab):
    """The saved file lies beside the day's folder: what was handed over is what is signed."""
    it = broken(lab, "ext4", LARGE, *SOME)
    it.once()
    it.wrapped()
    day = it.good.mount / "Lantern Bay" / today()
    assert LARGE not in str(list(finals(day)))
    for folder in (day, day.parent, it.good.mount):
        got = it.takehold.run("receive", str(folder))
        print(got.stdout)
        assert " 0 not in the manifest" in got.stdout
    listed = next(day.glob("*.sha256")).read_text()
    assert "PARTS-MISSING" not in listed
    assert LARGE not in listed
