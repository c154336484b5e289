"""What a wrap looks at beside the facts: the copies themselves, and the manifest on the drives."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fakeworld import DAY, Site, call_count, take
from takehold.model.errors import WorldError
from takehold.model.facts import Broken, Met, Unpublished
from takehold.model.finding import Verdict

FILES = {b"T%02d.WAV" % n: take(n) for n in range(1, 4)}


def wrapped() -> tuple[Site, bytes]:
    """A READY day, wrapped; and the path of its first copy."""
    site = Site()
    site.card("SND_A1", FILES)
    site.card("SND_B1", FILES)
    for label in ("SHUTTLE_1", "SHUTTLE_2"):
        site.drive(label)
    site.work()
    assert site.wrap() == f"{DAY}.r1.manifest.json"
    assert site.judged().verdict is Verdict.READY
    return site, site.recording(b"T01.WAV").place


def test_a_copy_that_shows_another_time_is_read_again_before_the_day_is_signed() -> None:
    """Same size, other bytes: the altered copy is found, and one is made beside it."""
    site, place = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_1"]
    altered = bytearray(drive.files[place])
    altered[-1] ^= 1
    drive.put(place, bytes(altered))
    site.wrap()
    [broken] = site.told(Broken)
    assert (broken.why, broken.path) == ("altered", place)
    assert site.judged().verdict is Verdict.HOLD
    assert "copy-altered" in site.codes()
    assert drive.files[place] == bytes(altered), "it is left alone (P2)"


def test_a_copy_with_another_time_and_the_same_bytes_is_fine() -> None:
    """A drive that was in another computer: read once, and known by its new time from then on."""
    site, place = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_1"]
    drive.stamps[place] = drive.stamps[place]._replace(mtime_ns=77)
    site.wrap()
    assert not site.told(Broken)
    reads = call_count(drive, "read", place)
    site.wrap()
    assert call_count(drive, "read", place) == reads
    assert site.judged().verdict is Verdict.READY


def test_a_manifest_that_was_deleted_from_a_drive_is_put_there_again() -> None:
    site, _ = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_2"]
    gone = [path for path in drive.files if b".r1." in path]
    for path in gone:
        drive.remove(path)
    site.wrap()
    assert set(gone) <= set(drive.files)
    assert [fact.number for fact in site.told(Unpublished)] == [1]


@pytest.mark.parametrize("ending", [b".manifest.json", b".sha256", b".xxh64", b".signers"])
def test_a_manifest_or_list_that_was_altered_on_a_drive_is_found(ending: bytes) -> None:
    """At the same length: it is left alone, ours gets the next number, and a person is told."""
    site, _ = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_2"]
    [path] = [path for path in drive.files if path.endswith(b".r1" + ending)]
    altered = bytearray(drive.files[path])
    altered[40] ^= 1
    drive.put(path, bytes(altered))
    assert site.wrap() == f"{DAY}.r2.manifest.json"
    assert drive.files[path] == bytes(altered), "it is left alone (P2)"
    assert path.replace(b".r1.", b".r2.") in drive.files
    assert "manifest-of-others" in site.codes()
    assert site.wrap() == f"{DAY}.r2.manifest.json"


@pytest.mark.parametrize("line", [0, 2, 5])
def test_lists_that_lack_a_file_are_found(line: int) -> None:
    """Both of them, as a file system's repair or a hand leaves them: all tools would pass."""
    site, _ = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_2"]
    for path in [path for path in drive.files if path.endswith((b".r1.sha256", b".r1.xxh64"))]:
        lines = drive.files[path].splitlines(keepends=True)
        drive.put(path, b"".join(lines[:line] + lines[line + 1 :]))
    assert site.wrap() == f"{DAY}.r2.manifest.json"
    assert "manifest-of-others" in site.codes()
    [path] = [path for path in drive.files if path.endswith(b".r2.sha256")]
    assert len(drive.files[path].splitlines()) == 6
    assert site.wrap() == f"{DAY}.r2.manifest.json"


def test_a_list_that_is_true_still_is_not_taken_for_altered() -> None:
    """A copy was lost since, and made again: the list of before names it rightly."""
    site, place = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_2"]
    drive.remove(place)
    site.wrap()
    site.wrap()
    assert place in drive.files
    assert not site.told(Unpublished)
    assert not site.told(Met)


def test_a_manifest_of_the_production_of_before_is_not_put_into_the_folder_of_this_one() -> None:
    """Its name was changed in the config: that revision lies where its files do."""
    site, _ = wrapped()
    site.settings = replace(site.settings, production="Other Bay")
    site.disk.volumes[b"/media/SND_A1"].put(b"T04.WAV", take(4))
    site.engine = site.start()
    site.work()
    site.wrap()
    drives = [site.disk.volumes[b"/media/" + label] for label in (b"SHUTTLE_1", b"SHUTTLE_2")]
    there = [path for drive in drives for path in drive.files if path.startswith(b"Other Bay")]
    assert len([path for path in there if b".r2.manifest.json" in path]) == 4
    assert not [path for path in there if b".r1." in path]


def test_a_recheck_reads_the_manifests_too() -> None:
    site, _ = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_1"]
    [path] = [path for path in drive.files if path.endswith(b".r1.manifest.json")]
    drive.put(path, drive.files[path].replace(b"Lantern", b"lantern"))
    number = site.catalogue.ask("recheck", "", site.clock.now())
    site.work(lambda: site.catalogue.answer_of(number) is not None)
    answered = site.catalogue.answer_of(number)
    assert answered is not None
    assert answered.answer.startswith("! Read again: 12 copies. Of " + DAY)
    site.work()
    assert path.replace(b".r1.", b".r2.") in drive.files


def test_a_kept_manifest_that_has_rotted_is_not_published() -> None:
    """The drive that lost it does not get the bad one; the next revision is whole, and said."""
    site, _ = wrapped()
    kept = site.archive.kept[DAY]
    name = f"{DAY}.r1.manifest.json"
    good, kept[name] = kept[name], kept[name].replace(b"Lantern", b"lantern")
    drive = site.disk.volumes[b"/media/SHUTTLE_2"]
    for path in [path for path in drive.files if b".r1." in path]:
        drive.remove(path)
    site.wrap()
    assert not [path for path in drive.files if path.endswith(b".r1.manifest.json")]
    assert [path for path in drive.files if path.endswith(b".r2.manifest.json")]
    [found] = [f for f in site.judged().findings if f.code == "manifest-not-published"]
    assert name in found.says
    kept[name] = good
    site.later()
    site.wrap()
    assert [path for path in drive.files if path.endswith(b".r1.manifest.json")]
    assert site.judged().verdict is Verdict.READY


def test_a_kept_manifest_that_has_rotted_is_signed_anew() -> None:
    """Nothing else changed."""
    site, _ = wrapped()
    name = f"{DAY}.r1.manifest.json.sig"
    site.archive.kept[DAY][name] = b"rotten"
    assert site.wrap() == f"{DAY}.r2.manifest.json"
    assert site.wrap() == f"{DAY}.r2.manifest.json"


def test_an_older_clone_of_a_drive_is_looked_at_when_it_comes() -> None:
    """Not only at the next wrap: it lacks a file and the manifest, and gets both."""
    site, place = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_2"]
    drive.yank()
    site.work()
    for path in [path for path in drive.files if path == place or b".r1." in path]:
        drive.remove(path)
    site.remount(drive)
    site.work()
    assert place in drive.files
    assert [path for path in drive.files if path.endswith(b".manifest.json")]
    assert [broken.why for broken in site.told(Broken)] == ["missing"]


def test_a_copy_with_another_time_is_read_when_its_drive_comes_and_once() -> None:
    site, place = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_2"]
    drive.yank()
    site.work()
    altered = bytearray(drive.files[place])
    altered[-1] ^= 1
    drive.put(place, bytes(altered))
    site.remount(drive)
    site.work()
    assert [(broken.why, broken.path) for broken in site.told(Broken)] == [("altered", place)]
    looks = call_count(drive, "stamp_of", place)
    site.work()
    assert call_count(drive, "stamp_of", place) == looks


def test_a_drive_that_fails_when_it_comes_is_looked_at_later() -> None:
    site, place = wrapped()
    drive = site.disk.volumes[b"/media/SHUTTLE_2"]
    drive.yank()
    site.work()
    drive.remove(place)
    site.remount(drive)
    drive.fail_next("stamp_of", WorldError("The device gives errors."))
    site.engine.turn()
    assert not site.told(Broken)
    site.work()
    assert [broken.path for broken in site.told(Broken)] == [place]
    assert place in drive.files
