"""Takes of real recorders' files, and the timecode day from published values.

The recordings are not part of this project: where their folder is absent the tests are skipped.
Which files are one take is what their recorders' own file sets say, read by PyPI wavinfo.
"""

from __future__ import annotations

import os
from collections import defaultdict
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import wavinfo

from planworld import DAY, recording
from takehold.decide.takes import takes
from takehold.formats.describe import describe
from takehold.formats.timecode import day_samples
from takehold.model.recording import Recording, Stamp
from takehold.model.sound import Rate
from takehold.model.take import Take
from takeworld import found_on


@pytest.fixture(scope="module")
def folder() -> Path:
    found = Path(__file__).parents[3] / "shared" / "realwav"
    if not found.is_dir():
        pytest.skip(f"no real recordings in {found}")
    return found


def taken_in(paths: list[Path]) -> list[Recording]:
    """The recordings as a card with these files has them."""
    made = []
    for number, path in enumerate(sorted(paths), 1):
        with path.open("rb") as file:
            size = path.stat().st_size
            told = describe(lambda at, length: os.pread(file.fileno(), length, at), size)
        base = recording(number, path.name.encode(), audio=path.name.encode())
        made.append(replace(base, description=told, stamp=Stamp(size, 10**18), day=DAY))
    return made


def by_name(made: list[Recording], found: tuple[Take, ...]) -> set[frozenset[str]]:
    names = {r.id: r.path.decode() for r in made}
    return {frozenset(names[n] for n in take.files) for take in found}


def file_sets(paths: list[Path]) -> set[frozenset[str]]:
    """Files by FAMILY_UID and TOTAL_FILES, as wavinfo and the standard library read them."""
    sets = defaultdict(set)
    for path in paths:
        said = wavinfo.WavInfoReader(str(path)).ixml
        root = ET.fromstring(bytes(said.source).rstrip(b"\0"))
        sets[(said.family_uid, root.findtext("./FILE_SET/TOTAL_FILES"))].add(path.name)
    return {frozenset(names) for names in sets.values()}


@pytest.mark.parametrize(("recorder", "takes_there"), [("recorder_A", 4), ("recorder_B", 1)])
def test_the_takes_are_the_recorders_own_file_sets(folder: Path, recorder: str, takes_there: int):
    """A: three polys, and a set of two monos that was split from the first one. B: five monos."""
    paths = [p for p in (folder / recorder).iterdir() if p.suffix == ".WAV"]
    made = taken_in(paths)
    found = takes(made)
    assert by_name(made, found) == file_sets(paths)
    assert len(found) == takes_there
    assert all(take.expected == len(take.files) for take in found)


@pytest.mark.parametrize("recorder", ["recorder_A", "recorder_B"])
def test_a_complete_real_day_has_nothing_to_say_of_its_sets(folder: Path, recorder: str):
    made = taken_in(list((folder / recorder).iterdir()))
    told = {f.code for f in found_on(made)}
    assert not told & {"set-incomplete", "set-uneven", "part-gap", "part-missing", "take-twice"}
    assert not told & {"timecode-overlap", "timecode-off-clock", "tracks-unnamed", "format-changed"}


@pytest.mark.parametrize("left_out", range(5))
def test_a_real_set_without_one_of_its_files_holds(folder: Path, left_out: int):
    made = taken_in(list((folder / "recorder_B").iterdir()))
    del made[left_out]
    (found,) = [f for f in found_on(made) if f.code == "set-incomplete"]
    assert found.severity == "hold"
    assert f"4 of 5 files are there, not {left_out + 1}." in found.says


def test_a_real_set_without_its_file_set_is_tied_by_timecode_and_length(folder: Path):
    """What is left when iXML is thin: bext's TimeReference, the length, the roll, the recorder."""
    made = taken_in(list((folder / "recorder_B").iterdir()))
    thin = [
        replace(
            r,
            description=replace(
                r.description,
                metadata=replace(
                    r.description.metadata, family_uid="", total_files=None, set_index=""
                ),
            ),
        )
        for r in made
    ]
    (take,) = takes(thin)
    assert take.files == (1, 2, 3, 4, 5)


@pytest.mark.parametrize(
    ("rate", "samples"),
    [
        (Rate(24_000, 1_001), 4_151_347_200),
        (Rate(24, 1), 4_147_200_000),
        (Rate(25, 1), 4_147_200_000),
        (Rate(30_000, 1_001), 4_151_347_200),
        (Rate(30_000, 1_001, drop=True), round(Fraction(20_735_979_264, 5))),
        (Rate(30, 1), 4_147_200_000),
        (None, 4_147_200_000),
    ],
)
def test_the_timecode_day_at_48_khz(rate: Rate | None, samples: int):
    """A day at 30 has 2,592,000 labels, 2,589,408 with drop-frame (SMPTE ST 12-1)."""
    assert day_samples(48_000, rate) == samples
    assert day_samples(96_000, rate) in {2 * samples - 1, 2 * samples, 2 * samples + 1}


def test_the_monos_of_a_real_poly_are_another_generation(folder: Path):
    """A desktop program's split names its parent; without one of its files nothing is missing."""
    made = taken_in([p for p in (folder / "recorder_A").iterdir() if p.name != "A101_1_2.WAV"])
    found = takes(made)
    names = {r.id: r.path.decode() for r in made}
    assert [names[take.first] for take in found if take.derived] == ["A101_1_1.WAV"]
    told = {f.code for f in found_on(made)}
    assert not told & {"set-incomplete", "take-twice", "timecode-overlap", "channels-changed"}


def test_parents_are_what_another_reader_says(folder: Path):
    """The same elements by the standard library's parser."""
    for path in sorted((folder / "recorder_A").iterdir()):
        root = ET.fromstring(bytes(wavinfo.WavInfoReader(str(path)).ixml.source).rstrip(b"\0"))
        (made,) = taken_in([path])
        said = made.description.metadata
        assert said.parent_uid == (root.findtext("./HISTORY/PARENT_UID") or "")
        assert said.parent_name == (root.findtext("./HISTORY/PARENT_FILENAME") or "")
        assert said.types == ()
