"""What is measured of a payload: every format, every figure, and how much memory it takes."""

import math
import random
import struct
import subprocess
import sys
import tracemalloc

import numpy as np
import pytest
import xxhash

from measuring import agree, expected, floating, meter_of, pcm
from takehold.formats.audio import AudioMeter
from takehold.model.measured import Measured
from takehold.model.sound import BLOCK_FRAMES, Span, WaveFormat

FORMATS = [
    *(pcm(2, bits) for bits in (8, 16, 24, 32)),
    *(pcm(channels, 24) for channels in (1, 3, 8, 64)),
    pcm(2, 20),
    pcm(2, 12),
    pcm(2, 24, 4),
    pcm(1, 16, 3),
    floating(2),
    floating(5, 64),
]


def name_of(form: WaveFormat) -> str:
    return f"{form.channels}x{form.bits}in{form.block_align // form.channels}tag{form.tag}"


def noise(form: WaveFormat, frames: int, seed: int = 1) -> bytes:
    """Random samples, among them full scale, single zeros, and zeros at both ends."""
    rand, width = random.Random(seed), form.block_align // form.channels
    silent = b"\x80" if width == 1 else bytes(width)
    top = b"\xff" if width == 1 else b"\xff" * (width - 1) + b"\x7f"
    if form.tag == 3:
        letter = "<f" if width == 4 else "<d"
        cells = [struct.pack(letter, rand.uniform(-1.2, 1.2)) for _ in range(frames)]
    else:
        cells = [rand.choice((silent, top, *(rand.randbytes(width),) * 8)) for _ in range(frames)]
    cells = [silent] * (frames // 9) + cells[frames // 9 : frames - 3] + [silent] * 3
    return b"".join(cells[(n * 7) % frames] for n in range(frames * form.channels))


@pytest.mark.parametrize("form", FORMATS, ids=name_of)
@pytest.mark.parametrize("first_sample", [None, BLOCK_FRAMES * 90_000 - 100])
def test_every_format_is_measured_as_sample_by_sample(form: WaveFormat, first_sample: int | None):
    payload = noise(form, 700)
    agree(meter_of(payload, form, first_sample), expected(payload, form, first_sample))


@pytest.mark.parametrize("form", FORMATS, ids=name_of)
@pytest.mark.parametrize("step", [1, 7, 4096])
def test_chunks_may_end_anywhere(form: WaveFormat, step: int):
    payload = noise(form, 300)
    at_once = meter_of(payload, form, 47_900)
    size = 45 + len(payload)
    steps = [step] * (size // step)
    assert meter_of(payload, form, 47_900, steps, before=b"h" * 32, behind=b"t" * 13) == at_once


def test_a_long_recording_in_large_chunks_is_measured_right():
    """Several pieces and blocks, chunks of 4 MiB that end within a frame."""
    form = pcm(8, 24)
    payload = np.random.default_rng(3).integers(0, 256, 24 * 250_000, dtype="u1").tobytes()
    ours = meter_of(payload, form, 5_000, [4 << 20])
    agree(ours, expected(payload, form, 5_000))
    assert len(ours.channels[0].blocks) == 8 * 6


def test_the_payload_digest_is_that_of_the_bytes():
    payload = noise(pcm(2, 24), 100)
    assert meter_of(payload, pcm(2, 24)).digest == xxhash.xxh3_128_hexdigest(payload)


def test_a_started_frame_at_the_end_of_the_span_is_left_out():
    form, payload = pcm(2, 24), noise(pcm(2, 24), 50)
    agree(meter_of(payload + b"\x01\x02\x03\x04\x05", form), expected(payload, form))


def test_a_file_that_ends_early_counts_what_was_there():
    form, payload = pcm(2, 24), noise(pcm(2, 24), 50)
    meter = AudioMeter(Span(0, 1 << 60), form, None)
    meter.feed(payload + b"\x01\x02", 0)
    ours, whole = meter.measured(), expected(payload, form)
    assert (ours.frames, ours.digest) == (50, xxhash.xxh3_128_hexdigest(payload + b"\x01\x02"))
    agree(ours._replace(digest=whole.digest), whole)


def test_measured_may_be_asked_more_than_once_and_in_between():
    """Looking changes nothing, not even in the middle of a frame."""
    form, payload = pcm(2, 24), noise(pcm(2, 24), 500)
    meter = AudioMeter(Span(0, len(payload)), form, 47_990)
    meter.feed(payload[:1001], 0)
    assert meter.measured() == meter.measured()
    meter.feed(payload[1001:], 1001)
    agree(meter.measured(), expected(payload, form, 47_990))


def test_a_gap_in_the_chunks_is_refused():
    meter = AudioMeter(Span(0, 100), pcm(1, 16), None)
    meter.feed(bytes(10), 0)
    with pytest.raises(ValueError, match="10 is next"):
        meter.feed(bytes(10), 20)


def test_no_audio_at_all():
    ours = meter_of(b"", pcm(2, 24), 77)
    assert (ours.frames, ours.zero_tail, ours.first_block) == (0, 0, 0)
    for channel in ours.channels:
        assert (channel.blocks, channel.peak, channel.rms, channel.clipped) == (b"", 0, 0.0, 0)
        assert (channel.first_sound, channel.last_sound) == (None, None)
        assert ours.silence(channel) == 0.0


@pytest.mark.parametrize(
    "form",
    [
        WaveFormat(6, 2, 8_000, 8, 2),
        WaveFormat(1, 65, 48_000, 24, 195),
        WaveFormat(1, 65_535, 48_000, 8, 65_535),
        WaveFormat(1, 2, 48_000, 24, 7),
        WaveFormat(1, 2, 48_000, 24, 4),
        WaveFormat(1, 1, 48_000, 4, 1),
        WaveFormat(1, 1, 48_000, 64, 8),
        WaveFormat(3, 2, 48_000, 16, 4),
        WaveFormat(0xFFFE, 2, 48_000, 24, 6),
        WaveFormat(1, 1, 48_000, 16, 65_535),
    ],
    ids=str,
)
def test_of_what_is_no_pcm_only_bytes_are_measured(form: WaveFormat):
    payload = random.Random(2).randbytes(form.block_align * 3)
    digest = xxhash.xxh3_128_hexdigest(payload)
    assert meter_of(payload, form, 9) == Measured(3, digest, None, (), 9)


# What is the same audio in another container.


def channel_digests(payload: bytes, form: WaveFormat, first: int = 0) -> list[tuple[str, bytes]]:
    return [(c.digest, c.blocks) for c in meter_of(payload, form, first).channels]


def interleaved(rows: np.ndarray, width: int) -> bytes:
    """Left-justified int32 rows as little-endian containers of `width` bytes."""
    cells = np.ascontiguousarray(rows.T).view("u1").reshape(rows.shape[1], rows.shape[0], 4)
    return cells[:, :, 4 - width :].tobytes()


ROWS = np.random.default_rng(8).integers(-(2**15), 2**15, (3, 60_000)).astype("<i4") << 16


@pytest.mark.parametrize("width", [3, 4])
def test_sixteen_bits_are_the_same_in_a_wider_container(width: int):
    narrow = channel_digests(interleaved(ROWS, 2), pcm(3, 16))
    assert channel_digests(interleaved(ROWS, width), pcm(3, 8 * width)) == narrow


def test_a_mono_file_is_the_channel_of_the_poly_file():
    poly = channel_digests(interleaved(ROWS, 3), pcm(3, 24), 7)
    monos = [channel_digests(interleaved(row[None], 3), pcm(1, 24), 7) for row in ROWS]
    assert [poly] == [[mono for (mono,) in monos]]


def test_parts_split_at_another_place_share_all_whole_blocks():
    """A part that begins at any sample lies on the same grid, by its TimeReference."""
    row, start, cut = np.tile(ROWS[:1], 4), 1_000, 50_000
    whole = meter_of(interleaved(row, 3), pcm(1, 24), start)
    early = meter_of(interleaved(row[:, :cut], 3), pcm(1, 24), start)
    late = meter_of(interleaved(row[:, cut:], 3), pcm(1, 24), start + cut)
    blocks, head, tail = (m.channels[0].blocks for m in (whole, early, late))
    assert (len(blocks), len(head), len(tail), late.first_block) == (6 * 8, 2 * 8, 5 * 8, 1)
    assert head[:8] == blocks[:8]
    assert tail[8:] == blocks[16:]
    assert blocks[8:16] not in {head[8:], tail[:8]}


# The figures.


def mono(samples: list[int], bits: int = 24) -> bytes:
    return b"".join(s.to_bytes(bits // 8, "little", signed=True) for s in samples)


def figures(samples: list[int], first: int = 0, bits: int = 24) -> Measured:
    return meter_of(mono(samples, bits), pcm(1, bits), first)


TOP, BOTTOM = 2**23 - 1, -(2**23)


@pytest.mark.parametrize(
    ("samples", "peak"),
    [([0, 5, -3], 5 << 8), ([0, 5, -6], 6 << 8), ([BOTTOM], 2**31), ([TOP], 0x7FFFFF00)],
)
def test_peak_is_left_justified_to_32_bit(samples: list[int], peak: int):
    assert figures(samples).channels[0].peak == peak


def test_a_full_scale_square_wave_is_0_dbfs_and_a_sine_3_01_below():
    """RMS of a sine is peak / sqrt(2): a mathematical fact."""
    square = figures([BOTTOM, -BOTTOM - 1] * 30_000).channels[0].rms
    assert abs(20 * math.log10(square)) < 0.0004
    sine = [round(TOP * math.sin(2 * math.pi * n / 48)) for n in range(48_000)]
    assert abs(20 * math.log10(figures(sine).channels[0].rms) + 3.0103) < 0.0004


@pytest.mark.parametrize(
    ("samples", "clipped"),
    [
        ([TOP] * 2, 0),
        ([TOP] * 3, 3),
        ([BOTTOM] * 3, 3),
        ([-TOP] * 4, 4),
        ([TOP, TOP, BOTTOM, BOTTOM], 0),
        ([TOP] * 3 + [BOTTOM] * 5, 8),
        ([TOP] * 3 + [1] + [TOP] * 2, 3),
        ([1, TOP, TOP, TOP, 1, TOP, TOP, TOP, TOP], 7),
        ([TOP - 300] * 9, 0),
        ([TOP - 200] * 9, 9),
    ],
)
@pytest.mark.parametrize("before_a_piece_ends", [-3, 1, 2, 3])
def test_clipping_is_three_at_full_scale_in_a_row(
    samples: list[int], clipped: int, before_a_piece_ends: int
):
    """Wherever a piece or block ends within the run."""
    assert figures(samples, BLOCK_FRAMES - before_a_piece_ends).channels[0].clipped == clipped


def test_a_run_over_several_pieces_is_one():
    assert figures([1] + [TOP] * 150_000 + [1]).channels[0].clipped == 150_000


@pytest.mark.parametrize("at", [0, 1, 17, 47_000, 47_999, 48_000, 60_000])
@pytest.mark.parametrize(("zeros", "gap"), [(127, 0), (128, 128), (129, 129), (70_000, 70_000)])
def test_a_gap_is_a_run_of_zeros_within_sound(at: int, zeros: int, gap: int):
    samples = [0] * 300 + [9] + [7] * at + [0] * zeros + [8] * 10 + [0] * 500
    channel = figures(samples).channels[0]
    assert channel.longest_gap == gap
    assert (channel.first_sound, channel.last_sound) == (300, len(samples) - 501)
    assert channel.zeros == 800 + zeros


def test_the_longest_of_several_gaps_counts():
    sound = [1, 2, 0, 0, 3] * 100
    samples = [g for gap in (200, 700, 400, 130) for g in (*sound, *([0] * gap))] + sound
    assert figures(samples).channels[0].longest_gap == 700


def test_a_zero_tail_is_where_every_channel_is_zero():
    rows = np.full((2, 1000), 1 << 8, "<i4")
    rows[0, 600:] = 0
    rows[1, 900:] = 0
    ours = meter_of(interleaved(rows, 3), pcm(2, 24))
    assert ours.zero_tail == 100
    assert [ours.silence(c) for c in ours.channels] == [0.4, 0.1]


def test_silence_is_all_tail():
    ours = figures([0] * 100_000)
    assert (ours.zero_tail, ours.silence(ours.channels[0])) == (100_000, 1.0)
    assert (ours.channels[0].first_sound, ours.channels[0].longest_gap) == (None, 0)


def test_silence_in_8_bit_is_the_middle():
    assert meter_of(b"\x80" * 50, pcm(1, 8)).zero_tail == 50


# Floats.


@pytest.mark.parametrize("bits", [32, 64])
def test_floats_that_are_no_sound_do_not_spoil_the_figures(bits: int):
    letter = "<f" if bits == 32 else "<d"
    values = [0.5, math.nan, -0.25, math.inf, -math.inf, 0.5]
    payload = b"".join(struct.pack(letter, v) for v in values)
    channel = meter_of(payload, floating(1, bits)).channels[0]
    assert (channel.not_finite, channel.peak, channel.clipped) == (3, 0.5, 0)
    assert math.isclose(channel.rms, math.sqrt((0.25 + 0.0625 + 0.25) / 6))


@pytest.mark.parametrize("value", [3e38, 1e30, 1e-30, 1e-44])
def test_the_power_of_unusual_floats_is_right_too(value: float):
    (value,) = struct.unpack("<f", struct.pack("<f", value))
    channel = meter_of(struct.pack("<f", value) * 3_000, floating(1)).channels[0]
    assert math.isclose(channel.rms, value, rel_tol=5e-5)
    assert channel.peak == value


def test_doubles_beyond_binary32_count_as_not_finite():
    channel = meter_of(struct.pack("<dd", 1e200, -0.5), floating(1, 64)).channels[0]
    assert (channel.not_finite, channel.peak) == (1, 0.5)


def test_a_negative_zero_is_silence_but_another_digest():
    minus, plus = (meter_of(struct.pack("<f", z) * 9, floating(1)) for z in (-0.0, 0.0))
    assert minus.zero_tail == plus.zero_tail == 9
    assert minus.channels[0].digest != plus.channels[0].digest


# What it costs.


@pytest.mark.parametrize("form", [pcm(64, 32), floating(64, 64), pcm(1, 8)], ids=name_of)
def test_memory_is_bounded_whatever_the_header_claims(form: WaveFormat):
    """Less than 4 MB for any format, though the header claims an exabyte."""
    chunk = memoryview(bytes(1 << 20))
    tracemalloc.start()
    try:
        meter = AudioMeter(Span(0, 1 << 60), form, (1 << 64) - 1)
        for n in range(20):
            meter.feed(chunk, n << 20)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 4_000_000


def test_the_module_alone_does_not_import_numpy():
    """`takehold status` pays nothing for it."""
    program = "import sys, takehold.formats.audio; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], timeout=60, check=False).returncode == 0
