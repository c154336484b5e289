"""Disks that lie, fail and crawl under real file systems; the checker reads them by itself.

Rows are those of the acceptance matrix of hazards, P1-P12 the promises of the design.
"""

from __future__ import annotations

import pytest

from faultlab.checker import temporaries
from faultlab.lab import Lab, between, faulty_lab, holding  # noqa: F401
from faultlab.unit import LARGE, SMALL, unit

EVERY_FS = pytest.mark.parametrize("fs", ["ext4", "xfs", "btrfs", "exfat"])


@EVERY_FS
@pytest.mark.parametrize("lie", ["flip", "drop_writes"])
def test_a_medium_that_lies_gets_no_final_name(lab: Lab, fs: str, lie: str):
    """Rows 26 and 70, P3: a flipped bit, a write acknowledged and lost; the cache knows better."""
    it = unit(lab, fs=fs)
    it.bad.set(**{lie: [holding(it.made[SMALL]), holding(it.made[LARGE])]})
    once = it.once()
    assert once.returncode == 1
    assert it.on_good() == it.made.keys()
    assert it.on_bad() == it.made.keys() - {SMALL, LARGE}
    for name in (SMALL, LARGE):
        said = [line for line in once.stdout.splitlines() if name in line]
        # btrfs has checksums of its own, and gives an error for a wrong block
        assert any("gave back other bytes" in s or "Input/output error" in s for s in said), said
        assert f"SND_A1/{name}: 1 of 2 proven copies." in once.stdout
    assert it.card_is_untouched()
    it.bad.mend()
    assert it.once().returncode == 0
    assert it.is_all_there()
    assert not temporaries(it.bad.mount)


@EVERY_FS
def test_a_write_that_fails_costs_its_file_only(lab: Lab, fs: str):
    """Rows 30 and 35, P3: at once past the cache, at the flush through it; then written anew."""
    it = unit(lab, fs=fs)
    it.bad.set(write_error=[holding(it.made[SMALL]), holding(it.made[LARGE])])
    once = it.once()
    assert once.returncode == 1
    assert it.on_good() == it.made.keys()
    assert not it.on_bad() & {SMALL, LARGE}
    assert "Input/output error" in once.stdout
    if fs != "exfat":  # its server writes later, and tells whoever flushes first
        for name in (SMALL, LARGE):
            assert f"{name} to shuttle-2: " in once.stdout
        assert "gave back" not in once.stdout
    assert it.card_is_untouched()
    it.bad.mend()
    if it.once().returncode:  # a file system that gave up for good is plugged in again
        it.bad.yank()
        it.bad.come_back()
        assert it.once().returncode == 0
    assert it.is_all_there()


@pytest.mark.parametrize("fs", ["ext4", "xfs"])
def test_a_flush_of_the_disk_that_fails_proves_nothing(lab: Lab, fs: str):
    """Row 30: the disk's flush fails once and then succeeds; nothing that it covered counts."""
    it = unit(lab, fs=fs)
    it.bad.set(flush_error=["EIO"])
    assert it.once().returncode == 1
    assert it.on_good() == it.made.keys()
    assert it.on_bad() < it.made.keys()
    it.bad.yank()
    it.bad.come_back()
    assert it.once().returncode == 0
    assert it.is_all_there()
    assert it.card_is_untouched()


@pytest.mark.parametrize("name", [SMALL, LARGE])
def test_a_card_with_a_bad_sector_holds_the_day_for_that_file(lab: Lab, name: str):
    """Row 60, P6 and P7: one file cannot be read; it is named, and all others are proven."""
    it = unit(lab)
    bad = it.card.where(it.made[name]) + 40_960
    it.card.set(read_error=[between(bad, bad + 512)])
    once = it.once()
    assert once.returncode == 1
    assert f"{name} on {it.card.mount}: the device failed (Input/output error)" in once.stdout
    assert it.on_good() == it.on_bad() == it.made.keys() - {name}
    held = it.wrapped()
    assert held["verdict"] == "HOLD"
    assert name in str(held)
    assert it.card_is_untouched()
    it.card.mend()
    assert it.once().returncode == 0
    assert it.is_all_there()


def test_a_card_misread_once_is_not_ready(lab: Lab):
    """Row 38, P8: the copies agree with a wrong read; the second read of the card does not."""
    it = unit(lab)
    it.card.set(flip_once=[holding(it.made[LARGE])])
    once = it.once()
    assert once.returncode == 1
    assert f"{LARGE} gave other bytes than at its first read." in once.stdout
    held = it.wrapped()
    assert held["verdict"] == "HOLD", held
    assert LARGE in str(held)


def test_a_slow_card_is_no_fault(lab: Lab):
    """Row 73: every read takes its time; all is proven, and nothing is said to stand still."""
    it = unit(lab, stall_seconds=5)
    it.card.set(slow=0.02)
    once = it.once()
    assert once.returncode == 0, once.stdout
    assert it.is_all_there()
    assert it.card_is_untouched()
