"""What a wrap looks at beside the facts: the copies themselves, and the manifest on the drives."""

from __future__ import annotations

from dataclasses import replace

from fakeworld import DAY, Site, call_count, take
from takehold.model.facts import Broken, Unpublished
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
    drive.stamps[place] = replace(drive.stamps[place], mtime_ns=77)
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
