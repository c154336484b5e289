"""A card that only looks like a known one: same identity, names, sizes and times, other audio."""

from __future__ import annotations

from fakedisk import FakeVolume
from fakeworld import Site, call_count, take
from takehold.model.recording import Stamp
from takehold.model.settings import Role, Source
from takehold.model.step import Recognise

STOPPED = Stamp(0, 1_000_000_000)  # the recorder's clock stands still
PATHS = (b"DAY/T01.WAV", b"DAY/T02.WAV")
FIRST = {path: take(n) for n, path in enumerate(PATHS, 1)}
# The same headers, other audio.
SECOND = {path: data[:-2000] + bytes(2000) for path, data in FIRST.items()}


def stand_still(card: FakeVolume) -> FakeVolume:
    """All its files have one time."""
    for path, data in card.files.items():
        card.stamps[path] = Stamp(len(data), STOPPED.mtime_ns)
    return card


def change(site: Site, card: FakeVolume, files: dict[bytes, bytes]) -> None:
    """Another card comes in that cannot be told from this one by its volume."""
    card.files.clear()
    card.files.update(files)
    stand_still(card)
    site.remount(card)


def copied(site: Site) -> tuple[Site, FakeVolume, FakeVolume]:
    card = stand_still(site.card("SND_A1", FIRST))
    drive = site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    site.work()
    return site, card, drive


def test_another_card_is_a_load_of_its_own_and_each_is_known_again() -> None:
    """All of both is copied, and nothing of either is read whole when it comes back."""
    site, card, drive = copied(Site())
    listing = site.engine.ledger.listings[1]
    change(site, card, SECOND)
    site.work()
    assert len(site.engine.ledger.loads) == 2
    assert site.engine.ledger.listings[1] == listing
    assert sorted(site.on(drive).values()) == sorted([*FIRST.values(), *SECOND.values()])
    for files, load in ((FIRST, 1), (SECOND, site.engine.now.situation.sights[0].load)):
        change(site, card, files)
        before = call_count(card, "read")
        site.work()
        assert site.engine.now.situation.sights[0].load == load
        assert len(site.engine.ledger.loads) == 2
        assert call_count(card, "read") == before
    site.no_false_word()


def test_files_of_another_card_are_not_said_to_have_left_theirs() -> None:
    """One was listed and never read; it is not looked for on a card that is not known yet."""
    site = Site()
    card = stand_still(site.card("SND_A1", FIRST))
    site.work()
    change(site, card, {PATHS[0]: FIRST[PATHS[0]].replace(b"11:30:00", b"11:31:00")})
    site.work()
    assert len(site.engine.ledger.loads) == 2
    assert not any(t.code == "file-vanished" for t in site.engine.ledger.troubles.values())


def test_it_is_looked_into_once_and_costs_two_short_reads_of_a_file() -> None:
    site, card, _ = copied(Site())
    site.remount(card)
    card.calls.clear()
    site.work()
    opened = call_count(card, "open")
    assert opened == len(FIRST)
    assert call_count(card, "read") == 0
    for _ in range(3):
        site.work()
    assert call_count(card, "open") == opened
    assert len(site.engine.ledger.loads) == 1


def test_a_file_that_cannot_be_read_says_nothing() -> None:
    site, card, _ = copied(Site())
    card.bad[PATHS[0]] = [(0, 1 << 20)]
    site.remount(card)
    site.work()
    assert len(site.engine.ledger.loads) == 1
    change(site, card, SECOND)
    card.bad[PATHS[0]] = [(0, 1 << 20)]
    site.work()
    assert len(site.engine.ledger.loads) == 2


def test_a_watch_folder_is_not_looked_into() -> None:
    site = Site(sources=(Source("desk", Role.PRIMARY, path=b"/srv/desk"),))
    desk = site.disk.volume(b"/srv/desk", FIRST)
    site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    site.work()
    site.later(31)
    site.remount(desk)
    desk.calls.clear()
    site.work()
    assert call_count(desk, "open") == 0


def test_other_cards_are_copied_meanwhile() -> None:
    site, card, drive = copied(Site())
    site.remount(card)
    site.card("SND_A2", {b"DAY/T09.WAV": take(9)})
    site.engine.collect()
    site.engine.turn()
    running = [running.step for running in site.engine.lanes.running.values()]
    assert sum(isinstance(step, Recognise) for step in running) == 1
    assert len(running) == 2
    site.work()
    assert len(site.on(drive)) == 3
