"""engine/cycle over fakes: from a card that is put in to a signed day, with faults on the way."""

from __future__ import annotations

import hashlib
import json
import threading
from dataclasses import replace
from typing import Any

import pytest

from fakedisk import FakeVolume
from fakeworld import CARDS, DAY, DRIVES, Site, call_count, ending, take, within
from idleclock import IdleClock
from takehold.engine.closing import PUBLISH_PATIENCE_S
from takehold.engine.once import owing, until_quiet
from takehold.model.errors import NoRights, VolumeFull, VolumeGone, WorldError
from takehold.model.facts import Broken, Proven, Published, Revised, SameBytes, WasRead
from takehold.model.finding import Verdict
from takehold.model.settings import Role, Source

FILES = {b"DAY/T%02d.WAV" % n: take(n) for n in range(1, 4)}
PLACES = {b"Lantern Bay/2031-03-14/SND_A1/" + path: data for path, data in FILES.items()}
BACKUPS = {b"Lantern Bay/2031-03-14/SND_B1/" + path: data for path, data in FILES.items()}
ONE_CARD = CARDS[:1]
SOLE = b"Lantern Bay/2031-03-14/SND_A1/T01.WAV"


def drives(site: Site) -> tuple[FakeVolume, FakeVolume]:
    return site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")


def both(**settings: Any) -> tuple[Site, FakeVolume, FakeVolume, tuple[FakeVolume, FakeVolume]]:
    """A day with a primary and a backup card and two drives."""
    site = Site(**settings)
    return site, site.card("SND_A1", FILES), site.card("SND_B1", FILES), drives(site)


def alone(
    files: dict[bytes, bytes] = FILES, **settings: Any
) -> tuple[Site, FakeVolume, tuple[FakeVolume, FakeVolume]]:
    """A day without a backup card."""
    site = Site(sources=ONE_CARD, **settings)
    return site, site.card("SND_A1", files), drives(site)


# -- a good day


def test_from_arrival_to_ready() -> None:
    """Both cards go to both drives, each read once; the wrap is signed and READY."""
    site, primary, backup, shuttles = both()
    site.work()
    for drive in shuttles:
        assert site.on(drive) == PLACES | BACKUPS
    for card in (primary, backup):
        assert [call_count(card, "open", path) for path in FILES] == [2, 2, 2], "describe and copy"
    assert site.wrap() == f"{DAY}.r1.manifest.json"
    assert site.judged().verdict is Verdict.READY
    [revised] = site.told(Revised)
    assert revised.verdict == "READY"
    assert {p.root for p in site.told(Published)} == {d.root.identity for d in shuttles}
    for drive in shuttles:
        kept = f"Lantern Bay/{DAY}/{DAY}.r1.manifest.json".encode()
        assert drive.files[kept] == site.archive.read(DAY, f"{DAY}.r1.manifest.json")
    site.no_false_word()


def test_nothing_is_written_to_a_card_and_nothing_stays_open() -> None:
    """P1: its files are as they were, and it can be ejected."""
    site, primary, backup, _ = both()
    before = [(dict(c.files), dict(c.stamps)) for c in (primary, backup)]
    site.work()
    site.wrap()
    assert [(dict(c.files), dict(c.stamps)) for c in (primary, backup)] == before
    assert all(volume.open_trees == 0 for volume in site.disk.volumes.values())


def test_a_quiet_site_does_nothing() -> None:
    """Level-triggered: another turn reads no file and records nothing."""
    site, primary, _, _ = both()
    site.work()
    facts, reads = len(site.facts), call_count(primary, "read")
    for _ in range(3):
        assert site.engine.turn() is False
    assert (len(site.facts), call_count(primary, "read")) == (facts, reads)


def test_a_restart_finds_the_rest() -> None:
    """What is known is not copied again, what was not is copied."""
    site, primary, _, shuttles = both()
    site.work()
    primary.put(b"DAY/T09.WAV", take(9))
    reads = call_count(primary, "read", b"DAY/T01.WAV")
    site.start()
    site.work()
    assert call_count(primary, "read", b"DAY/T01.WAV") == reads
    assert all(len(site.on(drive)) == 7 for drive in shuttles)


def test_two_primary_cards_at_once() -> None:
    """Each is a load of its own with a folder of its own."""
    site, _, _, shuttles = both()
    site.card("SND_A2", {b"DAY/T01.WAV": take(11)})
    site.work()
    name = b"Lantern Bay/2031-03-14/SND_A2/DAY/T01.WAV"
    for drive in shuttles:
        assert site.on(drive) == PLACES | BACKUPS | {name: take(11)}
    site.no_false_word()


def test_once_ends_and_says_what_it_owes() -> None:
    """All proven says nothing; a drive that is away is said in a sentence."""
    site, _, _, (first, second) = both()
    second.yank()
    until_quiet(site.engine, site.wake, site.clock)
    assert any("shuttle-2 is not connected" in says for says in owing(site.engine))
    assert any("1 of 2 proven copies" in says for says in owing(site.engine))
    site.remount(second)
    until_quiet(site.engine, site.wake, site.clock)
    assert owing(site.engine) == []
    assert site.on(first) == site.on(second) == PLACES | BACKUPS


# -- P8


def test_without_a_backup_the_card_is_read_twice() -> None:
    """A second, cold read that agrees makes it READY."""
    site, card, _ = alone()
    site.work()
    site.wrap()
    reads = site.told(WasRead)
    assert len(reads) == 2 * len(FILES)
    assert call_count(card, "open", b"DAY/T01.WAV") == 3, "describe, copy, confirm"
    assert site.judged().verdict is Verdict.READY


def test_a_backup_that_was_promised_is_waited_for() -> None:
    """No second read yet, and no READY: the wrap says that no backup was seen."""
    site = Site()
    site.card("SND_A1", FILES)
    drives(site)
    site.work()
    assert len(site.told(WasRead)) == len(FILES)
    site.wrap()
    assert "backup-not-seen" in site.codes()
    assert site.judged().verdict is Verdict.HOLD


def test_a_card_that_was_misread_once_is_found_out() -> None:
    """Matching checksums over wrong bytes: the second and third read refute the first."""
    site, card, shuttles = alone({b"T01.WAV": take(1)})
    card.flip[b"T01.WAV"] = len(take(1)) - 5
    wrong = bytearray(take(1))
    wrong[-5] ^= 1
    site.work(lambda: len(site.told(WasRead)) == 1)
    card.flip.clear()
    site.work()
    assert site.judged().verdict is Verdict.HOLD
    site.later()
    site.later()
    for drive in shuttles:
        assert sorted(site.on(drive).values()) == sorted([bytes(wrong), take(1)])
    site.wrap()
    assert "first-read-wrong" in site.codes()
    assert site.recording(b"T01.WAV").version == 2
    assert [t for t in site.engine.ledger.troubles if t.startswith("rec")] == []
    holds = [f for f in site.judged().findings if f.severity.value == "hold"]
    assert holds == []
    site.no_false_word()


def test_a_date_that_was_misread_puts_no_take_in_another_day() -> None:
    """The header is read by itself first: what it tells is read again with the bytes (P8)."""
    site, card, shuttles = alone({b"T01.WAV": take(1)})
    card.flip[b"T01.WAV"] = take(1).index(DAY.encode()) + len(DAY) - 1

    asked = card.asked

    def misread_once(op: str, path: bytes, writing: bool = False) -> None:
        """The first look at the header is wrong; from then on the card is read right."""
        if op == "open" and call_count(card, "open", path):
            card.flip.clear()
        asked(op, path, writing)

    card.asked = misread_once  # type: ignore[method-assign]
    site.start()
    site.work(lambda: bool(site.engine.ledger.troubles))
    assert {t.code for t in site.engine.ledger.troubles.values()} == {"header-differs"}
    site.later()
    assert [r.day for r in site.engine.ledger.recordings.values()] == [DAY]
    assert all(site.on(drive) == {SOLE: take(1)} for drive in shuttles)
    site.wrap()
    assert site.judged().verdict is Verdict.READY
    site.no_false_word()


def test_a_header_that_was_misread_with_the_bytes_is_found_out() -> None:
    """The backup shows the same audio in other bytes: the card is read once more by itself."""
    site = Site()
    card, _ = site.card("SND_A1", {b"T01.WAV": take(1)}), drives(site)
    site.card("SND_B1", {b"T01.WAV": take(1)})
    card.flip[b"T01.WAV"] = take(1).index(b"RIFF") + 4  # a size that nobody compares with its twin
    site.work(lambda: len(site.told(WasRead)) >= 1)
    card.flip.clear()
    site.work()
    site.later()
    site.later()
    site.wrap()
    known = site.recording(b"T01.WAV")
    assert known.digests is not None
    assert known.digests.sha256 == hashlib.sha256(take(1)).hexdigest()
    site.no_false_word()


def test_a_card_that_never_reads_the_same_twice_is_not_read_for_ever() -> None:
    """Five reads at most, then it is held."""
    site, card, _ = alone({b"T01.WAV": take(1)})
    site.work(lambda: len(site.told(WasRead)) == 1)
    for number in range(12):
        card.flip[b"T01.WAV"] = 500 + number
        site.later()
    assert len(site.told(WasRead)) <= 5
    site.wrap()
    assert "reads-differ" in site.codes()
    assert site.judged().verdict is Verdict.HOLD


def test_a_touched_file_with_the_same_bytes_stays_one_version() -> None:
    """A recorder that rewrites a time: read again, no copy more."""
    site, card, shuttles = alone({b"T01.WAV": take(1)})
    site.work()
    card.put(b"T01.WAV", take(1))
    site.work()
    assert len(site.told(SameBytes)) == 1
    assert site.recording(b"T01.WAV").version == 1
    assert all(len(site.on(drive)) == 1 for drive in shuttles)
    assert site.engine.ledger.troubles == {}


def test_an_edit_is_a_second_version_beside_the_first() -> None:
    """Same audio, other metadata: both are kept, the newest counts."""
    site, card, shuttles = alone({b"T01.WAV": take(1), b"T02.WAV": take(2)})
    site.work()
    card.put(b"T01.WAV", take(1, note="plane at the end"))
    site.work()
    assert all(len(site.on(drive)) == 3 for drive in shuttles)
    assert "edited" in site.codes()
    site.no_false_word()


# -- things are pulled


def test_a_drive_that_is_pulled_and_comes_back() -> None:
    """As another mount, under another path: it gets what it lacks, from the other drive."""
    site, primary, _, (first, second) = both()
    second.fail_next("write", VolumeGone("It is gone."), None)
    site.work(lambda: bool(site.told(Proven)))
    second.yank()
    site.later()
    assert site.on(first) == PLACES | BACKUPS
    reads = call_count(primary, "read")
    site.remount(second, b"/run/media/SHUTTLE_2")
    site.work()
    assert site.on(second) == PLACES | BACKUPS
    assert call_count(primary, "read") == reads, "a proven copy serves, the card is spared"
    assert site.engine.ledger.troubles == {}
    site.no_false_word()


def test_a_card_that_is_pulled_and_comes_back_elsewhere() -> None:
    """P6: the same load, whatever its path; what was read is not read again."""
    site, card, shuttles = alone()
    card.fail_next("read", VolumeGone("The card is gone."), b"DAY/T02.WAV")
    site.work(lambda: "rec" in "".join(site.engine.ledger.troubles))
    card.yank()
    site.work()
    assert all(set(site.on(d).values()) == {FILES[b"DAY/T01.WAV"]} for d in shuttles)
    site.remount(card, b"/run/media/user/SND_A1")
    site.work()
    assert all(site.on(drive) == PLACES for drive in shuttles)
    assert len(site.engine.ledger.loads) == 1
    assert site.engine.ledger.troubles == {}


def test_a_card_that_is_pulled_while_it_is_listed() -> None:
    """The inventory ends with a word, and goes on when it is back."""
    site, card, shuttles = alone()
    card.fail_next("open", VolumeGone("The card is gone."), b"DAY/T02.WAV")
    site.work(lambda: bool(site.engine.ledger.troubles))
    assert [t.code for t in site.engine.ledger.troubles.values()] == ["volume-gone"]
    site.later()
    assert all(site.on(drive) == PLACES for drive in shuttles)
    assert site.engine.ledger.troubles == {}


def test_a_file_that_vanished_before_it_was_copied_is_said() -> None:
    """P7: it was seen, so it has an answer."""
    site = Site(sources=ONE_CARD)
    card = site.card("SND_A1", FILES)
    site.work()
    card.remove(b"DAY/T02.WAV")
    drives(site)
    site.work()
    assert "file-vanished" in site.codes()
    card.put(b"DAY/T02.WAV", FILES[b"DAY/T02.WAV"])
    site.later()
    assert "file-vanished" not in site.codes()


def test_absence_in_a_broken_listing_is_no_evidence() -> None:
    """A folder that cannot be read hides files; nothing is concluded."""
    site = Site(sources=ONE_CARD)
    card = site.card("SND_A1", FILES)
    site.work()
    card.remove(b"DAY/T02.WAV")
    card.complete = False
    site.work()
    assert site.engine.ledger.troubles == {}


# -- things fail


def test_an_unreadable_file_is_held_and_its_neighbours_are_not() -> None:
    """It is tried again, each time later, and copied when it can be opened."""
    site, card, shuttles = alone()
    site.work(lambda: len(site.engine.ledger.recordings) == 3)
    for _ in range(4):
        card.fail_next("open", NoRights("T02 cannot be opened."), b"DAY/T02.WAV")
    site.work()
    assert all(len(site.on(drive)) == 2 for drive in shuttles)
    [trouble] = site.engine.ledger.troubles.values()
    assert "T02 cannot be opened." in trouble.says
    site.wrap()
    assert "copies-short" in site.codes()
    assert site.judged().verdict is Verdict.HOLD
    waits = []
    for _ in range(3):
        [trouble] = site.engine.ledger.troubles.values()
        waits.append(trouble.retry_at - site.clock.now())
        site.later(waits[-1])
    assert waits == [5, 10, 20]
    site.later(40)
    assert all(site.on(drive) == PLACES for drive in shuttles)


def test_before_its_time_nothing_is_tried_again() -> None:
    """A drive that fails is not written to once more in every turn."""
    site, _, (bad, good) = alone({b"T01.WAV": take(1)})
    for _ in range(50):
        bad.fail_next("flush", WorldError("It failed."))
    site.work()
    assert call_count(bad, "flush") == 1
    site.work()
    assert call_count(bad, "flush") == 1
    assert len(site.on(good)) == 1


def test_a_new_mount_forgives() -> None:
    """Somebody put something in: what failed before is tried at once."""
    site, _, (bad, _) = alone({b"T01.WAV": take(1)})
    bad.fail_next("flush", WorldError("It failed."))
    site.work()
    assert site.on(bad) == {}
    site.remount(bad)
    site.work()
    assert len(site.on(bad)) == 1
    assert site.engine.ledger.troubles == {}


def test_a_full_drive_is_said_and_the_other_goes_on() -> None:
    """One sentence that names the drive; with room it goes on by itself."""
    site, _, (full, good) = alone()
    full.capacity = 100
    site.work()
    assert site.on(good) == PLACES
    assert site.on(full) == {}
    site.wrap()
    assert site.judged().verdict is Verdict.HOLD
    full.capacity = 1 << 30
    site.later()
    assert site.on(full) == PLACES
    assert site.judged().verdict is Verdict.READY


def test_a_hanging_drive_does_not_stop_the_loop() -> None:
    """Its writes hang: the other drive gets all, and when it moves again it gets the rest."""
    site, _, (bad, good) = alone(clock=IdleClock(speed=8), stall_seconds=3)
    hang = bad.hang("write")
    with ending(hang):
        site.work(lambda: site.on(good) == PLACES and not site.engine.lanes.running)
        assert site.on(bad) == {}
    assert within(30, lambda: bad.open_trees == 0)
    site.later()
    assert site.on(bad) == PLACES
    site.no_false_word()


def test_a_drive_that_hangs_when_it_is_asked_is_absent() -> None:
    """The look goes on without it, and says so."""
    site, _, (bad, good) = alone(stall_seconds=3)
    hang = bad.hang("free")
    with ending(hang):
        site.work()
        assert site.engine.now.situation.absent == ("shuttle-1",)
        assert site.engine.now.alarms["dest shuttle-1"].code == "stalled"
        assert site.on(good) == PLACES
    assert within(30, lambda: bad.open_trees == 0)
    site.later()
    assert site.on(bad) == PLACES


@pytest.mark.parametrize("off", [0, -7200, 7200])
def test_a_drive_that_hangs_at_wrap_does_not_stop_it(off: int) -> None:
    """The glance at what should be there is given up after a while, wherever the clock is set."""
    site, _, _ = alone(stall_seconds=3)
    site.work()
    bad = site.disk.volumes[b"/media/SHUTTLE_1"]
    hang = bad.hang("stamp_of")
    with ending(hang):
        number = site.catalogue.ask("wrap", DAY, site.clock.now())
        site.work(lambda: bool(site.told(Revised)))
        site.clock.set_by(off)
        site.clock.advance(PUBLISH_PATIENCE_S + 1)
        site.work(lambda: site.catalogue.answer_of(number) is not None)


def test_a_copy_that_is_altered_serves_no_other() -> None:
    """Catching up reads it, finds other bytes, and another source is taken."""
    site, _, (first, second) = alone({b"T01.WAV": take(1)})
    second.yank()
    site.work()
    [place] = site.on(first)
    first.files[place] = take(1)[:-1] + b"!"
    site.remount(second)
    site.later()
    [broken] = site.told(Broken)
    assert broken.why == "altered"
    assert site.on(second) == {place: take(1)}
    assert take(1) in site.on(first).values()
    assert site.engine.ledger.troubles == {}
    site.no_false_word()


@pytest.mark.parametrize("gone", [True, False])
def test_a_copy_that_cannot_be_read_is_not_the_only_source(gone: bool) -> None:
    """Lost, or unreadable: the card is there and is read; the trouble ends with it."""
    site, _, (first, second) = alone({b"T01.WAV": take(1)})
    second.yank()
    site.work()
    [place] = site.on(first)
    if gone:
        first.remove(place)
    else:
        for _ in range(2):
            first.fail_next("read", WorldError("It cannot be read."), place)
    site.remount(second)
    for _ in range(6):
        site.later()
    assert site.on(second) == {place: take(1)}
    assert site.engine.ledger.troubles == {}
    assert site.on(first) == {place: take(1)}


# -- wrap


def manifest(site: Site, number: int) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(site.archive.read(DAY, f"{DAY}.r{number}.manifest.json"))
    return found


def test_a_wrap_of_which_nothing_changed_writes_nothing_new() -> None:
    """The same revision is the answer."""
    site, _, _, _ = both()
    site.work()
    assert site.wrap() == site.wrap() == f"{DAY}.r1.manifest.json"
    assert len(site.told(Revised)) == 1


def test_a_late_file_makes_a_second_revision_that_names_the_first() -> None:
    """P11: by name and SHA-256; written by itself, since the day was wrapped before."""
    site, primary, backup, _ = both()
    site.work()
    site.wrap()
    for card in (primary, backup):
        card.put(b"DAY/T09.WAV", take(9))
    site.later()
    first, second = site.told(Revised)
    assert second.number == 2
    assert manifest(site, 2)["previous"]["sha256"] == first.sha256
    assert len(manifest(site, 2)["files"]) == 8
    assert all(
        f"Lantern Bay/{DAY}/{DAY}.r2.manifest.json".encode() in v.files
        for v in site.disk.volumes.values()
        if b"SHUTTLE" in v.root.path
    )


def test_a_wrap_waits_for_running_work() -> None:
    """Asked while a card is read: answered when its files are proven."""
    site, card, _ = alone()
    hang = card.hang("read")
    with ending(hang):
        site.work(lambda: call_count(card, "read") > 0)
        number = site.catalogue.ask("wrap", DAY, site.clock.now())
        for _ in range(3):
            site.engine.collect()
            site.engine.turn()
        assert site.catalogue.answer_of(number) is None
    site.work(lambda: site.catalogue.answer_of(number) is not None)
    assert site.judged().verdict is Verdict.READY


def test_a_copy_that_was_deleted_is_found_at_wrap_and_made_again() -> None:
    """The manifest is written after that, and names what is there."""
    site, _, (first, _) = alone()
    site.work()
    [place, *_] = site.on(first)
    first.remove(place)
    site.wrap()
    assert [broken.why for broken in site.told(Broken)] == ["missing"]
    assert site.on(first) == PLACES
    assert site.judged().verdict is Verdict.READY
    assert "copy-lost" in site.codes()
    site.no_false_word()


def test_a_recheck_finds_altered_bytes() -> None:
    """The altered file is left, a new copy is made beside it, and a person must look."""
    site, _, (first, _) = alone()
    site.work()
    site.wrap()
    [place, *_] = site.on(first)
    first.files[place] = bytes(len(first.files[place]))
    site.clock.advance(10)
    number = site.catalogue.ask("recheck", "shuttle-1", site.clock.now())
    site.clock.advance(10)
    site.work()
    answered = site.catalogue.answer_of(number)
    assert answered is not None
    assert [broken.why for broken in site.told(Broken)] == ["altered"]
    assert first.files[place] == bytes(len(PLACES[place]))
    assert PLACES[place] in site.on(first).values()
    assert site.judged().verdict is Verdict.HOLD
    [found] = [f for f in site.judged().findings if f.code == "copy-altered"]
    ack = json.dumps({"finding": found.id, "note": "My own test."})
    site.catalogue.ask("ack", ack, site.clock.now())
    site.work()
    assert site.judged().verdict is Verdict.READY
    site.no_false_word()


def test_a_recheck_of_a_drive_that_is_away_says_so() -> None:
    """P4: it never says that something was read again that was not."""
    site, _, (first, second) = alone()
    site.work()
    first.yank()
    number = site.catalogue.ask("recheck", "shuttle-1", site.clock.now() + 5)
    site.later(10)
    answered = site.catalogue.answer_of(number)
    assert answered is not None
    assert "not there" in answered.answer
    assert not [path for op, path in second.calls if op == "open"]


def test_a_recheck_that_cannot_read_says_so() -> None:
    """A copy that cannot be read is neither good nor altered."""
    site, _, (first, _) = alone({b"T01.WAV": take(1)})
    site.work()
    [place] = site.on(first)
    first.fail_next("open", WorldError("It cannot be read."), place)
    number = site.catalogue.ask("recheck", "shuttle-1", site.clock.now() + 5)
    site.clock.advance(10)
    site.work()
    answered = site.catalogue.answer_of(number)
    assert answered is not None
    assert answered.answer.startswith("! 1 of 1 ")
    assert site.told(Broken) == []


def test_a_manifest_that_was_kept_and_not_recorded_is_taken_up() -> None:
    """The power went between the two: the number keeps its one meaning, the chain its link."""
    site, _, _ = alone()
    site.work()
    refusal = VolumeFull("The laptop's disk is full.")
    record = site.catalogue.record

    def fail_on_revised(facts: Any) -> None:
        if any(isinstance(fact, Revised) for fact in facts):
            raise refusal
        record(facts)

    site.catalogue.record = fail_on_revised  # type: ignore[method-assign]
    site.catalogue.ask("wrap", DAY, site.clock.now())
    site.work(lambda: bool(site.archive.names(DAY)))
    raw = site.archive.read(DAY, f"{DAY}.r1.manifest.json")
    site.catalogue.record = record  # type: ignore[method-assign]
    site.clock.advance(100)
    site.start()
    assert site.wrap() == f"{DAY}.r1.manifest.json"
    assert site.archive.read(DAY, f"{DAY}.r1.manifest.json") == raw
    assert [r.number for r in site.told(Revised)] == [1]


def test_a_revision_that_could_not_be_written_is_tried_again() -> None:
    """A late file, and no room on the laptop: r2 comes when there is room."""
    site, card, _ = alone()
    site.work()
    site.wrap()
    site.archive.refuses = VolumeFull("The laptop's disk is full.")
    card.put(b"DAY/T09.WAV", take(9))
    site.later(60)
    assert f"manifest {DAY}" in site.engine.ledger.troubles
    site.archive.refuses = None
    site.later()
    assert [r.number for r in site.told(Revised)][-1] == 2
    assert site.engine.ledger.troubles == {}


def test_a_revision_that_was_owed_before_a_restart_is_written_after_it() -> None:
    """Copied, and stopped before the manifest: the next run writes it."""
    site, card, _ = alone()
    site.work()
    site.wrap()
    site.archive.refuses = VolumeFull("The laptop's disk is full.")
    card.put(b"DAY/T09.WAV", take(9))
    site.clock.advance(5)
    site.work()
    site.archive.refuses = None
    site.start()
    site.later()
    assert [r.number for r in site.told(Revised)][-1] == 2


def test_a_wrap_by_the_clock_writes_the_day() -> None:
    """Nobody asked: the time has come."""
    site, _, _ = alone(wrap_at=21 * 60 + 30)
    site.work()
    assert site.told(Revised) == []
    site.later(10 * 3600)
    assert [r.number for r in site.told(Revised)] == [1]


# -- the catalogue fails


def test_a_catalogue_that_takes_nothing_loses_nothing() -> None:
    """P4: no copy is called proven that was not recorded; when there is room all is known."""
    site, card, shuttles = alone()
    site.work(lambda: len(site.engine.ledger.recordings) == 3)
    hang = card.hang("read")
    with ending(hang):
        site.work(lambda: bool(site.engine.lanes.running))
        site.catalogue.refuses = VolumeFull("The laptop's disk is full.", "Make room.")
    for _ in range(3000):
        site.engine.collect()
        site.engine.turn()
        if not site.engine.lanes.running:
            break
        threading.Event().wait(0.02)
    proven = sum(len(held) for held in site.engine.ledger.copies.values())
    assert proven == len(site.told(Proven)), "what is known is what was recorded"
    assert site.engine.ailing
    alarm = site.engine.now.alarms["loop"]
    assert (alarm.code, alarm.do) == ("volume-full", "Make room.")
    assert "The laptop's disk is full." in alarm.says
    reads = call_count(card, "open")
    for _ in range(3):
        site.engine.collect()
        assert site.engine.turn() is False
    assert call_count(card, "open") == reads, "nothing is begun"
    site.catalogue.refuses = None
    site.work()
    assert not site.engine.ailing
    assert "loop" not in site.engine.now.alarms
    assert all(site.on(drive) == PLACES for drive in shuttles)
    assert call_count(card, "open", b"DAY/T01.WAV") <= 3, "what was told was not forgotten"
    site.no_false_word()


def test_a_catalogue_that_takes_nothing_from_the_start() -> None:
    """A card is put in and cannot even be noted: the loop says so, and goes on later."""
    site, card, shuttles = alone()
    site.catalogue.refuses = VolumeFull("The laptop's disk is full.")
    assert site.engine.turn() is False
    assert site.engine.ailing
    until_quiet(site.engine, site.wake, site.clock)
    assert any("disk is full" in says for says in owing(site.engine))
    assert call_count(card, "open") == 0
    site.catalogue.refuses = None
    site.work()
    assert all(site.on(drive) == PLACES for drive in shuttles)


def test_a_mount_table_that_cannot_be_read_is_said() -> None:
    """The loop lives, and looks again."""
    site, _, shuttles = alone()
    site.volumes.fails = WorldError("The mount table cannot be read.")
    assert site.engine.turn() is False
    assert site.engine.ailing
    site.volumes.fails = None
    site.work()
    assert all(site.on(drive) == PLACES for drive in shuttles)


# -- the config


def test_another_config_is_taken_up() -> None:
    """A drive more, from the next turn on; nothing that was owed is forgotten."""
    site, _, (first, second) = alone(destinations=())
    site.work()
    assert site.on(first) == site.on(second) == {}
    site.settings = replace(site.settings, destinations=DRIVES)
    site.engine.adopt(site.settings, site.days())
    site.work()
    assert site.on(first) == site.on(second) == PLACES


def test_a_config_read_again_forgets_no_revision_that_is_owed() -> None:
    """A late file, then a reload before its manifest could be written."""
    site, card, _ = alone()
    site.work()
    site.wrap()
    site.archive.refuses = VolumeFull("The laptop's disk is full.")
    card.put(b"DAY/T09.WAV", take(9))
    site.clock.advance(5)
    site.work()
    site.archive.refuses = None
    site.engine.adopt(site.settings, site.days())
    site.later()
    assert [r.number for r in site.told(Revised)][-1] == 2


# -- watch folders and other places


def test_a_watch_folder_is_waited_for_and_then_copied() -> None:
    """While it changes it is not read; what is known is not called unsettled."""
    source = Source("desk", Role.PRIMARY, path=b"/srv/desk")
    site = Site(sources=(source,), settle_seconds=30)
    desk = site.disk.volume(b"/srv/desk", {b"T01.WAV": take(1)})
    shuttles = drives(site)
    site.work()
    assert site.engine.now.unsettled == ("desk/T01.WAV",)
    assert call_count(desk, "open") == 0
    site.later(31)
    assert all(len(site.on(drive)) == 1 for drive in shuttles)
    site.start()
    site.work()
    assert site.engine.now.unsettled == ()


def test_nothing_is_written_to_a_card_that_answers_to_a_destination() -> None:
    """P1: the config says so by mistake; it is refused and said."""
    site = Site()
    card = site.card("SND_A1", FILES)
    site.settings = replace(
        site.settings, destinations=(replace(site.settings.destinations[0], label="SND_A1"),)
    )
    site.start()
    site.work()
    assert site.engine.now.alarms["dest shuttle-1"].code == "destination-on-card"
    assert set(card.files) == set(FILES)


def test_parts_of_an_earlier_run_are_swept_and_others_are_not() -> None:
    """At the first sight of a drive; a file that only looks alike stays."""
    site, _, (first, _) = alone()
    first.put(b"x/.takehold-0123456789abcdef.part", b"left over")
    first.put(b"x/.takehold-mine.part", b"not ours")
    site.work()
    assert b"x/.takehold-0123456789abcdef.part" not in first.files
    assert first.files[b"x/.takehold-mine.part"] == b"not ours"
