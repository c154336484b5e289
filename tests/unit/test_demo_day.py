"""The made-up day: two cards of real files, one with a gap and one with an open header."""

from __future__ import annotations

import hashlib
import os
from datetime import date, time
from pathlib import Path

import pytest
import soundfile
from wavinfo import WavInfoReader

from takehold.cli import demo_day
from takehold.cli.demo_day import LATE, TAKES, TRACKS, UNFINISHED, DemoTake, make_cards, mend
from takehold.formats.describe import describe
from takehold.model.errors import UsageError, WorldError
from takehold.model.sound import Description

DAY = date(2026, 3, 14)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> demo_day.DemoDay:
    """The day as it is made, looked at by many and changed by none."""
    return make_cards(str(tmp_path_factory.mktemp("made") / "demo"), DAY)


@pytest.fixture
def mended(tmp_path: Path) -> demo_day.DemoDay:
    """A day of its own, mended."""
    demo = make_cards(str(tmp_path / "demo"), DAY)
    mend(demo)
    return demo


def sums(folder: str) -> dict[str, str]:
    """SHA-256 of each file below a folder, by its relative path."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in Path(folder).rglob("*")
        if path.is_file()
    }


def test_the_backup_card_lacks_one_take_and_the_open_header_is_the_only_difference(made) -> None:
    """Everything else is the same on both cards, byte for byte."""
    primary, backup = sums(made.primary), sums(made.backup)
    assert set(primary) - set(backup) == {LATE.path}
    assert set(backup) <= set(primary)
    assert {name for name in backup if primary[name] != backup[name]} == {UNFINISHED.path}


def test_both_cards_carry_notes_and_litter_and_the_drives_are_empty(made) -> None:
    """The cards look like cards that were in a desktop computer."""
    for card in (made.primary, made.backup):
        assert {"NOTES.TXT", ".DS_Store", "DAY01/._S01T01.WAV"} <= set(sums(card))
    assert [os.path.basename(drive) for drive in made.drives] == ["SHUTTLE_1", "SHUTTLE_2"]
    assert all(os.listdir(drive) == [] for drive in made.drives)


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.path)
def test_libsndfile_reads_every_file_to_its_end(mended, take: DemoTake) -> None:
    """An independent decoder (libsndfile) counts the same frames, rate, depth and channels."""
    for card in (mended.primary, mended.backup):
        info = soundfile.info(os.path.join(card, take.path))
        assert (info.frames, info.samplerate, info.channels, info.subtype) == (
            take.frames,
            48_000,
            len(TRACKS),
            "PCM_24",
        )
        samples, _ = soundfile.read(os.path.join(card, take.path))
        assert all(0.01 < abs(samples[:, channel]).max() < 1 for channel in range(len(TRACKS)))


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.path)
def test_an_independent_reader_finds_bext_and_ixml(mended, take: DemoTake) -> None:
    """PyPI's wavinfo reads the same scene, take, tracks and TimeReference."""
    found = WavInfoReader(os.path.join(mended.primary, take.path))
    assert found.bext.time_reference == take.time_reference
    assert found.bext.originator_date == "2026-03-14"
    assert (found.ixml.project, found.ixml.scene, found.ixml.take) == (
        "Lantern Bay",
        take.scene,
        take.take,
    )
    assert [track.name for track in found.ixml.track_list] == list(TRACKS)


def test_time_reference_counts_23_976_labels_exactly() -> None:
    """10:00:00:00 at 24000/1001 and 48 kHz is sample 1729728000 (SMPTE ST 12-1 arithmetic)."""
    assert DemoTake("1", "1", time(10), 1).time_reference == 1_729_728_000


def test_the_open_header_says_no_audio_though_it_is_there(made) -> None:
    """Both sizes are 0 and the file is as long as its whole twin."""
    opened = Path(made.primary, UNFINISHED.path).read_bytes()
    whole = Path(made.backup, UNFINISHED.path).read_bytes()
    at = whole.index(b"data")
    assert opened[4:8] == opened[at + 4 : at + 8] == bytes(4)
    assert opened[at + 8 :] == whole[at + 8 :]
    assert len(opened) == len(whole)


def described(path: Path) -> Description:
    """What takehold reads in a file."""
    raw = path.read_bytes()
    return describe(lambda offset, length: raw[offset : offset + length], len(raw))


def test_takehold_reads_what_was_written(made) -> None:
    """Metadata and frames come back; the open header is the only complaint on either card."""
    for take in TAKES:
        found = described(Path(made.primary, take.path))
        assert found.frames == take.frames
        assert found.metadata == demo_day.metadata(take, DAY)
        assert [complaint.code for complaint in found.complaints] == (
            ["header-unfinished"] if take is UNFINISHED else []
        )
    assert described(Path(made.backup, UNFINISHED.path)).complaints == ()


def test_mending_makes_the_cards_equal_and_shows_in_the_files_time(tmp_path: Path) -> None:
    """The late take arrives, the header is finished in place, with a newer time."""
    demo = make_cards(str(tmp_path / "demo"), DAY)
    path = Path(demo.primary, UNFINISHED.path)
    before = path.stat()
    mend(demo)
    after = path.stat()
    assert sums(demo.primary) == sums(demo.backup)
    assert (after.st_ino, after.st_size) == (before.st_ino, before.st_size)
    assert after.st_mtime > before.st_mtime


def test_the_same_day_gives_the_same_bytes(made, tmp_path: Path) -> None:
    """Nothing of it is left to chance."""
    again = make_cards(str(tmp_path / "demo"), DAY)
    assert sums(again.folder) == sums(made.folder)


def test_a_folder_in_use_is_left_alone(made) -> None:
    """A second demo in the same folder is refused in a sentence, and changes nothing."""
    before = sums(made.folder)
    with pytest.raises(UsageError, match="there already"):
        make_cards(made.folder, DAY)
    assert sums(made.folder) == before


def test_a_folder_that_takes_no_files_is_said_in_a_sentence() -> None:
    """/proc takes none, not even from root."""
    with pytest.raises(WorldError, match="could not write"):
        make_cards("/proc/demo", DAY)
