"""How many samples a FLAC holds, by the number in its last frame (RFC 9639, section 9).

A decoder stops at the count in the header; where that is too low, the rest would be passed over.
"""

from __future__ import annotations

import re
from functools import cache

from takehold.formats.riff import ReadAt

# Bytes of a last frame that are looked at: more than eight channels of 24 bits and 32,768 samples.
_MOST = 1 << 20
# Metadata blocks, and what looks like the header of a last frame. Chosen, no source.
_MOST_BLOCKS, _MOST_TRIES = 1_000, 8
# 9.1: fifteen bits that each frame begins with, and one that says whether blocks differ in size.
_SYNC = re.compile(rb"\xff[\xf8\xf9]")
_LONGEST_HEADER = 16
# 9.1.1; 6 and 7 stand for a size that follows in one or two bytes, less 1.
_SIZES = {1: 192} | {n: 144 << n for n in range(2, 6)} | {n: 1 << n for n in range(8, 16)}


def held_frames(read: ReadAt, size: int) -> int | None:
    """Samples of each channel, None where its last frame does not end with the file.

    A checksum does not show zeros behind it, nor that a last byte of zero is missing.
    `read` gives the bytes of a FLAC file of `size` bytes. Raises what `read` raises.
    """
    first = _first_frame(read, size)
    head = read(0, 12)
    largest = int.from_bytes(head[10:12], "big")
    if first is None or head[:4] != b"fLaC":
        return None
    begins = _sample_of(read(first, _LONGEST_HEADER), largest)
    ends = _last_sample(read(max(first, size - _MOST), _MOST), largest)
    return ends - begins[0] if begins and ends else None


def _first_frame(read: ReadAt, size: int) -> int | None:
    """Where it is: behind the last metadata block (8.1)."""
    at = 4
    for _ in range(_MOST_BLOCKS):
        block = read(at, 4)
        if len(block) < 4 or at >= size:
            return None
        at += 4 + int.from_bytes(block[1:], "big")
        if block[0] & 0x80:
            return at
    return None


def _last_sample(tail: bytes, largest: int) -> int | None:
    """The sample behind the frame that ends where the bytes do."""
    found = [match.start() for match in _SYNC.finditer(tail)]
    tried = 0
    for at in reversed(found):
        frame = _sample_of(tail[at : at + _LONGEST_HEADER], largest)
        if frame is not None:
            tried += 1
            if _crc(tail[at:], 16, 0x8005) == 0:  # 9.3: over all of the frame, and kept behind it
                return sum(frame)
        if tried == _MOST_TRIES:
            break
    return None


def _sample_of(head: bytes, largest: int) -> tuple[int, int] | None:
    """The first sample and the length of the frame that begins so; None where none does (9.1)."""
    coded = _coded(head[4:11])
    if len(head) < 5 or not _SYNC.match(head) or head[3] & 1 or coded is None:
        return None
    number, at = coded
    at += 4
    kind, rate = head[2] >> 4, head[2] & 15
    wide = {6: 1, 7: 2}.get(kind, 0)
    length = int.from_bytes(head[at : at + wide], "big") + 1 if wide else _SIZES.get(kind, 0)
    at += wide + {12: 1, 13: 2, 14: 2}.get(rate, 0)
    if not length or at >= len(head) or _crc(head[: at + 1], 8, 0x07):
        return None
    # 9.1.5: blocks of one size are counted, but for the last one, which may be shorter.
    return (number, length) if head[1] & 1 else (number * largest, length)


def _coded(raw: bytes) -> tuple[int, int] | None:
    """A number of up to 36 bits and its bytes, as UTF-8 codes a character (9.1.5)."""
    if not raw or raw[0] == 0xFF or raw[0] & 0xC0 == 0x80:
        return None
    ones = 8 - (raw[0] ^ 0xFF).bit_length()
    if ones == 0:
        return raw[0], 1
    number = raw[0] & (1 << 7 - ones) - 1
    for byte in raw[1:ones]:
        number = number << 6 | byte & 0x3F
    well = len(raw) >= ones and all(byte & 0xC0 == 0x80 for byte in raw[1:ones])
    return (number, ones) if well else None


def _crc(raw: bytes, bits: int, polynomial: int) -> int:
    """The highest bit first, from 0; over bytes with their own behind them it is 0."""
    table, mask, crc = _table(bits, polynomial), (1 << bits) - 1, 0
    for byte in raw:
        crc = (crc << 8 & mask) ^ table[crc >> bits - 8 ^ byte]
    return crc


@cache
def _table(bits: int, polynomial: int) -> list[int]:
    made, mask = [], (1 << bits) - 1
    for byte in range(256):
        crc = byte << bits - 8
        for _ in range(8):
            crc = (crc << 1 & mask) ^ (polynomial if crc >> bits - 1 else 0)
        made.append(crc)
    return made
