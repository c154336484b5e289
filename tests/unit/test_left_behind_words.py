"""What a person reads of a drive that fell behind: where files go now, and what the card is for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from fakedisk import FakeVolume
from fakeworld import CARDS, Site, ending, take
from takehold.cli.status import card_words
from takehold.decide.explain import what
from takehold.decide.keys import land_key
from takehold.engine.outcome import Outcome
from takehold.engine.progress import snapshot
from takehold.model.errors import Stalled
from takehold.model.step import CatchUp, Transfer

FILES = {b"T%02d.WAV" % n: take(n) for n in range(1, 4)}


def shown(site: Site) -> Any:
    """What the loop shows, all that was told heard."""
    return snapshot(site.engine, site.clock.steady_ns())


def card_of(site: Site) -> Any:
    """The one card that is in, as it is shown."""
    [card] = shown(site)["cards"]
    return card


def runs(site: Site, kind: type) -> Callable[[], bool]:
    """Whether such a step is at work."""
    return lambda: any(isinstance(r.step, kind) for r in site.engine.lanes.running.values())


def beside_a_late_drive(**settings: Any) -> tuple[Site, FakeVolume, FakeVolume]:
    """All files stand on the first drive; the second one came later and takes no byte yet."""
    site = Site(**{"sources": CARDS[:1], **settings})
    site.card("SND_A1", FILES)
    first = site.drive("SHUTTLE_1")
    site.work()
    return site, first, site.drive("SHUTTLE_2")


def test_the_card_is_not_needed_while_a_drive_catches_up() -> None:
    """Two reads of it agree, and the rest comes from the other drive; it must not be cleared."""
    site, _, second = beside_a_late_drive()
    with ending(second.hang("write")):
        site.work(runs(site, CatchUp))
        card = card_of(site)
        assert (card["copied"], card["from_drives"], card["confirmed"]) == (0, 3, 3)
        assert card_words(card) == (
            "0 of 3 copied, the rest goes from drive to drive; "
            "it may be pulled, do not clear it yet"
        )
    site.work()
    assert card_words(card_of(site)).endswith("all copied and confirmed; it may be pulled")


def test_a_card_that_was_read_once_is_needed_for_the_second_read() -> None:
    """Its copies come from the other drive; that it was read right is not shown yet (P8)."""
    site, _, second = beside_a_late_drive(sources=CARDS)
    with ending(second.hang("write")):
        site.work(runs(site, CatchUp))
        assert card_words(card_of(site)) == (
            "0 of 3 copied, the rest goes from drive to drive; "
            "not confirmed yet: put the other card in, or leave it in until wrap"
        )


def _pulled(site: Site, first: FakeVolume) -> None:
    first.yank()


def _more_is_asked(site: Site, first: FakeVolume) -> None:
    object.__setattr__(site.engine.settings, "copies_required", 3)


@pytest.mark.parametrize("change", [_pulled, _more_is_asked])
def test_where_drives_are_not_enough_the_card_stays(
    change: Callable[[Site, FakeVolume], None],
) -> None:
    """The drive that gives was pulled; or one drive more is needed, which is not there."""
    site, first, second = beside_a_late_drive()
    with ending(second.hang("write")):
        site.work(runs(site, CatchUp))
        change(site, first)
        site.engine.turn()
        assert card_of(site)["from_drives"] == 0
        assert card_words(card_of(site)) == "0 of 3 copied, leave it in"


def test_before_the_second_drive_is_there_the_card_stays() -> None:
    """Nothing is under way then."""
    site = Site(sources=CARDS[:1])
    site.card("SND_A1", FILES)
    site.drive("SHUTTLE_1")
    site.work()
    assert card_words(card_of(site)) == "0 of 3 copied, leave it in"


def test_a_drive_that_was_left_behind_is_not_said_to_get_files() -> None:
    """It gets them later; so says the line of what is at work."""
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", FILES)
    site.drive("SHUTTLE_1")
    slow = site.drive("SHUTTLE_2").root.identity
    with ending(card.hang("read")):
        site.work(runs(site, Transfer))
        [work] = shown(site)["work"]
        assert work["what"] == "copying 3 files from SND_A1 to shuttle-1, shuttle-2"
        [running] = site.engine.lanes.running.values()
        late = Stalled("It is too slow.", code="late")  # as engine/transfer tells it
        running.heard(Outcome(key=land_key(2, slow), error=late))
        [work] = shown(site)["work"]
        assert work["what"] == "copying 3 files from SND_A1 to shuttle-1 (later to shuttle-2)"


def test_where_every_drive_was_left_behind_all_are_named() -> None:
    """The step is about to end; nothing is better off than the others."""
    site = Site(sources=CARDS[:1])
    site.card("SND_A1", FILES)
    drives = [site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")]
    with ending(drives[0].hang("write")):
        site.work(runs(site, Transfer))
        [running] = site.engine.lanes.running.values()
        roots = {drive.root.identity for drive in drives}
        assert what(running.step, roots) == what(running.step)
