"""What a file says of itself, from its bytes to a Description."""

import struct
from dataclasses import replace

import pytest

from takehold.formats.bwf_file import bwf, bwf_header
from takehold.formats.describe import describe
from takehold.model.sound import Description, Kind, Metadata, Rate, Span, Track, WaveFormat

FORMAT = WaveFormat(tag=1, channels=2, sample_rate=48000, bits=24, block_align=6)
SAID = Metadata(
    project="Lantern Bay",
    scene="12A",
    take="3",
    tape="R7",
    circled=True,
    note="tide & gulls <loud>",
    originator="Mixer 7",
    description="sSCENE=11\r\nsTAKE=9\r\nsTRK1=Old",
    date="2026-03-14",
    time="09:26:53",
    time_reference=(1 << 32) + 77,
    timecode_rate=Rate(24000, 1001),
    timestamp_sample_rate=48000,
    file_uid="U1",
    family_uid="F1",
    total_files=2,
    set_index="A",
    ubits="12311801",
    tracks=(Track(1, 1, "Boom", "MIX"), Track(5, 2, "Lav")),
)
AUDIO = bytes(range(240))


def described(raw: bytes) -> Description:
    return describe(lambda offset, length: raw[offset : offset + length], len(raw))


def codes(raw: bytes) -> list[str]:
    return [complaint.code for complaint in described(raw).complaints]


def patched(raw: bytes, chunk_id: bytes, size: int) -> bytes:
    """The same bytes with another size claimed by a chunk, or by RIFF."""
    at = raw.index(chunk_id) + 4
    return raw[:at] + struct.pack("<I", size) + raw[at + 4 :]


def chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + bytes(len(body) % 2)


def wave_of(*chunks: bytes) -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def test_a_sound_file_says_everything_and_nothing_is_wrong():
    header = bwf_header(FORMAT, SAID, len(AUDIO))
    assert described(bwf(FORMAT, SAID, AUDIO)) == Description(
        Kind.WAVE, FORMAT, Span(len(header), 240), 40, SAID, ()
    )


@pytest.mark.parametrize("options", [{"extensible": True}, {"rf64": True}])
def test_other_headers_say_the_same(options: dict[str, bool]):
    header = bwf_header(FORMAT, SAID, len(AUDIO), **options)
    answer = described(header + AUDIO)
    assert (answer.format, answer.metadata, answer.complaints) == (FORMAT, SAID, ())
    assert answer.data == Span(len(header), 240)


def test_a_header_for_more_than_4_gib():
    """Nobody allocates the audio that an RF64 header speaks of."""
    length = 6_000_000_000
    header = bwf_header(FORMAT, SAID, length, rf64=True)
    answer = describe(lambda o, n: header[o : o + n], len(header) + length)
    assert (answer.frames, answer.complaints) == (1_000_000_000, ())
    with pytest.raises(ValueError, match="RF64"):
        bwf_header(FORMAT, SAID, length)


def test_a_file_without_metadata():
    answer = described(bwf(FORMAT, Metadata(), AUDIO))
    assert (answer.metadata, answer.complaints) == (Metadata(), ())


def test_an_empty_file():
    assert described(b"").kind is Kind.OTHER
    assert codes(b"") == ["empty-file"]


@pytest.mark.parametrize("raw", [b"Sound report", b"\0" * 5000, b"ID3\4", b"RI"])
def test_other_files_are_no_complaint(raw: bytes):
    assert described(raw) == Description(Kind.OTHER)


@pytest.mark.parametrize("raw", [b"RIFF", b"RF64\xff\xff\xff\xffWAV ", b"RIFF\4\0\0\0AVI LIST"])
def test_riff_that_is_no_wave_is_complained_of(raw: bytes):
    assert described(raw).kind is Kind.OTHER
    assert codes(raw) == ["not-wave"]


@pytest.mark.parametrize(("riff_size", "data_size"), [(0, 0), (None, 0), (0xFFFFFFFF, 0xFFFFFFFF)])
def test_a_header_left_by_a_lost_power_supply(riff_size: int | None, data_size: int):
    raw = patched(bwf(FORMAT, SAID, AUDIO), b"data", data_size)
    raw = raw if riff_size is None else patched(raw, b"RIFF", riff_size)
    answer = described(raw)
    assert (answer.data.length, answer.frames, answer.metadata) == (240, 40, SAID)
    assert codes(raw) == ["header-unfinished"]


def test_a_file_cut_short_counts_what_is_there():
    answer = described(bwf(FORMAT, SAID, AUDIO)[:-61])
    assert (answer.data.length, answer.frames) == (179, 29)
    assert [c.code for c in answer.complaints] == ["header-untrue", "frame-cut"]


def test_a_started_frame_is_told():
    assert codes(bwf(FORMAT, SAID, AUDIO[:-2])) == ["frame-cut"]


@pytest.mark.parametrize("count", [2**53, 2**63, 2**64 - 1])
def test_a_count_of_samples_that_cannot_be_is_told_and_not_believed(count: int):
    """As erased flash reads; no row and no document could hold it (RFC 7493, section 2.2)."""
    answer = described(bwf(FORMAT, replace(SAID, time_reference=count), AUDIO))
    assert answer.metadata.time_reference is None
    assert {c.code for c in answer.complaints} >= {"bext-unreadable"}
    assert str(count) in answer.complaints[0].detail


def test_the_most_samples_that_can_be_are_believed():
    answer = described(bwf(FORMAT, replace(SAID, time_reference=2**53 - 1), AUDIO))
    assert answer.metadata.time_reference == 2**53 - 1


def test_fmt_and_data_may_be_missing():
    whole = bwf(FORMAT, Metadata(), AUDIO)
    assert codes(wave_of(chunk(b"data", AUDIO))) == ["no-fmt"]
    assert codes(wave_of(whole[12:36])) == ["no-data"]
    assert codes(wave_of(chunk(b"fmt ", bytes(16)), chunk(b"data", AUDIO))) == ["no-fmt"]
    assert described(wave_of(chunk(b"data", AUDIO))).data == Span(20, 240)


def test_a_codec_whose_blocks_are_no_frames_gives_no_count():
    adpcm = replace(FORMAT, tag=2, bits=4)
    assert described(bwf(adpcm, Metadata(), AUDIO)).frames is None
    assert described(bwf(adpcm, Metadata(), b"")).frames == 0


def test_the_last_block_of_such_a_codec_may_be_a_part_of_one():
    """Whether it is whole its bytes do not tell: RFC 2361 has many codings."""
    adpcm = replace(FORMAT, tag=0x11, bits=4, block_align=512)
    assert described(bwf(adpcm, Metadata(), AUDIO)).complaints == ()
    assert codes(bwf(replace(FORMAT, block_align=512), Metadata(), AUDIO)) == ["frame-cut"]


def test_unreadable_metadata_blocks_nothing():
    raw = wave_of(
        bwf(FORMAT, Metadata(), AUDIO)[12:], chunk(b"bext", b"short"), chunk(b"iXML", b"<BWFXML>")
    )
    answer = described(raw)
    assert (answer.frames, answer.metadata) == (40, Metadata())
    assert [c.code for c in answer.complaints] == ["bext-unreadable", "ixml-unreadable"]


def test_description_lines_serve_where_there_is_no_ixml():
    raw = bwf(FORMAT, SAID, AUDIO).replace(b"iXML", b"JUNK")
    metadata = described(raw).metadata
    assert (metadata.scene, metadata.take, metadata.tracks) == ("11", "9", (Track(1, 1, "Old"),))
    assert (metadata.time_reference, metadata.file_uid) == (SAID.time_reference, "")


def test_ixml_serves_where_there_is_no_bext():
    raw = bwf(FORMAT, SAID, AUDIO).replace(b"bext", b"JUNK")
    metadata = described(raw).metadata
    assert metadata.time_reference == SAID.time_reference
    assert (metadata.scene, metadata.date) == ("12A", "")


def test_bext_wins_where_the_timestamps_disagree():
    raw = bwf(FORMAT, SAID, AUDIO).replace(b"_LO>77<", b"_LO>78<")
    answer = described(raw)
    assert answer.metadata.time_reference == (1 << 32) + 77
    assert [c.code for c in answer.complaints] == ["metadata-disagrees"]


def test_a_timestamp_counted_at_another_rate_is_converted():
    """48048 Hz for pull-up: bext counts at the file's rate, iXML says which it counts at."""
    pulled = replace(SAID, time_reference=48_000, timestamp_sample_rate=96_000)
    raw = bwf(FORMAT, pulled, AUDIO).replace(b"_LO>48000<", b"_LO>96000<")
    assert codes(raw) == []
    alone = described(raw.replace(b"bext", b"JUNK"))
    assert alone.metadata.time_reference == 48_000


def test_ixml_that_clears_the_circle_is_believed():
    cleared = replace(SAID, circled=False, description="CIRCLED=TRUE")
    assert not described(bwf(FORMAT, cleared, AUDIO)).metadata.circled


def test_a_vast_ixml_is_not_read_whole():
    raw = bwf(FORMAT, Metadata(), AUDIO)
    raw = wave_of(raw[12:], chunk(b"iXML", b" " * (3 << 20)))
    asked: list[int] = []

    def read(offset: int, length: int) -> bytes:
        asked.append(length)
        return raw[offset : offset + length]

    assert [c.code for c in describe(read, len(raw)).complaints] == ["ixml-unreadable"]
    assert max(asked) <= (1 << 20) + 1


def test_a_failing_read_passes_through():
    def read(offset: int, length: int) -> bytes:
        raise OSError("card gone")

    with pytest.raises(OSError, match="card gone"):
        describe(read, 100)
