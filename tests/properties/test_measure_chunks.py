"""What must not change a measure, and what must."""

from __future__ import annotations

import struct
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from measuring import agree, expected, floating, meter_of, pcm
from takehold.model.measured import Measured
from takehold.model.sound import BLOCK_FRAMES, WaveFormat

FORMATS = st.one_of(
    st.builds(pcm, st.integers(1, 5), st.sampled_from([8, 12, 16, 20, 24, 32])),
    st.builds(pcm, st.integers(1, 3), st.sampled_from([16, 20]), st.sampled_from([3, 4])),
    st.builds(floating, st.integers(1, 3), st.sampled_from([32, 64])),
    st.sampled_from([pcm(64, 8), pcm(63, 24)]),
)
# Around the end of a block, or somewhere within one.
STARTS = st.one_of(
    st.none(),
    st.integers(0, 1 << 63),
    st.integers(-120, 20).map(lambda n: 200_000 * BLOCK_FRAMES + n),
)
CUTS = st.lists(st.integers(1, 900), max_size=40)
FLOATS = st.one_of(
    st.floats(-1.5, 1.5, width=32), st.sampled_from([0.0, -0.0, 1.0, -1.0]), st.floats(width=32)
)


@st.composite
def cells(draw: Any, form: WaveFormat) -> list[bytes]:
    """Containers, in runs of equal ones: zeros and full scale are frequent."""
    width = form.block_align // form.channels
    if form.tag == 3:
        pack = struct.Struct("<f" if width == 4 else "<d").pack
        cell = FLOATS.map(pack)
    else:
        zero = b"\x80" if width == 1 else bytes(width)
        top = b"\xff" if width == 1 else b"\xff" * (width - 1) + b"\x7f"
        bottom = b"\x00" if width == 1 else bytes(width - 1) + b"\x80"
        some = st.binary(min_size=width, max_size=width)
        cell = st.one_of(some, st.sampled_from([zero, zero, top, bottom]))
    runs = draw(st.lists(st.tuples(cell, st.integers(1, 200)), max_size=8))
    return [one for one, times in runs for _ in range(times)]


@st.composite
def payloads(draw: Any) -> tuple[WaveFormat, list[list[bytes]]]:
    """A format and its channels' containers."""
    form = draw(FORMATS)
    rows = [draw(cells(form)) for _ in range(min(form.channels, 3))]
    frames = min(map(len, rows))
    return form, [rows[n % len(rows)][:frames] for n in range(form.channels)]


def joined(rows: list[list[bytes]]) -> bytes:
    """Interleaved."""
    return b"".join(cell for frame in zip(*rows, strict=True) for cell in frame)


@settings(max_examples=250, deadline=None)
@given(payloads(), STARTS)
def test_the_measure_is_that_of_the_definitions(
    audio: tuple[WaveFormat, list[list[bytes]]], start: int | None
) -> None:
    """Worked out sample by sample in plain Python."""
    form, rows = audio
    agree(meter_of(joined(rows), form, start), expected(joined(rows), form, start))


@settings(max_examples=250, deadline=None)
@given(payloads(), STARTS, CUTS, st.binary(max_size=50), st.binary(max_size=50))
def test_chunking_never_changes_a_figure(
    audio: tuple[WaveFormat, list[list[bytes]]],
    start: int | None,
    cuts: list[int],
    before: bytes,
    behind: bytes,
) -> None:
    form, rows = audio
    payload = joined(rows)
    assert meter_of(payload, form, start, cuts, before, behind) == meter_of(payload, form, start)


@settings(max_examples=150, deadline=None)
@given(payloads(), STARTS, st.randoms(use_true_random=False))
def test_a_channel_is_the_same_alone_and_in_any_order(
    audio: tuple[WaveFormat, list[list[bytes]]], start: int | None, chance: Any
) -> None:
    """De-interleaved to mono files, and interleaved again in another order."""
    form, rows = audio
    width = form.block_align // form.channels
    alone = WaveFormat(form.tag, 1, form.sample_rate, form.bits, width)
    monos = [meter_of(b"".join(row), alone, start).channels[0] for row in rows]
    order = list(range(form.channels))
    chance.shuffle(order)
    poly = meter_of(joined([rows[n] for n in order]), form, start)
    for place, n in enumerate(order):
        one, other = monos[n], poly.channels[place]
        assert (one.digest, one.blocks, one.peak, one.zeros, one.longest_gap, one.clipped) == (
            *(other.digest, other.blocks, other.peak),
            *(other.zeros, other.longest_gap, other.clipped),
        )


@settings(max_examples=150, deadline=None)
@given(payloads(), STARTS, st.data())
def test_flipping_one_bit_changes_that_channel_and_that_block_only(
    audio: tuple[WaveFormat, list[list[bytes]]], start: int | None, data: Any
) -> None:
    form, rows = audio
    if not rows[0]:
        return
    channel = data.draw(st.integers(0, form.channels - 1))
    frame = data.draw(st.integers(0, len(rows[0]) - 1))
    bit = data.draw(st.integers(0, 8 * len(rows[channel][frame]) - 1))
    before = meter_of(joined(rows), form, start)
    flipped = bytearray(rows[channel][frame])
    flipped[bit // 8] ^= 1 << bit % 8
    rows = [list(row) for row in rows]
    rows[channel][frame] = bytes(flipped)
    after = meter_of(joined(rows), form, start)
    assert before.digest != after.digest
    assert changed(before, after) == {
        (channel, ((start or 0) + frame) // BLOCK_FRAMES - before.first_block)
    }


def changed(before: Measured, after: Measured) -> set[tuple[int, int]]:
    """Channels whose digest differs, each with the numbers of its blocks that do."""
    found = set()
    for n, (one, other) in enumerate(zip(before.channels, after.channels, strict=True)):
        blocks = {
            at // 8
            for at in range(0, len(one.blocks), 8)
            if one.blocks[at : at + 8] != other.blocks[at : at + 8]
        }
        assert (one.digest != other.digest) == bool(blocks)
        found |= {(n, block) for block in blocks}
    return found


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 4), st.integers(1, 3), st.data(), STARTS)
def test_the_bit_depth_of_the_container_changes_nothing(
    channels: int, width: int, data: Any, start: int | None
) -> None:
    """Zeros added below; 8 bits become signed."""
    payload = data.draw(st.binary(max_size=600))
    payload = payload[: len(payload) // (channels * width) * channels * width]
    wider = bytearray()
    for at in range(0, len(payload), width):
        cell = payload[at : at + width]
        wider += b"\x00" + (bytes([cell[0] ^ 0x80]) if width == 1 else cell)
    narrow = meter_of(payload, pcm(channels, 8 * width), start)
    wide = meter_of(bytes(wider), pcm(channels, 8 * width + 8), start)
    assert narrow.zero_tail == wide.zero_tail
    for one, other in zip(narrow.channels, wide.channels, strict=True):
        assert (one.digest, one.blocks, one.peak) == (other.digest, other.blocks, other.peak)
