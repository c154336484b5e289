"""The `fmt ` chunk (Microsoft WAVEFORMATEX and WAVEFORMATEXTENSIBLE)."""

from __future__ import annotations

import struct

from takehold.model.sound import Complaint, WaveFormat

MAX_BODY = 40
EXTENSIBLE = 0xFFFE
# The SubFormat GUID of a classic tag: the tag as u16, then this.
GUID_TAIL = bytes.fromhex("000000001000800000aa00389b71")
# PCM, float, A-law, mu-law: one block is one sample frame.
FRAMED = frozenset({1, 3, 6, 7})
ENCODINGS = {1: "PCM", 3: "float", 6: "A-law", 7: "mu-law"}
# Some of the others, as RFC 2361 registers their tags.
CODINGS = {0x0002: "ADPCM", 0x0011: "ADPCM", 0x0050: "MPEG audio", 0x0055: "MPEG layer 3"}


def parse_format(body: bytes) -> WaveFormat | Complaint:
    """The format, or why there is none. Bodies of 16, 18, 20 and 40 bytes occur.

    EXTENSIBLE becomes the classic tag of its SubFormat; another SubFormat stays 0xFFFE.
    """
    if len(body) < 16:
        return Complaint("no-fmt", f"fmt has {len(body)} bytes of 16")
    tag, channels, rate, _, block_align, bits = struct.unpack_from("<HHIIHH", body)
    if not (channels and rate and block_align):
        says = f"fmt claims {channels} channels, {rate} Hz, {block_align} bytes a frame"
        return Complaint("no-fmt", says)
    if tag == EXTENSIBLE and body[26:40] == GUID_TAIL:
        tag = int.from_bytes(body[24:26], "little")
    return WaveFormat(tag, channels, rate, bits, block_align)
