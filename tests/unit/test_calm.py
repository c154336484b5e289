"""A turn that found nothing to do is not made again in the same world, and always in another."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from fakeworld import CARDS, DAY, Site, ending, take, within
from takehold.engine.calm import AGAIN_S, rounded
from takehold.model.errors import WorldError
from takehold.model.facts import Acked
from takehold.model.recording import Stamp

FILES = {b"DAY/T01.WAV": take(1), b"DAY/T02.WAV": take(2)}
MORE = b"DAY/T03.WAV"


def at_rest(**settings: object) -> Site:
    """All is copied, confirmed and written, and a turn has found nothing left to do."""
    site = Site(**settings)
    site.card("SND_A1", dict(FILES))
    site.card("SND_B1", dict(FILES))
    site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    site.work()
    assert site.wrap().startswith(DAY)
    site.engine.turn()
    assert site.engine.resting
    return site


def _record(site: Site) -> None:
    card = site.disk.volumes[b"/media/SND_A1"]
    card.put(MORE, take(3))


def _pull(site: Site) -> None:
    del site.disk.volumes[b"/media/SND_A1"]


def _write_over(site: Site) -> None:
    card = site.disk.volumes[b"/media/SND_A1"]
    card.stamps[b"DAY/T01.WAV"] = Stamp(len(FILES[b"DAY/T01.WAV"]), 10**18)


def _lock(site: Site) -> None:
    site.disk.volumes[b"/media/SHUTTLE_1"].gone = True


def _ask(site: Site) -> None:
    site.catalogue.ask("recheck", "", site.clock.now())


def _decide(site: Site) -> None:
    site.engine.take([Acked("abcd1234", "seen", site.clock.now())])


def _wait(site: Site) -> None:
    site.clock.advance(AGAIN_S + 1)


def _set_back(site: Site) -> None:
    site.clock.set_by(-3600)


def _sleep(site: Site) -> None:
    site.clock.sleep(3600)


def _adopt(site: Site) -> None:
    site.engine.adopt(site.settings, site.days())


@pytest.mark.parametrize(
    "change",
    [_record, _pull, _write_over, _lock, _ask, _decide, _wait, _set_back, _sleep, _adopt],
)
def test_the_first_turn_after_a_change_weighs_everything(change: Callable[[Site], None]) -> None:
    site = at_rest()
    change(site)
    site.engine.turn()
    assert not site.engine.resting


def test_a_new_recording_is_copied_as_from_a_busy_loop() -> None:
    site = at_rest()
    _record(site)
    site.clock.advance(2)
    site.work()
    site.clock.advance(2)
    site.work()
    assert all(
        any(path.endswith(MORE) for path in site.disk.volumes[drive].files)
        for drive in (b"/media/SHUTTLE_1", b"/media/SHUTTLE_2")
    )


def test_what_is_not_the_productions_changes_nothing() -> None:
    """A stick that nobody spoke of, some bytes less on a drive, a minute later."""
    site = at_rest()
    site.drive("HOLIDAYS")
    site.clock.advance(60)
    site.engine.turn()
    assert site.engine.resting


def test_the_next_try_comes_when_its_time_has_come() -> None:
    """A drive that takes nothing is tried again at its trouble's time, not ten minutes later."""
    site = at_rest()
    site.disk.volumes[b"/media/SHUTTLE_1"].fail_next("part", WorldError("It takes nothing."))
    _record(site)
    site.clock.advance(2)
    site.work()
    site.clock.advance(2)
    site.work()
    first = min(t.retry_at for t in site.engine.ledger.troubles.values())
    site.engine.turn()
    assert site.engine.resting
    site.clock.advance(first - site.clock.now())
    site.engine.turn()
    assert not site.engine.resting


def test_nothing_rests_while_a_file_is_being_written() -> None:
    site = at_rest(settle_seconds=3600)
    _record(site)
    for _ in range(3):
        site.engine.turn()
        assert not site.engine.resting


@pytest.mark.parametrize(
    ("free", "shown"),
    [(1_234_567_890_123, 1_234_500_000_000), (98_765_432, 98_700_000), (12, 12), (0, 0)],
)
def test_free_space_is_told_to_three_digits(free: int, shown: int) -> None:
    assert rounded(free) == shown


def test_room_that_is_reserved_for_a_file_on_its_way_is_no_lack_of_room() -> None:
    """While it is copied the drive's free space is without it, and the file is not there yet."""
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", {b"T01.WAV": take(1)})
    drive = site.drive("SHUTTLE_1", capacity=len(take(1)) + 100)
    hang = card.hang("read")
    with ending(hang):
        site.work(lambda: any(op == "reserve" for op, _ in drive.calls))
        assert within(5, lambda: any(op == "read" for op, _ in card.calls))
        drive.capacity = 100
        site.engine.turn()
        assert not any(key.startswith("room ") for key in site.engine.now.alarms)
        drive.capacity = len(take(1)) + 100
    site.work()
    assert site.on(drive)
