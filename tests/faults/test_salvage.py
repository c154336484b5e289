"""A card's file that cannot be read: what is saved of it, over the fake disk with real threads."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from fakedisk import FakeVolume
from fakeworld import CARDS, DAY, Site, call_count, ending, take
from takehold.decide.salvage import BLOCK, PAGE
from takehold.engine import salvage as engine
from takehold.model.errors import VolumeFull, VolumeGone, WorldError
from takehold.model.facts import Proven, Salvaged
from takehold.model.finding import Severity, Verdict

BAD = b"DAY/T01.WAV"
LONG = take(1, frames=3 * BLOCK // 4 + 300)  # three blocks and a bit
FILES = {BAD: LONG, b"DAY/T02.WAV": take(2), b"DAY/T03.WAV": take(3)}
ROOT = f"Lantern Bay/{DAY}.salvage/SND_A1/".encode()
SAVED = ROOT + BAD + b".PARTS-MISSING"
ZERO = bytes(PAGE)


def alone(*bad: tuple[int, int], **settings: Any) -> tuple[Site, FakeVolume, list[FakeVolume]]:
    """One card, two drives, and bad places in the first file."""
    site = Site(sources=CARDS[:1], **settings)
    card = site.card("SND_A1", FILES)
    card.bad[BAD] = list(bad)
    return site, card, [site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")]


def holed(data: bytes, *bad: tuple[int, int]) -> bytes:
    """The bytes with each page that holds a bad place zeroed: said without the product."""
    out = bytearray(data)
    for first, end in bad:
        low, high = first // PAGE * PAGE, min(-(-end // PAGE) * PAGE, len(data))
        out[low:high] = bytes(high - low)
    return bytes(out)


@pytest.mark.parametrize(
    "bad",
    [
        pytest.param([(BLOCK + 5000, BLOCK + 5001)], id="one place"),
        pytest.param(
            [(9000, 9512), (BLOCK - 10, BLOCK + 10), (3 * BLOCK - 1, 3 * BLOCK)], id="some"
        ),
        pytest.param([(0, 512)], id="its header"),
        pytest.param([(len(LONG) - 1, len(LONG))], id="its last byte"),
        pytest.param([(0, 512), (len(LONG) - 5, len(LONG))], id="both ends"),
        pytest.param([(BLOCK, 2 * BLOCK)], id="a whole block"),
    ],
)
def test_all_but_the_bad_pages_is_saved_and_counts_for_nothing(bad: list[tuple[int, int]]) -> None:
    """The file equals the card's outside the holes, on both drives, and no copy is claimed."""
    site, card, drives = alone(*bad)
    site.work()
    wanted = holed(LONG, *bad)
    for drive in drives:
        assert drive.files[SAVED] == wanted
        assert b"NO COPY" in drive.files[SAVED + b".txt"]
        assert len(site.on(drive)) == 2, "the neighbours, and no .WAV of it"
    rid = site.recording(BAD).id
    assert rid not in {p.copy.recording for p in site.told(Proven)}
    [fact] = site.told(Salvaged)
    assert fact.missing_bytes == sum(a != b for a, b in _pages(LONG, wanted)) * PAGE - _short(bad)
    site.wrap()
    assert {"unreadable", "copies-short"} <= site.codes()
    assert site.judged().verdict is Verdict.HOLD
    lists = [d for p, d in drives[0].files.items() if p.endswith((b".sha256", b".xxh64"))]
    assert lists
    assert not any(b"PARTS-MISSING" in one or b"T01.WAV" in one for one in lists)
    manifest = site.archive.read(DAY, f"{DAY}.r1.manifest.json")
    assert b'"verdict":"HOLD"' in manifest
    assert b"T01.WAV.PARTS-MISSING" in manifest, "the finding tells where it is"
    site.no_false_word()
    assert card.files == FILES


def _pages(one: bytes, other: bytes) -> list[tuple[bytes, bytes]]:
    return [(one[at : at + PAGE], other[at : at + PAGE]) for at in range(0, len(one), PAGE)]


def _short(bad: list[tuple[int, int]]) -> int:
    """The last page of the file may be no whole one."""
    return -len(LONG) % PAGE if any(end > len(LONG) // PAGE * PAGE for _, end in bad) else 0


def test_its_neighbours_are_done_first_and_reads_are_counted() -> None:
    """It lies first on the card. Three whole tries, the neighbours before the second one.

    Then one pass over the pieces, with halves of what failed and nothing else.
    """
    site, card, _ = alone((5000, 5001))
    site.work()
    opened = [path for op, path in card.calls if op == "open"]
    tries = [n for n, path in enumerate(opened) if path == BAD]
    described, copied = opened[:3], opened[3:6]
    assert sorted(described) == sorted(copied) == sorted(FILES)
    assert len(tries) == 1 + 3 + 1, "described, tried three times, salvaged"
    assert opened[6:8] == [BAD] * 2
    assert sorted(opened[8:10]) == [b"DAY/T02.WAV", b"DAY/T03.WAV"], "their second reads"
    assert opened[10:] == [BAD]
    reads = call_count(card, "read", BAD)
    halvings = 8  # 2**20 bytes to one page of 2**12
    assert reads == 3 + 4 + 2 * halvings
    site.later(), site.later()
    assert len([p for op, p in card.calls if op == "open" and p == BAD]) == len(tries) + 2


def test_reading_in_vain_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten reads; after that the card is left alone until somebody comes."""
    site, card, drives = alone((0, len(LONG)))
    site.work()
    for _ in range(20):
        site.later(301)
    assert call_count(card, "open", BAD) < 20
    quiet = len(card.calls)
    site.later(301)
    assert "open" not in [op for op, _ in card.calls[quiet:]]
    assert not [p for drive in drives for p in drive.files if b"MISSING" in p], "nothing was read"
    assert "T01.WAV cannot be read at all" in str(site.judged().findings)


@pytest.mark.parametrize(("limit", "value"), [("MOST_ERRORS", 5), ("ERROR_SECONDS", 0)])
def test_errors_and_the_time_they_take_are_bounded(
    monkeypatch: pytest.MonkeyPatch, limit: str, value: int
) -> None:
    """What was not tried any more counts as missing; what was read before is saved."""
    monkeypatch.setattr(engine, limit, value)
    bad = [(BLOCK + n * PAGE, BLOCK + n * PAGE + 1) for n in range(0, 200, 2)]
    site, _, drives = alone(*bad)
    site.work()
    [fact] = site.told(Salvaged)
    assert fact.missing_bytes >= 100 * PAGE
    saved = drives[0].files.get(SAVED, b"") if limit == "MOST_ERRORS" else None
    if saved is not None:
        assert saved[:BLOCK] == LONG[:BLOCK]
        assert saved[2 * BLOCK :] == LONG[2 * BLOCK :]
    site.no_false_word()


def test_bad_places_that_grow_cost_nothing_that_was_saved() -> None:
    """A second salvage that gets less is not kept, one that gets more is, beside the first."""
    site, card, drives = alone((9000, 9001))
    site.work()
    card.bad[BAD].append((BLOCK, BLOCK + 1))
    site.remount(card)
    site.work()
    assert [len(s.kept) for s in site.told(Salvaged)] == [2, 0]
    card.bad[BAD] = [(len(LONG) - 1, len(LONG))]
    site.remount(card, b"/media/elsewhere")
    site.work()
    first, second = drives[0].files[SAVED], drives[0].files[SAVED + b"-2"]
    assert first == holed(LONG, (9000, 9001))
    assert second == holed(LONG, (len(LONG) - 1, len(LONG)))
    assert SAVED + b"-2.txt" in drives[0].files
    assert "PARTS-MISSING-2" in str([f for f in site.judged().findings if f.code == "unreadable"])


def test_once_it_can_be_read_it_is_copied_and_the_saved_file_stays() -> None:
    """Another reader: the hold ends by itself, and a note says what is left."""
    site, card, drives = alone((9000, 9001))
    site.work()
    site.wrap()
    saved = drives[0].files[SAVED]
    card.bad.clear()
    site.remount(card)
    site.work()
    assert all(len(site.on(drive)) == 3 for drive in drives)
    assert drives[0].files[SAVED] == saved
    site.wrap()
    assert "unreadable" not in site.codes()
    assert "salvage-left" in site.codes()
    assert Severity.HOLD not in {finding.severity for finding in site.judged().findings}
    site.no_false_word()


def test_where_all_of_it_can_be_read_after_all_it_is_copied() -> None:
    """Three failures that pass: no salvage is left, and the copies are made in the same pass."""
    site, card, drives = alone()
    for _ in range(3):
        card.fail_next("read", WorldError("It cannot be read."), BAD)
    site.work()
    assert all(len(site.on(drive)) == 3 for drive in drives)
    assert [s.missing for s in site.told(Salvaged)] == [()]
    assert not [p for drive in drives for p in drive.files if b"MISSING" in p]
    assert not site.engine.ledger.troubles


Strike = Callable[[FakeVolume], object]


@pytest.mark.parametrize(
    "strike",
    [
        pytest.param(lambda d: setattr(d, "capacity", 100), id="full"),
        pytest.param(lambda d: d.fail_next("write", VolumeFull("Full.")), id="full while writing"),
        pytest.param(lambda d: d.fail_next("flush", WorldError("EIO")), id="flush fails"),
        pytest.param(lambda d: setattr(d, "flip_parts", 7), id="gives back other bytes"),
        pytest.param(lambda d: d.fail_next("keep", WorldError("EIO")), id="no name"),
    ],
)
def test_a_drive_that_fails_holds_up_no_other(strike: Strike) -> None:
    """The other one gets the file; nothing half made has a name; nothing is left behind."""
    site, _card, (bad, good) = alone((9000, 9001))
    site.work(lambda: len(site.on(bad)) == len(site.on(good)) == 2)
    strike(bad)
    site.work()
    assert good.files[SAVED] == holed(LONG, (9000, 9001))
    assert SAVED not in bad.files
    site.no_false_word()


def test_a_drive_that_hangs_is_left() -> None:
    """The salvage ends and is told for the other drive."""
    site, _card, (bad, good) = alone((9000, 9001), stall_seconds=3)
    site.work(lambda: len(site.on(bad)) == len(site.on(good)) == 2)
    hang = bad.hang("write")
    with ending(hang):
        site.work(lambda: bool(site.told(Salvaged)))
        assert [name for name, _, _ in site.told(Salvaged)[0].kept] == ["shuttle-2"]
    site.work()
    assert SAVED not in bad.files


def test_a_card_that_goes_meanwhile_leaves_nothing_and_is_salvaged_later() -> None:
    site, card, drives = alone((9000, 9001))
    site.work(lambda: all(len(site.on(d)) == 2 for d in drives))
    card.fail_next("open", VolumeGone("The card is gone."), BAD)
    site.work()
    site.later()
    assert drives[0].files[SAVED] == holed(LONG, (9000, 9001))
    site.no_false_word()


def test_a_restart_between_name_and_word_makes_no_second_file() -> None:
    """The name was given and the catalogue does not know: the same bytes are met again."""
    site, _card, drives = alone((9000, 9001))
    site.work()
    known = [fact for fact in site.facts if not isinstance(fact, Salvaged)]
    site.catalogue._facts[:] = known
    site.start()
    site.work()
    [fact] = site.told(Salvaged)
    assert {path for _, _, path in fact.kept} == {SAVED}
    assert [p for p in drives[0].files if b"MISSING" in p] == [SAVED, SAVED + b".txt"]


def test_somebody_elses_file_of_that_name_stays() -> None:
    """P2."""
    site, _card, drives = alone((9000, 9001))
    drives[0].put(SAVED, b"theirs")
    site.work()
    assert drives[0].files[SAVED] == b"theirs"
    assert drives[0].files[SAVED + b"-2"] == holed(LONG, (9000, 9001))


def test_the_text_is_the_same_on_each_drive_and_names_the_range() -> None:
    site, _card, drives = alone((9000, 9001))
    site.work()
    texts = {drive.files[SAVED + b".txt"] for drive in drives}
    assert len(texts) == 1
    assert b"8192-12287" in texts.pop()
