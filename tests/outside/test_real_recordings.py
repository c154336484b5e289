"""Real recordings from public collections, read by us and by general-purpose tools.

The recordings are not part of this project: where their folder is absent the tests are skipped.
The expected timecodes were worked out by hand, apart from this program, from their TimeReference.
"""

import json
import os
import subprocess
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import wavinfo

from takehold.formats.audio import AudioMeter
from takehold.formats.describe import describe
from takehold.formats.timecode import label
from takehold.model.sound import Description, Kind

HARMLESS = {"header-odd", "metadata-disagrees"}


@pytest.fixture(scope="module")
def folder() -> Path:
    found = Path(__file__).parents[3] / "shared" / "realwav"
    if not found.is_dir():
        pytest.skip(f"no real recordings in {found}")
    return found


@pytest.fixture(scope="module")
def recordings(folder: Path) -> dict[str, Path]:
    """By path below the folder; the four recorders and a DAW's export."""
    return {
        str(path.relative_to(folder)): path
        for path in sorted(folder.rglob("*"))
        if path.suffix.lower() == ".wav"
    }


def described(path: Path) -> Description:
    with path.open("rb") as file:
        return describe(
            lambda offset, length: os.pread(file.fileno(), length, offset), path.stat().st_size
        )


def of(recordings: dict[str, Path], folder_name: str) -> list[Path]:
    return [path for name, path in recordings.items() if name.startswith(f"{folder_name}/")]


def from_recorders(recordings: dict[str, Path]) -> dict[str, Path]:
    return {n: p for n, p in recordings.items() if n.startswith(("recorder_", "daw_"))}


def ffprobe(path: Path) -> Any:
    command = ["ffprobe", "-v", "error", "-of", "json", "-show_format", "-show_streams", path]
    return json.loads(subprocess.run(command, capture_output=True, check=False, timeout=60).stdout)


def exiftool(paths: list[Path]) -> list[Any]:
    command = ["exiftool", "-json", "-n", *paths]
    return json.loads(subprocess.run(command, capture_output=True, check=True, timeout=60).stdout)


def test_every_recording_of_a_recorder_is_whole(recordings: dict[str, Path]):
    whole = from_recorders(recordings)
    assert len(whole) >= 12
    for name, path in whole.items():
        answer = described(path)
        assert answer.kind is Kind.WAVE, name
        assert {c.code for c in answer.complaints} <= HARMLESS, name


def test_wavinfo_agrees(recordings: dict[str, Path]):
    agreed = 0
    for name, path in from_recorders(recordings).items():
        said, ours = wavinfo.WavInfoReader(str(path)), described(path)
        assert ours.format is not None
        assert ours.metadata.time_reference == said.bext.time_reference, name
        assert ours.metadata.originator == said.bext.originator.strip(), name
        assert ours.frames == said.data.frame_count, name
        assert ours.format.channels == said.fmt.channel_count, name
        if said.ixml is None:
            continue
        agreed += 1
        mine = (ours.metadata.scene, ours.metadata.take, ours.metadata.tape)
        assert mine == (said.ixml.scene, said.ixml.take, said.ixml.tape), name
        assert ours.metadata.family_uid == said.ixml.family_uid, name
        assert [(t.channel, t.interleave, t.name) for t in ours.metadata.tracks] == [
            (int(t.channel_index), int(t.interleave_index), t.name) for t in said.ixml.track_list
        ], name
    assert agreed >= 11


def test_exiftool_agrees(recordings: dict[str, Path]):
    paths = from_recorders(recordings)
    for (name, path), said in zip(paths.items(), exiftool(list(paths.values())), strict=True):
        ours = described(path)
        assert ours.format is not None
        assert ours.metadata.time_reference == said["TimeReference"], name
        assert ours.format.sample_rate == said["SampleRate"], name
        assert ours.format.bits == said["BitsPerSample"], name
        rate = ours.metadata.timecode_rate
        if rate is not None and "BwfxmlSpeedTimecodeRate" in said:
            told = str(said["BwfxmlSpeedTimecodeRate"])
            assert abs(rate.fps - Fraction(told)) < Fraction(1, 1000), name


def test_ffprobe_counts_the_same_frames(recordings: dict[str, Path]):
    """Of all files that it opens, damaged ones too, where our header has no complaint."""
    agreed = 0
    for name, path in recordings.items():
        ours, said = described(path), ffprobe(path)
        streams = said.get("streams")
        if not streams or "duration_ts" not in streams[0] or ours.format is None:
            continue
        if {c.code for c in ours.complaints} - HARMLESS:
            continue
        assert ours.frames == streams[0]["duration_ts"], name
        assert ours.format.channels == streams[0]["channels"], name
        agreed += 1
    assert agreed >= 35


@pytest.mark.parametrize(
    ("recorder", "starts"),
    [
        ("recorder_A", {"12:39:59:00", "12:40:14:00", "12:40:15:00"}),
        ("recorder_B", {"13:36:06:04"}),
    ],
)
def test_start_timecode(recordings: dict[str, Path], recorder: str, starts: set[str]):
    met = set()
    for path in of(recordings, recorder):
        said = described(path).metadata
        assert said.time_reference is not None
        assert said.timecode_rate is not None
        met.add(label(said.time_reference, 48000, said.timecode_rate))
    assert met == starts


def test_a_mono_set_has_one_family_and_one_length(recordings: dict[str, Path]):
    monos = [described(path) for path in of(recordings, "recorder_B")]
    assert len(monos) == 5
    assert len({(m.metadata.family_uid, m.frames) for m in monos}) == 1
    assert [m.metadata.set_index for m in monos] == ["01", "02", "03", "04", "05"]
    assert {m.metadata.total_files for m in monos} == {5}
    assert [[t.channel for t in m.metadata.tracks] for m in monos] == [[1], [2], [3], [4], [5]]


def test_odd_data_without_pad_byte_is_only_odd(recordings: dict[str, Path]):
    """A desktop program made two monos of recorder A's first take."""
    answers = [described(path) for path in of(recordings, "recorder_A")]
    monos = [a for a in answers if a.format is not None and a.format.channels == 1]
    assert [[c.code for c in mono.complaints] for mono in monos] == [["header-odd"]] * 2


def test_an_odd_ixml_without_pad_byte_hides_nothing(recordings: dict[str, Path]):
    """Its bext and iXML timestamps are different in the file; bext wins."""
    (path,) = of(recordings, "recorder_D")
    ours = described(path)
    assert ours.metadata.time_reference == 4_090_608_000
    assert ours.metadata.circled
    assert [c.code for c in ours.complaints] == ["header-odd", "metadata-disagrees"]


def sound_of(path: Path) -> str:
    ours, raw = described(path), path.read_bytes()
    assert ours.data is not None
    assert ours.format is not None
    meter = AudioMeter(ours.data, ours.format)
    meter.feed(raw, 0)
    return meter.sound().digest


def test_a_re_export_has_the_same_audio_in_another_file(recordings: dict[str, Path]):
    """The collection says so: same data chunk, other bext."""
    (export,) = of(recordings, "daw_1")
    originals = [p for p in of(recordings, "recorder_A") if sound_of(p) == sound_of(export)]
    assert len(originals) == 1
    assert originals[0].read_bytes() != export.read_bytes()


@pytest.mark.parametrize(
    ("name", "codes"),
    [
        ("fmt-chunk-missing", {"no-fmt"}),
        ("data-chunk-missing", {"no-data"}),
        ("truncated-final-chunk-by-2-bytes", {"header-untrue"}),
        ("chunk-size-larger-than-bytes-remaining", {"header-untrue"}),
        ("truncated-riff-by-2-bytes", {"header-untrue"}),
        ("fmt-chunk-multiple", {"header-odd"}),
        ("data-chunk-before-fmt", {"header-odd"}),
    ],
)
def test_conformance_files_show_the_damage_in_their_names(
    recordings: dict[str, Path], name: str, codes: set[str]
):
    (path,) = [p for n, p in recordings.items() if f"mono-{name}.wav" in n]
    assert codes <= {c.code for c in described(path).complaints}


def test_conformance_files_that_are_sound_have_no_complaint(recordings: dict[str, Path]):
    sound = [p for n, p in recordings.items() if n.startswith("wellformedness/examples/")]
    assert len(sound) >= 10
    for path in sound:
        assert described(path).complaints == (), path.name


@pytest.mark.parametrize("keep", [0.3, 0.7, 0.99])
def test_a_real_recording_cut_short_says_so(recordings: dict[str, Path], keep: float):
    raw = of(recordings, "recorder_A")[0].read_bytes()
    cut = raw[: int(len(raw) * keep)]
    ours = describe(lambda offset, length: cut[offset : offset + length], len(cut))
    assert "header-untrue" in {c.code for c in ours.complaints}
    assert ours.frames == (len(cut) - 6144) // 6
