"""A catalogue that fails while a drive or a card is looked at: nothing is lost, or passed over."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from fakedisk import FakeVolume
from fakeworld import CARDS, DAY, MemoryArchive, Site, take
from memory_catalogue import MemoryCatalogue
from takehold.engine.cycle import Engine, Now
from takehold.model.dozing import Dozing
from takehold.model.errors import TakeholdError, VolumeFull
from takehold.model.facts import Fact, Listed, Published, Unpublished
from takehold.model.recording import Stamp
from takehold.model.situation import Situation

FILES = {b"DAY/T%02d.WAV" % n: take(n) for n in range(1, 3)}
FULL = VolumeFull("No room is left on the disk of the catalogue.")


class Unreadable(TakeholdError):
    """As a damaged catalogue's row says it."""

    code = "catalogue-damaged"


def wrapped() -> tuple[Site, FakeVolume, FakeVolume]:
    """A day that was closed, its card and its drive."""
    site = Site(sources=CARDS[:1], copies_required=1)
    card, drive = site.card("SND_A1", FILES), site.drive("SHUTTLE_1")
    site.work()
    site.wrap()
    return site, card, drive


def away(site: Site, *volumes: FakeVolume) -> None:
    for volume in volumes:
        volume.yank()


def lose(site: Site) -> None:
    """Catalogue and archive are gone; the key was kept elsewhere."""
    site.catalogue, site.archive = MemoryCatalogue(), MemoryArchive()
    site.start()
    site.work()


def fail_to_tell(site: Site) -> None:
    """The engine begins, and then no day can be told any more; all of them sleep."""
    fails, told = [False], site.catalogue.of_day

    def of_day(day: str) -> list[Fact]:
        if fails[0]:
            raise Unreadable(f"A row of {day} cannot be read.")
        return told(day)

    site.catalogue.of_day = of_day  # type: ignore[method-assign]
    engine = site.start()
    known, drives, fails[0] = engine.ledger, engine.destinations(), True
    assert isinstance(known, Dozing)
    for day in known.of_day.keys() - known.asleep.keys():
        known._sleep(day)
    engine.now = Now(Situation(site.clock.now(), DAY, (), drives))


def test_what_a_drive_tells_is_asked_again_until_it_is_recorded() -> None:
    """The disk of the laptop is full when a drive brings a day that is not known."""
    site, card, drive = wrapped()
    away(site, card, drive)
    lose(site)
    site.remount(drive)
    site.catalogue.refuses = FULL
    for _ in range(2):
        site.engine.turn()
        assert site.engine.ailing
        assert site.engine.recall.says() == [], "nothing is known again yet"
    site.catalogue.refuses = None
    site.work()
    assert {r.path for r in site.engine.ledger.day(DAY)} == set(FILES)
    assert not site.engine.ailing
    [said] = site.engine.recall.says()
    assert "Known again: files 2, proven copies 2" in said


def test_a_catalogue_that_cannot_be_read_is_no_drive_that_tells_nothing() -> None:
    """What a drive tells is compared with a day that sleeps."""
    site, card, drive = wrapped()
    away(site, drive)
    lose(site)
    away(site, card)
    assert site.engine.ledger.recordings, "the card was listed anew"
    site.remount(drive)
    fail_to_tell(site)
    about = site.engine.ledger, site.engine.destinations(), site.days(), site.engine.take
    with pytest.raises(Unreadable):
        site.engine.recall.look(*about)


def came(engine: Engine, site: Site) -> None:
    engine.closer.arrivals(engine.ledger, engine.now, site.disk)


def is_closed(engine: Engine, site: Site) -> None:
    engine.closer._looked(engine.ledger, DAY, engine.now, site.disk)


def is_rechecked(engine: Engine, site: Site) -> None:
    engine.closer._manifests(engine.ledger, "", engine.now, site.disk)


@pytest.mark.parametrize("when", [came, is_closed, is_rechecked])
def test_a_catalogue_that_cannot_be_read_is_no_drive_where_all_is_well(
    when: Callable[[Engine, Site], None],
) -> None:
    """It came, its day is closed, it is rechecked: what stands on it is of a day that sleeps."""
    site, _, _ = wrapped()
    fail_to_tell(site)
    with pytest.raises(Unreadable):
        when(site.engine, site)


def test_a_drive_that_fails_still_shows_nothing_and_is_asked_again() -> None:
    """Its manifest is found to be gone once it answers."""
    site, _, drive = wrapped()
    name = next(path for path in drive.files if path.endswith(b".json"))
    del drive.files[name]
    drive.yank()
    closer, about = site.engine.closer, (site.engine.ledger, site.engine.now, site.disk)
    closer.slept()
    assert not closer.arrivals(*about)
    drive.give_back()
    assert [type(fact) for fact in closer.arrivals(*about).facts] == [Unpublished]
    site.work()
    assert name in drive.files
    assert len(site.told(Published)) >= 2


def test_a_laptops_keep_that_cannot_be_read_says_nothing_of_a_drive() -> None:
    """It is neither the drive's fault nor one that the work stands still for."""
    site, _, _ = wrapped()

    def read(day: str, name: str) -> bytes:
        raise VolumeFull(f"{name} cannot be read.")

    site.archive.read = read  # type: ignore[method-assign]
    site.engine.closer.slept()
    assert not site.engine.closer.arrivals(site.engine.ledger, site.engine.now, site.disk)


def test_the_listing_of_another_cards_load_is_put_back_though_recording_failed_once() -> None:
    """What looking into a card told is recorded, then remembered."""
    more = {**FILES, b"DAY/T09.WAV": take(9)}
    stopped = {path: Stamp(len(data), 10**9) for path, data in more.items()}
    site = Site()
    card = site.card("SND_A1", dict(FILES))
    card.stamps.update(stopped)
    site.drive("SHUTTLE_1")
    site.work()
    listing, record, failed = site.engine.ledger.listings[1], site.catalogue.record, []
    card.files.update({path: data[:-2000] + bytes(2000) for path, data in more.items()})
    site.remount(card)

    def failing(facts: Sequence[Fact]) -> None:
        if listing in facts and not failed:
            failed.append(listing)
            raise FULL
        record(facts)

    site.catalogue.record = failing  # type: ignore[method-assign]
    site.work()
    site.work()
    assert failed
    assert len(site.engine.ledger.loads) == 2
    assert site.engine.ledger.listings[1] == listing
    assert [fact for fact in site.told(Listed) if fact.load == 1][-1] == listing
