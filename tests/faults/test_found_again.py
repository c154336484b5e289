"""A state folder that was lost, and a drive of before that comes when days were begun anew."""

from __future__ import annotations

import json
from typing import Any

import pytest

from fakedisk import FakeVolume
from fakeworld import CARDS, DAY, MemoryArchive, Site, take
from memory_catalogue import MemoryCatalogue
from takehold.decide.manifest_names import names_of
from takehold.decide.receive import named_manifests
from takehold.engine.requests import ack_text
from takehold.model.facts import Met, Revised
from takehold.model.finding import Finding, Severity, Verdict

FILES = {b"DAY/T%02d.WAV" % n: take(n) for n in range(1, 4)}
FOLDER = f"Lantern Bay/{DAY}/".encode()


def wrapped(files: dict[bytes, bytes] = FILES) -> tuple[Site, FakeVolume, FakeVolume, FakeVolume]:
    """A day without a backup card, on two drives, wrapped: READY."""
    site = Site(sources=CARDS[:1])
    card, first, second = (
        site.card("SND_A1", files),
        site.drive("SHUTTLE_1"),
        site.drive("SHUTTLE_2"),
    )
    site.work()
    site.wrap()
    assert site.judged().verdict is Verdict.READY
    return site, card, first, second


def lose(site: Site) -> None:
    """Catalogue and archive are gone; the key was kept elsewhere."""
    site.catalogue = MemoryCatalogue()
    site.archive = MemoryArchive()
    site.start()


def manifest(volume: FakeVolume, number: int) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(
        volume.files[FOLDER + names_of(DAY, number)["manifest"].encode()]
    )
    return found


def test_a_day_that_only_a_late_drive_knows_is_known_again() -> None:
    """Nothing was there at the first start; the drive brings files, copies and the chain."""
    site, card, first, second = wrapped()
    for volume in (card, first, second):
        volume.yank()
    lose(site)
    site.work()
    assert not site.engine.ledger.recordings
    site.remount(first)
    site.work()
    assert {r.path for r in site.engine.ledger.day(DAY)} == set(FILES)
    assert [r.number for r in site.told(Revised)][:1] == [1]
    site.remount(second)
    site.remount(card)
    site.work()
    site.wrap()
    assert site.judged().verdict is Verdict.READY
    assert {r.path for r in site.engine.ledger.day(DAY)} == set(FILES)
    assert len(site.on(first)) == len(site.on(second)) == len(FILES), "nothing is copied again"
    assert manifest(first, 2)["previous"]["revision"] == 1
    site.no_false_word()


def test_a_second_first_revision_gets_another_number() -> None:
    """r1 was signed anew while the drive with the old r1 was away: r2 follows both."""
    site, _, first, second = wrapped()
    old = manifest(first, 1)
    first.yank()
    second.yank()
    lose(site)
    third = site.drive("SHUTTLE_1")
    site.clock.advance(60)
    site.work()
    site.wrap()
    site.remount(second)
    site.work()
    site.clock.advance(60)
    site.wrap()
    assert "manifest-not-published" not in site.codes()
    assert site.judged().verdict is Verdict.READY
    ledger = site.engine.ledger
    numbers = [r.number for r in ledger.revisions[DAY]]
    assert numbers == sorted(set(numbers))
    newest = manifest(second, numbers[-1])
    [met] = [m for m in site.told(Met) if m.ours and m.loose]
    named = [
        link["sha256"] for n in numbers[1:] for link in manifest(third, n).get("also_follows", [])
    ]
    assert named == [met.sha256], "the old r1 is named by a later one, once"
    assert manifest(third, 2)["previous"]["sha256"] != met.sha256
    assert newest["verdict"] == "READY"
    assert newest == manifest(third, numbers[-1])
    assert manifest(second, 1) == old, "what stands there is left alone"


def test_files_of_a_card_that_never_came_back_stay_in_the_day() -> None:
    """The second card is known from the drive only; its takes are in the next manifest."""
    site = Site(sources=CARDS[:1])
    kept, gone = site.card("SND_A1", FILES), site.card("SND_A2", {b"DAY/T04.WAV": take(4)})
    first, second = site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    site.work()
    site.wrap()
    for volume in (gone, first, second):
        volume.yank()
    lose(site)
    site.work()
    site.remount(first)
    site.remount(second)
    site.work()
    site.wrap()
    assert {r.path for r in site.engine.ledger.day(DAY)} == {*FILES, b"DAY/T04.WAV"}
    assert site.judged().verdict is Verdict.READY
    assert len(site.on(first)) == len(FILES) + 1, "known files are proven where they stand"
    assert kept.open_trees == 0
    site.no_false_word()


def test_a_restart_reads_no_manifest_again() -> None:
    """What was found is recorded: another start learns nothing new."""
    site, _, first, second = wrapped()
    first.yank()
    second.yank()
    lose(site)
    site.work()
    site.remount(first)
    site.remount(second)
    site.work()
    site.wrap()
    facts = len(site.facts)
    site.start()
    site.work()
    assert len(site.facts) == facts


def test_a_strangers_manifest_keeps_its_number() -> None:
    """Another cart's r1 stands on our drive: ours is r2, and a person is asked to look."""
    site = Site(sources=CARDS[:1])
    first, second = site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    name = FOLDER + names_of(DAY, 1)["manifest"].encode()
    first.put(name, b'{"not": "ours"}')
    site.card("SND_A1", FILES)
    site.work()
    assert site.wrap() == names_of(DAY, 2)["manifest"]
    assert first.files[name] == b'{"not": "ours"}'
    assert manifest(first, 2) == manifest(second, 2)
    [found] = [f for f in site.judged().findings if f.code == "manifest-of-others"]
    assert found.severity is Severity.LOOK


def test_a_manifest_that_came_to_stand_there_meanwhile() -> None:
    """Nobody saw it come: the publishing finds the name in use, and the next number is used."""
    site, card, first, _ = wrapped()
    name = FOLDER + names_of(DAY, 2)["signers"].encode()
    first.put(name, b"somebody's")
    card.put(b"DAY/T04.WAV", take(4))
    site.work()
    site.wrap()
    assert "manifest-not-published" not in site.codes()
    assert manifest(first, 3)["revision"] == 3
    assert first.files[name] == b"somebody's"


def test_a_drive_that_was_changed_for_good_is_decided_on() -> None:
    """It took no more writes, the manifest is not on it, and another drive has its place now."""
    site = Site(sources=CARDS[:1])
    first, second = site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    site.card("SND_A1", FILES)
    site.work()
    first.read_only = True
    site.wrap()
    assert {f.severity for f in _unpublished(site)} == {Severity.HOLD}
    first.yank()
    site.drive("SHUTTLE_1")
    site.work()
    [found] = _unpublished(site)
    assert found.severity is Severity.LOOK
    decide(site, found.id, "It was full; the new one goes to post.")
    site.wrap()
    assert site.judged().verdict is Verdict.READY
    newest = site.engine.ledger.newest(DAY)
    assert newest is not None
    assert newest.verdict == "READY"
    [said] = [f for f in manifest(second, newest.number)["findings"] if f["code"] == found.code]
    assert said["decision"]["note"] == "It was full; the new one goes to post."


def _unpublished(site: Site) -> list[Finding]:
    return [f for f in site.judged().findings if f.code == "manifest-not-published"]


def decide(site: Site, finding: str, note: str) -> None:
    """A person's decision, as the command stores it."""
    site.catalogue.ask("ack", ack_text(finding, note), site.clock.now())
    site.work()


@pytest.mark.parametrize(
    ("number", "ours"), [(b"999999999", 1), (b"1000000", 1), (b"999998", 999_999), (b"999999", 1)]
)
def test_a_number_that_somebody_made_up_runs_ours_not_out(number: bytes, ours: int) -> None:
    """A file of that name lies on a drive: ours is a number that `takehold receive` can read."""
    site = Site(sources=CARDS[:1])
    site.card("SND_A1", FILES)
    drive = site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    drive.put(FOLDER + b"%s.r%s.manifest.json" % (DAY.encode(), number), b"{}")
    site.work()
    assert site.wrap() == f"{DAY}.r{ours}.manifest.json"
    [group] = named_manifests(path for path in drive.files if b".r%d." % ours in path)
    assert [named.number for named in group] == [ours]
