"""FLAC (RFC 9639) and MPEG audio layer III (ISO/IEC 11172-3, 13818-3): what their headers say."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from takehold.formats.riff import ReadAt
from takehold.model.sound import FLAC_TAG, Description, Kind, Span, WaveFormat

# The tags that such audio has in a WAVE file; RFC 2361's for MPEG layer 3.
FLAC, MP3 = FLAC_TAG, 0x0055
# ISO/IEC 11172-3, 2.4.2.3, layer III, and its low sampling frequencies; kbit/s by index 1 to 14.
_KBITS = (32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320)
_KBITS_LOW = (8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160)
_RATES = (44_100, 48_000, 32_000)
_VERSION_1, _VERSION_2 = 3, 2
_LAYER_3 = 1
_MONO = 3
# Bytes that are looked at together.
_STEP = 1 << 20
# A frame header of layer III, ISO/IEC 11172-3, 2.4.1.3.
_THIRD = bytes(byte for byte in range(0x10, 0xF0) if byte & 0x0C != 0x0C)
_HEADER = re.compile(rb"\xff[\xe2\xe3\xf2\xf3\xfa\xfb][" + re.escape(_THIRD) + b"]")
# Headers that belong to no frame; a file with more of them is no MP3. Chosen, no source.
_MOST_TRIES = 10_000


def describe(read: ReadAt, size: int) -> Description | None:
    """Channels, rate, bits and, for FLAC, frames; None for any other file."""
    head = read(0, 42)
    return _flac(head, size) if head[:4] == b"fLaC" else _mp3(read, head)


def most_frames(size: int) -> int:
    """What a FLAC of so many bytes can hold.

    RFC 9639, 9.1 to 9.3: a frame has 65,535 samples of each channel at most; its header, one
    subframe and its checksum take ten bytes at least.
    """
    return size // 10 * 65_535


def telling(head: bytes, frames: int) -> bytes:
    """The 42 bytes with which a FLAC of so many frames begins; none for any other file.

    STREAMINFO has 36 bits for them, 0 where they are not known (RFC 9639, 8.2).
    """
    if head[:4] != b"fLaC" or len(head) < 42 or frames >= 1 << 36:
        return b""
    packed = int.from_bytes(head[18:26], "big") >> 36 << 36 | frames
    return head[:18] + packed.to_bytes(8, "big") + head[26:42]


def _flac(head: bytes, size: int) -> Description | None:
    """STREAMINFO, RFC 9639, 8.2: it is the first block, of type 0 and 34 bytes.

    A count that the bytes cannot hold is not believed.
    """
    if len(head) < 42 or head[4] & 0x7F or int.from_bytes(head[5:8], "big") != 34:
        return None
    packed = int.from_bytes(head[18:26], "big")
    rate, channels = packed >> 44, (packed >> 41 & 7) + 1
    bits, frames = (packed >> 36 & 31) + 1, packed & (1 << 36) - 1
    if not rate or bits < 4:
        return None
    form = form_of(FLAC, channels, rate, bits)
    known = frames if 0 < frames <= most_frames(size) else None
    return Description(Kind.COMPRESSED, form, frames=known)


def form_of(tag: int, channels: int, sample_rate: int, bits: int) -> WaveFormat:
    """The format; an MP3 has 0 bits, and blocks of one byte, as RFC 2361 registers it."""
    return WaveFormat(tag, channels, sample_rate, bits, channels * ((bits + 7) // 8) or 1)


def _mp3(read: ReadAt, head: bytes) -> Description | None:
    """The first frame, behind an ID3v2 tag if there is one; the next must begin where it ends."""
    begin = _begin(head)
    frame = _frame(read(begin, 4))
    following = _frame(read(begin + frame.length, 4)) if frame else None
    if frame is None or following is None or following.rate != frame.rate:
        return None
    return Description(Kind.COMPRESSED, form_of(MP3, frame.channels, frame.rate, 0))


def _begin(head: bytes) -> int:
    """Where the first frame is: behind an ID3v2 tag."""
    if head[:3] != b"ID3" or len(head) < 10 or any(byte & 0x80 for byte in head[6:10]):
        return 0
    size = head[6] << 21 | head[7] << 14 | head[8] << 7 | head[9]
    return 10 + size + (10 if head[5] & 0x10 else 0)


@dataclass(frozen=True, slots=True)
class Frames:
    """Where the whole frames of an MP3 lie, and the size in which a decoder guesses as many."""

    span: Span
    told: int


def untold(read: ReadAt, size: int) -> Frames | None:
    """The frames of an MP3 that does not tell how many it has.

    A decoder stops at that guess, size by bit rate, which is far off where the bit rate varies,
    unless an information frame tells their number. Then, and for any other file, None. The frames
    are counted, one after the other. Raises what `read` raises.
    """
    begin = _begin(read(0, 10))
    first = read(begin, 64)
    frame = _frame(first[:4])
    if frame is None or _informs(first):
        return None
    count, end = _frames_from(read, begin, size)
    return Frames(Span(begin, end - begin), ceil(count * frame.mean))


def told_samples(read: ReadAt) -> int:
    """Samples of each channel that the information frame of an MP3 tells; 0 where none does.

    Behind its four letters stand 32 bits of flags, and if the lowest is set the count of frames
    (common practice of encoders, no standard). A frame has 1,152 samples, 576 at the low sampling
    frequencies (ISO/IEC 11172-3, 13818-3). What an encoder put around the sound is in the count.
    """
    first = read(_begin(read(0, 10)), 64)
    mark = _mark(first)
    if _frame(first[:4]) is None or mark is None or len(first) < 64 or not first[mark + 7] & 1:
        return 0
    low = int.from_bytes(first[:4], "big") >> 19 & 3 != _VERSION_1
    return int.from_bytes(first[mark + 8 : mark + 12], "big") * (576 if low else 1_152)


def _informs(first: bytes) -> bool:
    """Whether a first frame holds no sound and tells of the others."""
    return _mark(first) is not None or first[36:40] == b"VBRI"


def _mark(first: bytes) -> int | None:
    """Where the four letters stand: behind the side information (ISO/IEC 11172-3, 2.4.1.7).

    Common practice of encoders, no standard.
    """
    bits = int.from_bytes(first[:4], "big")
    mono = bits >> 6 & 3 == _MONO
    side = (17 if mono else 32) if bits >> 19 & 3 == _VERSION_1 else (9 if mono else 17)
    known = first[4 + side : 8 + side] in (b"Xing", b"Info")
    return 4 + side if known else None


def _frames_from(read: ReadAt, at: int, size: int) -> tuple[int, int]:
    """How many frames there are from an offset on within `size` bytes, and where the last ends.

    What is none between them is passed over.
    """
    window, count, tried, end = _Window(read), 0, 0, at
    while at + 4 <= size and tried < _MOST_TRIES:
        frame = _frame(window.at(at, 4))
        if frame is not None:
            at += frame.length
            if at <= size:  # of one that is cut off nothing can be decoded
                count, end = count + 1, at
            continue
        at = window.sync(at + 1, size)
        begun = _frame(window.at(at, 4))
        while begun is not None and tried < _MOST_TRIES:
            # One header alone may be anything; two in their places are frames.
            following = _frame(window.at(at + begun.length, 4))
            if following is not None and following.rate == begun.rate:
                break
            tried += 1
            at = window.sync(at + 1, size)
            begun = _frame(window.at(at, 4))
    return count, end


class _Window:
    """The bytes of a file from some place on."""

    def __init__(self, read: ReadAt) -> None:
        self._read = read
        self._base, self._block = 0, b""

    def at(self, offset: int, length: int) -> bytes:
        """So many bytes, fewer at the end."""
        if not self._base <= offset <= self._base + len(self._block) - length:
            self._base, self._block = offset, self._read(offset, _STEP)
        begin = offset - self._base
        return self._block[begin : begin + length]

    def sync(self, offset: int, size: int) -> int:
        """Where the next frame header may be; `size` where there is none."""
        while offset < size:
            self.at(offset, 4)
            found = _HEADER.search(self._block, offset - self._base)
            if found:
                return self._base + found.start()
            offset = max(self._base + len(self._block) - 2, offset + 1)
        return size


@dataclass(frozen=True, slots=True)
class _Frame:
    """`length` in bytes; `mean` without the padding that some have."""

    rate: int
    channels: int
    length: int
    mean: Fraction


def _frame(head: bytes) -> _Frame | None:
    """A frame header of layer III, ISO/IEC 11172-3, 2.4.1.3; of version 2.5 too."""
    bits = int.from_bytes(head, "big")
    version, layer = bits >> 19 & 3, bits >> 17 & 3
    index, rate_index, padding = bits >> 12 & 15, bits >> 10 & 3, bits >> 9 & 1
    if len(head) < 4 or bits >> 21 != 0x7FF or version == 1 or layer != _LAYER_3:
        return None
    if not 0 < index < 15 or rate_index == 3:
        return None
    first = version == _VERSION_1
    rate = _RATES[rate_index] // (1 if first else 2 if version == _VERSION_2 else 4)
    kbits = (_KBITS if first else _KBITS_LOW)[index - 1]
    mean = Fraction((144_000 if first else 72_000) * kbits, rate)
    return _Frame(rate, 1 if bits >> 6 & 3 == _MONO else 2, floor(mean) + padding, mean)
