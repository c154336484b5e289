"""A copy that turns out bad while samples are compared: declared broken, and another one is taken.

No reference outside: the promises P4 and P6 (docs/invariants.md).
"""

from __future__ import annotations

import numpy as np
import pytest

from comparing import scene, wave
from fakeworld import Site
from memory_catalogue import MemoryCatalogue
from takehold.adapters.decoder import SoundfileDecoder
from takehold.engine.rebuild import rebuild
from takehold.model.facts import Broken, Compared
from takehold.model.finding import Relation
from takehold.model.recording import Copy

TAKE = scene(150_000, 1)
PATH = b"T01.WAV"


@pytest.fixture
def site() -> Site:
    """A take on the primary card; its copies stand on two drives."""
    made = Site()
    made.decoder = SoundfileDecoder()  # type: ignore[assignment]
    made.start()
    for label in ("SHUTTLE_1", "SHUTTLE_2"):
        made.drive(label)
    made.card("SND_A1", {PATH: wave(np.rint(TAKE * 2**23).astype("<i4"), begin=5)})
    made.work()
    return made


def copies(site: Site) -> list[Copy]:
    return sorted(site.engine.ledger.copies_of(site.recording(PATH).id), key=lambda c: c.root)


def damage(site: Site, copy: Copy) -> None:
    """A bit goes bad near the end, and the drive does not know."""
    [volume] = [v for v in site.disk.volumes.values() if v.root.identity == copy.root]
    raw = volume.files[copy.path]
    volume.files[copy.path] = raw[:-300] + bytes([raw[-300] ^ 0x40]) + raw[-299:]


def back_up(site: Site) -> None:
    """The backup card comes in; its take has 16 bits."""
    site.card("SND_B1", {PATH: wave(TAKE, 16, begin=5)})
    site.work()


def test_the_comparison_goes_on_from_another_copy(site: Site) -> None:
    """It says what the recordings say; of the bad copy it is said that it is bad."""
    bad = copies(site)[0]  # on the drive that is asked first
    damage(site, bad)
    back_up(site)
    site.later()
    assert [(fact.root, fact.why) for fact in site.told(Broken)] == [(bad.root, "altered")]
    assert [fact.comparison.relation for fact in site.told(Compared)] == [Relation.REDUCED]
    assert {"copy-altered", "backup-reduced"} <= site.codes()
    assert "backup-uncompared" not in site.codes()
    assert len(copies(site)) == 2, "copied again, from the good one"
    site.no_false_word()


def test_two_bad_copies_are_no_answer(site: Site) -> None:
    """The card makes good for both; until then the day says that it was not compared."""
    for copy in copies(site):
        damage(site, copy)
    back_up(site)
    site.later()
    assert {fact.why for fact in site.told(Broken)} == {"altered"}
    assert [fact.comparison.relation for fact in site.told(Compared)] == [Relation.REDUCED]
    site.no_false_word()


def test_a_rebuilt_catalogue_compares_nothing_again(site: Site) -> None:
    """What the samples said stands in the manifest; the cards are gone."""
    back_up(site)
    site.wrap()
    before = {f.says for f in site.judged().findings if f.code.startswith("backup-")}
    assert any("lower quality" in says for says in before)
    for mount in (b"/media/SND_A1", b"/media/SND_B1"):
        del site.disk.volumes[mount]
    targets = site.engine.destinations()
    facts, _ = rebuild(site.archive, site.disk, targets, site.signer, "Lantern Bay")
    site.catalogue = MemoryCatalogue()
    site.start().take(facts)
    [told] = site.told(Compared)
    site.later()
    assert site.told(Compared) == [told]
    assert {f.says for f in site.judged().findings if f.code.startswith("backup-")} == before
