"""FLAC (RFC 9639) and MPEG audio layer III (ISO/IEC 11172-3, 13818-3): what their headers say."""

from __future__ import annotations

from dataclasses import dataclass

from takehold.formats.riff import ReadAt
from takehold.model.sound import Description, Kind, WaveFormat

# The tags that such audio has in a WAVE file: the FLAC project's, and RFC 2361's for MPEG layer 3.
FLAC, MP3 = 0xF1AC, 0x0055
# ISO/IEC 11172-3, 2.4.2.3, layer III, and its low sampling frequencies; kbit/s by index 1 to 14.
_KBITS = (32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320)
_KBITS_LOW = (8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160)
_RATES = (44_100, 48_000, 32_000)
_VERSION_1, _VERSION_2 = 3, 2
_LAYER_3 = 1
_MONO = 3


def describe(read: ReadAt) -> Description | None:
    """Channels, rate, bits and, for FLAC, frames; None for any other file."""
    head = read(0, 42)
    return _flac(head) if head[:4] == b"fLaC" else _mp3(read, head)


def _flac(head: bytes) -> Description | None:
    """STREAMINFO, RFC 9639, 8.2: it is the first block, of type 0 and 34 bytes."""
    if len(head) < 42 or head[4] & 0x7F or int.from_bytes(head[5:8], "big") != 34:
        return None
    packed = int.from_bytes(head[18:26], "big")
    rate, channels = packed >> 44, (packed >> 41 & 7) + 1
    bits, frames = (packed >> 36 & 31) + 1, packed & (1 << 36) - 1
    if not rate or bits < 4:
        return None
    form = WaveFormat(FLAC, channels, rate, bits, channels * ((bits + 7) // 8))
    return Description(Kind.COMPRESSED, form, frames=frames or None)


def _mp3(read: ReadAt, head: bytes) -> Description | None:
    """The first frame, behind an ID3v2 tag if there is one; the next must begin where it ends."""
    begin = 0
    if head[:3] == b"ID3" and len(head) >= 10 and not any(byte & 0x80 for byte in head[6:10]):
        size = head[6] << 21 | head[7] << 14 | head[8] << 7 | head[9]
        begin = 10 + size + (10 if head[5] & 0x10 else 0)
    frame = _frame(read(begin, 4))
    following = _frame(read(begin + frame.length, 4)) if frame else None
    if frame is None or following is None or following.rate != frame.rate:
        return None
    # No bits a sample, and blocks of one byte, as RFC 2361's registration has it in a WAVE file.
    form = WaveFormat(MP3, frame.channels, frame.rate, 0, 1)
    return Description(Kind.COMPRESSED, form)


@dataclass(frozen=True, slots=True)
class _Frame:
    rate: int
    channels: int
    length: int


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
    length = (144_000 if first else 72_000) * kbits // rate + padding
    return _Frame(rate, 1 if bits >> 6 & 3 == _MONO else 2, length)
