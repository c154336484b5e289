"""The measure of an audio payload, worked out sample by sample in plain Python: slow and simple.

Nothing of the product's way of counting is used, only its nouns and its stated definitions.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable, Sequence
from itertools import groupby, pairwise

import xxhash

from takehold.formats.audio import AudioMeter
from takehold.model.measured import Channel, Measured
from takehold.model.sound import BLOCK_FRAMES, Coding, Span, WaveFormat

# 0x7FFF0000 as a share of 2**31; at least so much is full scale.
FULL_SCALE = 0x7FFF0000


def pcm(channels: int, bits: int, width: int | None = None) -> WaveFormat:
    """An integer format; `width` are the bytes of a container."""
    width = width or (bits + 7) // 8
    return WaveFormat(1, channels, 48_000, bits, channels * width)


def floating(channels: int, bits: int = 32) -> WaveFormat:
    """A float format."""
    return WaveFormat(3, channels, 48_000, bits, channels * bits // 8)


def meter_of(
    payload: bytes,
    form: WaveFormat,
    first_sample: int | None = None,
    steps: Iterable[int] = (),
    before: bytes = b"",
    behind: bytes = b"",
) -> Measured:
    """The product's measure, fed with chunks of the sizes `steps`, then with all the rest."""
    raw = memoryview(before + payload + behind)
    meter = AudioMeter(Span(len(before), len(payload)), form, first_sample)
    at = 0
    for step in (*steps, len(raw)):
        meter.feed(raw[at : at + step], at)
        at = min(at + step, len(raw))
    return meter.measured()


def samples_of(payload: bytes, form: WaveFormat) -> list[list[int | float]]:
    """Each channel's samples: integers left-justified to 32 bit, floats as they are."""
    width = form.block_align // form.channels
    whole = len(payload) // form.block_align * form.block_align
    cells = [payload[n : n + width] for n in range(0, whole, width)]
    values = [_value(cell, form.tag) for cell in cells]
    return [values[n :: form.channels] for n in range(form.channels)]


def _value(cell: bytes, tag: int) -> int | float:
    if tag == 3:
        value: float = struct.unpack("<f" if len(cell) == 4 else "<d", cell)[0]
        return value
    if len(cell) == 1:
        return (cell[0] - 128) << 24
    return int.from_bytes(cell, "little", signed=True) << (32 - 8 * len(cell))


def expected(payload: bytes, form: WaveFormat, first_sample: int | None = None) -> Measured:
    """What should be measured of a payload of whole frames."""
    coding = Coding.INTEGER if form.tag == 1 else Coding(f"float{form.bits}")
    first = first_sample or 0
    channels = tuple(
        _channel(samples, coding, form.bits, first) for samples in samples_of(payload, form)
    )
    frames = len(payload) // form.block_align
    return Measured(frames, xxhash.xxh3_128_hexdigest(payload), coding, channels, first)


def _channel(samples: Sequence[int | float], coding: Coding, bits: int, first: int) -> Channel:
    letter = {Coding.INTEGER: "i", Coding.FLOAT32: "f", Coding.FLOAT64: "d"}[coding]
    packed = [struct.pack("<" + letter, sample) for sample in samples]
    usable = [s if abs(s) < 2.0**128 else 0 for s in samples]  # NaN is not below, either
    sounding = [n for n, s in enumerate(samples) if s != 0]
    peak = max(map(abs, usable), default=0)
    scale = 2**31 if coding is Coding.INTEGER else 1
    energy = math.fsum((u / scale) ** 2 for u in usable)
    full = FULL_SCALE if coding is Coding.INTEGER else FULL_SCALE / 2**31
    if coding is Coding.INTEGER and bits < 16:
        full = (2 ** (bits - 1) - 1) << (32 - bits)
    return Channel(
        digest=xxhash.xxh3_128_hexdigest(b"".join(packed)),
        blocks=_blocks(packed, first),
        peak=peak if coding is Coding.INTEGER else float(peak),
        rms=math.sqrt(energy / len(samples)) if samples else 0.0,
        zeros=len(samples) - len(sounding),
        longest_gap=_longest_gap(sounding),
        clipped=_clipped(usable, full),
        first_sound=sounding[0] if sounding else None,
        last_sound=sounding[-1] if sounding else None,
        not_finite=sum(not abs(s) < 2.0**128 for s in samples),
    )


def _blocks(packed: list[bytes], first: int) -> bytes:
    numbered = groupby(enumerate(packed), key=lambda pair: (first + pair[0]) // BLOCK_FRAMES)
    return b"".join(xxhash.xxh3_64_digest(b"".join(p for _, p in block)) for _, block in numbered)


def _longest_gap(sounding: list[int]) -> int:
    gaps = [after - before - 1 for before, after in pairwise(sounding)]
    return max((gap for gap in gaps if gap >= 128), default=0)


def _clipped(samples: Sequence[int | float], full: int | float) -> int:
    signs = [(s >= full) - (s <= -full) for s in samples]
    runs = [(sign, len(list(run))) for sign, run in groupby(signs)]
    return sum(length for sign, length in runs if sign and length >= 3)


def agree(ours: Measured, theirs: Measured) -> None:
    """Equal in everything, in RMS within the 0.0004 dB that is stated."""
    assert (ours.frames, ours.digest, ours.coding, ours.first_sample) == (
        theirs.frames,
        theirs.digest,
        theirs.coding,
        theirs.first_sample,
    )
    for mine, other in zip(ours.channels, theirs.channels, strict=True):
        for name in Channel.__slots__:
            if name != "rms":
                assert getattr(mine, name) == getattr(other, name), name
        assert math.isclose(mine.rms, other.rms, rel_tol=5e-5, abs_tol=1e-40)
