"""Files we write, read by general-purpose tools.

FFmpeg's ffprobe, ExifTool, MediaInfo, the wavinfo package and libsndfile (soundfile).
"""

import json
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import soundfile
import wavinfo

from takehold.formats.bwf_file import bwf, bwf_header
from takehold.model.sound import Metadata, Rate, Track, WaveFormat

FORMAT = WaveFormat(tag=1, channels=2, sample_rate=48000, bits=24, block_align=6)
FLOAT = WaveFormat(tag=3, channels=1, sample_rate=96000, bits=32, block_align=4)
FRAMES = 4800
REFERENCE = 2 * (1 << 32) + 1234567  # past 32 bits: TimeReferenceHigh counts
SAID = Metadata(
    project="Lantern Bay",
    scene="12A",
    take="WT1",
    tape="R7",
    circled=True,
    note="tide & gulls <loud>",
    originator="Mixer 7",
    description="sSCENE=12A",
    date="2026-03-14",
    time="09:26:53",
    time_reference=REFERENCE,
    timecode_rate=Rate(30000, 1001, drop=True),
    timestamp_sample_rate=48000,
    file_uid="U1",
    family_uid="F1",
    total_files=3,
    set_index="A",
    tracks=(Track(1, 1, "Boom", "MIX"), Track(5, 2, "Lav")),
)


def answer(*command: str | Path) -> Any:
    done = subprocess.run(command, capture_output=True, check=True, timeout=60)
    return json.loads(done.stdout)


def ffprobe(path: Path) -> Any:
    return answer("ffprobe", "-v", "error", "-of", "json", "-show_format", "-show_streams", path)


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "12A.wav"
    path.write_bytes(bwf(FORMAT, SAID, bytes(range(240)) * (FRAMES * 6 // 240)))
    return path


def test_ffprobe_reads_the_same_bext(recording: Path):
    said = ffprobe(recording)
    tags, stream = said["format"]["tags"], said["streams"][0]
    assert int(tags["time_reference"]) == REFERENCE
    assert (tags["date"], tags["creation_time"]) == (SAID.date, SAID.time)
    assert (tags["encoded_by"], tags["comment"]) == (SAID.originator, SAID.description)
    assert (stream["codec_name"], stream["channels"]) == ("pcm_s24le", 2)
    assert (stream["sample_rate"], stream["duration_ts"]) == ("48000", FRAMES)


def test_exiftool_reads_the_same_bext_and_ixml(recording: Path):
    (said,) = answer("exiftool", "-json", recording)
    assert said["TimeReference"] == REFERENCE
    assert said["DateTimeOriginal"] == "2026:03:14 09:26:53"
    assert (said["Originator"], said["Description"]) == (SAID.originator, SAID.description)
    assert (said["NumChannels"], said["SampleRate"], said["BitsPerSample"]) == (2, 48000, 24)
    texts = {
        "Project": SAID.project,
        "Scene": SAID.scene,
        "Take": SAID.take,
        "Tape": SAID.tape,
        "Circled": True,
        "Note": SAID.note,
        "FileUid": SAID.file_uid,
        "SpeedTimecodeFlag": "DF",
        "SpeedFileSampleRate": 48000,
        "SpeedAudioBitDepth": 24,
        "SpeedTimestampSamplesSinceMidnightHi": REFERENCE >> 32,
        "SpeedTimestampSamplesSinceMidnightLo": REFERENCE & 0xFFFFFFFF,
        "FileSetTotalFiles": 3,
        "FileSetFamilyUid": SAID.family_uid,
        "FileSetFileSetIndex": SAID.set_index,
        "TrackListTrackCount": 2,
    }
    assert {name: said[f"Bwfxml{name}"] for name in texts} == texts
    assert said["BwfxmlSpeedTimecodeRate"] == pytest.approx(30000 / 1001)


def test_mediainfo_reads_the_same_start(recording: Path):
    """It shows TimeReference as a delay in seconds, to the millisecond."""
    general, audio = answer("mediainfo", "--Output=JSON", recording)["media"]["track"]
    assert general["Encoded_Date"] == "2026-03-14 09:26:53"
    assert general["Producer"] == SAID.originator
    assert audio["Delay_Source"] == "Container (bext)"
    assert float(audio["Delay"]) == pytest.approx(REFERENCE / 48000, abs=0.001)
    assert (audio["SamplingCount"], audio["BitDepth"]) == (str(FRAMES), "24")


def test_wavinfo_reads_the_same_bext_and_ixml(recording: Path):
    said = wavinfo.WavInfoReader(str(recording))
    assert said.bext.time_reference == REFERENCE
    assert (said.bext.originator, said.bext.description) == (SAID.originator, SAID.description)
    assert (said.bext.originator_date, said.bext.originator_time) == (SAID.date, SAID.time)
    assert said.data.frame_count == FRAMES
    ixml = said.ixml
    assert (ixml.project, ixml.scene, ixml.take) == (SAID.project, SAID.scene, SAID.take)
    assert (ixml.tape, ixml.family_uid) == (SAID.tape, SAID.family_uid)
    tracks = [
        (int(t.channel_index), int(t.interleave_index), t.name, t.function) for t in ixml.track_list
    ]
    assert tracks == [(1, 1, "Boom", "MIX"), (5, 2, "Lav", "")]


def test_libsndfile_reads_the_same_samples(recording: Path):
    """The 24-bit words stand in the top three bytes of its 32-bit ones."""
    samples, rate = soundfile.read(str(recording), dtype="int32")
    assert (samples.shape, rate) == ((FRAMES, 2), 48000)
    assert samples[0].tolist() == [0x020100 << 8, 0x050403 << 8]
    assert soundfile.info(str(recording)).subtype == "PCM_24"


@pytest.mark.parametrize("options", [{"extensible": True}, {"rf64": True}])
@pytest.mark.parametrize("fmt", [FORMAT, FLOAT])
def test_extensible_and_rf64_headers(tmp_path: Path, options: dict[str, bool], fmt: WaveFormat):
    path = tmp_path / "x.wav"
    audio = bytes(FRAMES * fmt.block_align)
    path.write_bytes(bwf_header(fmt, SAID, len(audio), **options) + audio)
    info = soundfile.info(str(path))
    assert (info.frames, info.channels) == (FRAMES, fmt.channels)
    assert info.subtype == ("FLOAT" if fmt.tag == 3 else "PCM_24")
    said = ffprobe(path)
    assert int(said["format"]["tags"]["time_reference"]) == REFERENCE
    assert said["streams"][0]["duration_ts"] == FRAMES
    assert wavinfo.WavInfoReader(str(path)).data.frame_count == FRAMES


def test_an_odd_payload_is_padded(tmp_path: Path):
    mono = replace(FORMAT, channels=1, block_align=3)
    path = tmp_path / "x.wav"
    path.write_bytes(bwf(mono, Metadata(), bytes(3 * 7)))
    assert path.stat().st_size % 2 == 0
    assert soundfile.info(str(path)).frames == 7
    assert ffprobe(path)["streams"][0]["duration_ts"] == 7
