"""A catalogue that cannot be read for a moment: what was recorded is not recorded again (P8)."""

from __future__ import annotations

import pytest

from fakeworld import Site, take
from takehold.model import facts as f
from takehold.model.errors import WorldError

BEFORE = "2031-03-13"


@pytest.mark.parametrize("nth", [1, 2])
def test_a_day_that_cannot_be_woken_makes_no_second_read_of_one(nth: int) -> None:
    """Each question about a day that sleeps fails once; one read of the card stays one."""
    site = Site(copies_required=1)
    site.drive("SHUTTLE_1")
    card = site.card("SND_A1", {b"Y01.WAV": take(1, day=BEFORE), b"Y02.WAV": take(2, day=BEFORE)})
    site.work()
    site.wrap(BEFORE)
    left, told, before = [nth], site.catalogue.of_day, len(site.told(f.WasRead))

    def of_day(day: str) -> list[f.Fact]:
        if len(site.told(f.WasRead)) > before:
            left[0] -= 1
            if left[0] == 0:
                raise WorldError("The catalogue cannot be read (disk I/O error).")
        return told(day)

    site.catalogue.of_day = of_day  # type: ignore[method-assign]
    site.start()
    card.yank()
    del site.disk.volumes[card.root.path]
    site.clock.advance(3600)
    site.card("SND_A2", {b"T01.WAV": take(11)})
    for _ in range(4):
        site.work()
        site.clock.advance(60)
    assert left[0] <= 0, "it was asked"
    known = site.recording(b"T01.WAV", "SND_A2")
    told_of = [read for read in site.told(f.WasRead) if read.recording == known.id]
    assert len(known.readings) == len(told_of) == len({read.reading.at for read in told_of})
    assert "loop" not in site.engine.now.alarms
