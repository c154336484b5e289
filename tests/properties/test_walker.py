"""For any bytes: an answer, bounded reads; for any recording: it reads back as written."""

from hypothesis import given, settings
from hypothesis import strategies as st

from takehold.formats.bwf_file import bwf, bwf_header
from takehold.formats.describe import MOST_SAMPLES, describe
from takehold.formats.riff import MAX_CHUNKS, MAX_DS64, NotWave, walk
from takehold.formats.timecode import rate_named
from takehold.model.sound import Kind, Metadata, Span, Track, WaveFormat

WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Co", "Cn")), max_size=12
).map(str.strip)
RATES = st.sampled_from(["23.976", "24", "25", "29.97", "29.97df", "30", "59.94df"]).map(rate_named)
FORMATS = st.builds(
    lambda channels, rate, size: WaveFormat(1, channels, rate, size * 8, size * channels),
    st.integers(1, 32),
    st.sampled_from([44100, 48000, 96000]),
    st.integers(1, 4),
)


@st.composite
def metadata(draw: st.DrawFn, sample_rate: int) -> Metadata:
    names = draw(st.lists(WORDS, max_size=4))
    return Metadata(
        project=draw(WORDS),
        scene=draw(WORDS),
        take=draw(WORDS),
        tape=draw(WORDS),
        circled=draw(st.booleans()),
        note=draw(WORDS),
        originator=draw(st.text("abc xyz", max_size=32)).strip(),
        description=draw(WORDS.filter(lambda word: "=" not in word)),
        date="2026-03-14",
        time="09:26:53",
        time_reference=draw(st.integers(0, MOST_SAMPLES)),
        timecode_rate=draw(st.none() | RATES),
        timestamp_sample_rate=sample_rate,
        file_uid=draw(WORDS),
        family_uid=draw(WORDS),
        total_files=draw(st.none() | st.integers(1, 99)),
        set_index=draw(WORDS),
        tracks=tuple(Track(n + 3, n, name) for n, name in enumerate(names, 1)),
    )


def piece() -> st.SearchStrategy[bytes]:
    """Chunks that lie about their size, and plain bytes."""
    ids = st.sampled_from([b"fmt ", b"data", b"bext", b"iXML", b"ds64", b"LIST", b"\0\0\0\0"])
    sizes = st.sampled_from([0, 1, 16, 24, 28, 40, 602, 0x7FFFFFFF, 0xFFFFFFFF]).map(
        lambda size: size.to_bytes(4, "little")
    )
    bodies = st.binary(max_size=60) | st.binary(min_size=602, max_size=610)
    return st.tuples(ids, sizes, bodies).map(b"".join) | bodies


HOSTILE = st.tuples(
    st.sampled_from([b"RIFF", b"RF64", b"BW64", b"RIFX", b""]),
    st.binary(min_size=4, max_size=4),
    st.sampled_from([b"WAVE", b"AVI "]),
    st.lists(piece(), max_size=8).map(b"".join),
).map(b"".join)


class Bounded:
    """Reads from bytes, and keeps how much was asked for."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        self.calls = 0
        self.longest = 0

    def __call__(self, offset: int, length: int) -> bytes:
        assert offset >= 0
        assert length >= 0
        self.calls += 1
        self.longest = max(self.longest, length)
        return self.raw[offset : offset + length]


@settings(max_examples=400)
@given(raw=st.binary(max_size=200) | HOSTILE, beyond=st.integers(0, 3))
def test_any_bytes_are_described_with_bounded_reads(raw: bytes, beyond: int):
    """`beyond`: the file may have shrunk since its size was asked."""
    read = Bounded(raw)
    answer = describe(read, len(raw) + beyond)
    assert read.longest <= (1 << 20) + 1
    assert read.calls <= 2 * len(raw) // 8 + 10
    if answer.kind is Kind.WAVE and answer.data is not None:
        assert 0 <= answer.data.offset <= answer.data.offset + answer.data.length
        assert answer.data.offset + answer.data.length <= len(raw) + beyond
    if answer.format is not None and answer.frames is not None and answer.data is not None:
        assert answer.frames * answer.format.block_align <= answer.data.length


@settings(max_examples=400)
@given(raw=HOSTILE)
def test_any_walk_goes_forward_inside_the_file(raw: bytes):
    read = Bounded(raw)
    try:
        chunks = walk(read, len(raw)).chunks
    except NotWave:
        return
    assert read.longest <= MAX_DS64
    assert len(chunks) <= MAX_CHUNKS
    at = 12
    for chunk in chunks:
        assert chunk.offset >= at + 8
        assert chunk.present <= chunk.claimed or chunk.claimed == 0
        at = chunk.offset + chunk.present
    assert at <= len(raw)


@given(data=st.data(), fmt=FORMATS, payload=st.binary(max_size=200))
def test_a_written_recording_reads_back(data: st.DataObject, fmt: WaveFormat, payload: bytes):
    said = data.draw(metadata(fmt.sample_rate))
    raw = bwf(fmt, said, payload)
    answer = describe(Bounded(raw), len(raw))
    assert answer.format == fmt
    assert answer.metadata == said
    assert answer.data == Span(len(bwf_header(fmt, said, len(payload))), len(payload))
    assert answer.frames == len(payload) // fmt.block_align
    cut = len(payload) % fmt.block_align > 0
    assert [c.code for c in answer.complaints] == ["frame-cut"] * cut


@given(fmt=FORMATS, frames=st.integers(1, 50), cut=st.data())
def test_a_file_cut_anywhere_says_so(fmt: WaveFormat, frames: int, cut: st.DataObject):
    """Card pulled early: never a cut file that looks whole."""
    raw = bwf(fmt, Metadata(scene="1"), bytes(frames * fmt.block_align))
    short = raw[: cut.draw(st.integers(1, len(raw) - 1 - (frames * fmt.block_align) % 2))]
    answer = describe(Bounded(short), len(short))
    assert answer.kind is Kind.OTHER or answer.complaints
