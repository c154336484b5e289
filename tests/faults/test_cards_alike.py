"""Cards that cannot be told apart (docs/problems.md): what is missed then, and what finds it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fakedisk import FakeVolume
from fakeworld import CARDS, Site
from takehold.model.finding import Verdict
from takehold.model.recording import Stamp

ROLL = b"DAY/ROLL1.ZAX"
ONE, OTHER = (b"a container that nobody looks into: %d " % n * 200 for n in (1, 2))
PAGE = Path(__file__).parents[2] / "docs" / "problems.md"


def put_in(site: Site, card: FakeVolume, content: bytes) -> None:
    """Another card of the same serial number, names, sizes and times."""
    card.files[ROLL] = content
    card.stamps[ROLL] = Stamp(len(content), 1_000_000_000)
    site.remount(card)


@pytest.mark.parametrize("recheck", [False, True])
def test_opaque_cards_of_one_serial_number(recheck: bool) -> None:
    """The second is taken for the first; cards read again at wrap tell it, by its bytes."""
    site = Site(sources=CARDS[:1], recheck_cards_at_wrap=recheck)
    drive = site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    card = site.card("SND_A1", {ROLL: ONE})
    card.stamps[ROLL] = Stamp(len(ONE), 1_000_000_000)
    site.work()
    site.clock.advance(60)
    put_in(site, card, OTHER)
    site.work()
    assert list(site.on(drive, b".ZAX").values()) == [ONE], "the limit that the page names"
    site.wrap()
    for _ in range(3):
        site.later()
    site.wrap()
    both = [ONE, OTHER] if recheck else [ONE]
    assert sorted(site.on(drive, b".ZAX").values()) == both
    assert ("first-read-wrong" in site.codes()) is recheck
    assert (site.judged().verdict is Verdict.HOLD) is recheck, "a person decides"


def test_the_page_names_each_limit_and_what_to_do() -> None:
    """One place, plainly: looked into once, known by label and place only, opaque alone."""
    [section] = re.findall(
        r"^## Cards that cannot be told apart\n(.*?)(?=^## )",
        PAGE.read_text("utf-8"),
        re.MULTILINE | re.DOTALL,
    )
    for word in ("once", "label and place", "Opaque", "recheck_cards_at_wrap", "card-not-listed"):
        assert word in section
    assert len(re.findall(r"What\s+to do:", section)) == 3
