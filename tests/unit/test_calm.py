"""A turn that found nothing to do is not made again in the same world, and always in another."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from fakedisk import FakeVolume
from fakeworld import CARDS, DAY, Site, ending, take, within
from takehold.engine.calm import AGAIN_S, rounded
from takehold.model.errors import WorldError
from takehold.model.facts import Acked
from takehold.model.recording import Stamp
from takehold.model.settings import Role, Source

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


GROWING = b"DAY/T09.WAV"
DESK = Source("desk", Role.PRIMARY, path=b"/srv/desk")


def beside_a_recorder() -> tuple[Site, FakeVolume, Callable[[int], None]]:
    """A loop at rest, a watch folder, and what lets the file in it become longer by a second."""
    site = Site(sources=(*CARDS, DESK), settle_seconds=20)
    site.card("SND_A1", dict(FILES))
    site.card("SND_B1", dict(FILES))
    desk = site.disk.volume(b"/srv/desk", {})
    site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    site.work()

    def grow(frames: int) -> None:
        desk.put(GROWING, take(9, frames))
        site.clock.advance(1)
        site.engine.turn()

    grow(1000)
    grow(1100)
    assert site.engine.resting
    return site, desk, grow


def test_a_file_that_grows_is_no_news() -> None:
    """Nothing is weighed and nothing recorded; it is named as one that is being written."""
    site, desk, grow = beside_a_recorder()
    known = site.engine.ledger.serial
    for frames in range(1200, 3000, 100):
        grow(frames)
        assert site.engine.resting
    assert site.engine.ledger.serial == known
    assert site.engine.now.unsettled == ("desk/DAY/T09.WAV",)
    assert not any(op == "open" for op, _ in desk.calls)


def test_a_file_that_grew_is_copied_once_it_stands_still() -> None:
    """Whole, as it was at its end, and no second before its time."""
    site, _, grow = beside_a_recorder()
    grow(2000)
    site.clock.advance(18)
    site.engine.turn()
    assert site.engine.resting
    site.clock.advance(2)
    site.work()
    assert site.engine.now.unsettled == ()
    for drive in (b"/media/SHUTTLE_1", b"/media/SHUTTLE_2"):
        [copy] = [d for p, d in site.disk.volumes[drive].files.items() if p.endswith(GROWING)]
        assert copy == take(9, 2000)


def _another_begins(site: Site, desk: FakeVolume) -> None:
    desk.put(b"DAY/T10.WAV", take(10, 500))


def _it_is_deleted(site: Site, desk: FakeVolume) -> None:
    desk.remove(GROWING)


def _it_is_renamed(site: Site, desk: FakeVolume) -> None:
    desk.remove(GROWING)
    desk.put(b"DAY/T09 final.WAV", take(9, 1100))


def _a_card_comes(site: Site, desk: FakeVolume) -> None:
    _record(site)


def _the_day_turns(site: Site, desk: FakeVolume) -> None:
    site.clock.set_by(20 * 3600)


@pytest.mark.parametrize(
    "change", [_another_begins, _it_is_deleted, _it_is_renamed, _a_card_comes, _the_day_turns]
)
def test_beside_a_file_that_grows_all_else_is_news(
    change: Callable[[Site, FakeVolume], None],
) -> None:
    site, desk, _ = beside_a_recorder()
    change(site, desk)
    site.engine.turn()
    assert not site.engine.resting


def test_a_known_file_that_is_written_to_again_is_news_once() -> None:
    """It is named as unsettled, and read again when that is over."""
    site, desk, _ = beside_a_recorder()
    site.clock.advance(21)
    site.work()
    site.engine.turn()
    assert site.engine.resting
    desk.put(GROWING, take(9, 4000))
    site.engine.turn()
    assert not site.engine.resting
    assert site.engine.now.unsettled == ("desk/DAY/T09.WAV",)
    site.clock.advance(21)
    site.work()
    drive = site.disk.volumes[b"/media/SHUTTLE_1"]
    assert take(9, 4000) in drive.files.values()


@pytest.mark.parametrize(
    ("free", "shown"),
    [(1_234_567_890_123, 1_234_500_000_000), (98_765_432, 98_700_000), (12, 12), (0, 0)],
)
def test_free_space_is_told_to_three_digits(free: int, shown: int) -> None:
    assert rounded(free) == shown


def test_room_that_is_reserved_for_a_file_on_its_way_is_no_lack_of_room() -> None:
    """While it is copied the drive's free space is without it, and the file is not there yet."""
    site, long = Site(sources=CARDS[:1]), take(1, 4_000_000)  # a short one is read first
    card = site.card("SND_A1", {b"T01.WAV": long})
    drive = site.drive("SHUTTLE_1", capacity=len(long) + 100)
    hang = card.hang("read")
    with ending(hang):
        site.work(lambda: any(op == "reserve" for op, _ in drive.calls))
        assert within(30, lambda: any(op == "read" for op, _ in card.calls))
        drive.capacity = 100
        site.engine.turn()
        assert not any(key.startswith("room ") for key in site.engine.now.alarms)
        drive.capacity = len(long) + 100
    site.work()
    assert site.on(drive)
