"""Builds Broadcast Wave files, for the demo and the tests.

Layouts: RIFF/WAVE (IBM/Microsoft 1991), `bext` version 1 (EBU Tech 3285), `iXML` (the iXML
specification), `ds64` (EBU Tech 3306 / ITU-R BS.2088).
"""

from __future__ import annotations

import struct
from xml.sax.saxutils import escape

from takehold.formats.riff import IN_DS64
from takehold.formats.wave import EXTENSIBLE, GUID_TAIL
from takehold.model.sound import Metadata, Rate, Track, WaveFormat


def bwf(fmt: WaveFormat, metadata: Metadata, payload: bytes) -> bytes:
    """A whole file: header, payload, and a pad byte where the payload is odd."""
    return bwf_header(fmt, metadata, len(payload)) + payload + bytes(len(payload) % 2)


def bwf_header(
    fmt: WaveFormat,
    metadata: Metadata,
    data_length: int,
    *,
    extensible: bool = False,
    rf64: bool = False,
) -> bytes:
    """Everything up to and with the header of `data`, whose `data_length` bytes come next.

    `Metadata()` writes neither bext nor iXML. Raises ValueError where the sizes need `rf64`.
    """
    chunks = b"".join(
        (
            _chunk(b"bext", _bext(metadata)) if metadata != Metadata() else b"",
            _chunk(b"iXML", _ixml(fmt, metadata)) if metadata != Metadata() else b"",
            _chunk(b"fmt ", _extensible(fmt) if extensible else _plain(fmt)),
        )
    )
    ds64_length = 36 if rf64 else 0
    riff_size = 4 + ds64_length + len(chunks) + 8 + data_length + data_length % 2
    if rf64:
        frames = data_length // fmt.block_align
        ds64 = _chunk(b"ds64", struct.pack("<QQQI", riff_size, data_length, frames, 0))
        head = b"RF64" + struct.pack("<I", IN_DS64) + b"WAVE" + ds64
        return head + chunks + b"data" + struct.pack("<I", IN_DS64)
    if riff_size >= IN_DS64:
        raise ValueError(f"{data_length} bytes of audio need RF64")
    head = b"RIFF" + struct.pack("<I", riff_size) + b"WAVE"
    return head + chunks + b"data" + struct.pack("<I", data_length)


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + bytes(len(body) % 2)


def _plain(fmt: WaveFormat) -> bytes:
    rate = fmt.sample_rate
    return struct.pack(
        "<HHIIHH", fmt.tag, fmt.channels, rate, rate * fmt.block_align, fmt.block_align, fmt.bits
    )


def _extensible(fmt: WaveFormat) -> bytes:
    """WAVE_FORMAT_EXTENSIBLE, 40 bytes, no loudspeaker positions."""
    guid = struct.pack("<H", fmt.tag) + GUID_TAIL
    return (
        struct.pack("<H", EXTENSIBLE)
        + _plain(fmt)[2:]
        + struct.pack("<HHI", 22, fmt.bits, 0)
        + guid
    )


def _bext(metadata: Metadata) -> bytes:
    """Version 1, the fixed 602 bytes, without UMID and coding history."""
    reference = metadata.time_reference or 0
    return struct.pack(
        "<256s32s32s10s8sIIH64s190s",
        _cut(metadata.description, 256),
        _cut(metadata.originator, 32),
        _cut(metadata.file_uid, 32),
        _cut(metadata.date, 10),
        _cut(metadata.time, 8),
        reference & 0xFFFFFFFF,
        reference >> 32,
        1,
        b"",
        b"",
    )


def _cut(text: str, length: int) -> bytes:
    """UTF-8, cut between characters; struct fills up with NUL."""
    return text.encode()[:length].decode(errors="ignore").encode()


def _ixml(fmt: WaveFormat, metadata: Metadata) -> bytes:
    """A writer omits an element rather than writing it empty."""
    family = (
        ("TOTAL_FILES", _number(metadata.total_files)),
        ("FAMILY_UID", metadata.family_uid),
        ("FILE_SET_INDEX", metadata.set_index),
    )
    parent = (("PARENT_FILENAME", metadata.parent_name), ("PARENT_UID", metadata.parent_uid))
    body = (
        _element("IXML_VERSION", "2.10" if metadata.types else "1.61")
        + _element("PROJECT", metadata.project)
        + _element("SCENE", metadata.scene)
        + _element("TAKE", metadata.take)
        + _element("TAPE", metadata.tape)
        + _element("TAKE_TYPE", ",".join(metadata.types))
        + _element("CIRCLED", "TRUE" if metadata.circled else "FALSE")
        + _element("FILE_UID", metadata.file_uid)
        + _element("UBITS", metadata.ubits)
        + _element("NOTE", metadata.note)
        + _group("SPEED", _speed(fmt, metadata))
        + _group("HISTORY", "".join(_element(*pair) for pair in parent))
        + _group("FILE_SET", "".join(_element(*pair) for pair in family))
        + _group("TRACK_LIST", _tracks(metadata.tracks))
    )
    document = ('<?xml version="1.0" encoding="UTF-8"?>\n' + _group("BWFXML", body)).encode()
    # Even: libsndfile 1.2.2 does not step over the pad byte of an odd chunk in RF64.
    return document + b"\n" * (len(document) % 2)


def _speed(fmt: WaveFormat, metadata: Metadata) -> str:
    reference = metadata.time_reference
    stamp_rate = metadata.timestamp_sample_rate
    if reference is None:
        stamp = ""
    else:
        stamp = _element("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI", str(reference >> 32))
        stamp += _element("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO", str(reference & 0xFFFFFFFF))
    return (
        _rate(metadata.timecode_rate)
        + _element("FILE_SAMPLE_RATE", str(fmt.sample_rate))
        + _element("AUDIO_BIT_DEPTH", str(fmt.bits))
        + _element("DIGITIZER_SAMPLE_RATE", str(fmt.sample_rate))
        + stamp
        + _element("TIMESTAMP_SAMPLE_RATE", _number(stamp_rate))
    )


def _rate(rate: Rate | None) -> str:
    if rate is None:
        return ""
    ratio = _element("TIMECODE_RATE", f"{rate.numerator}/{rate.denominator}")
    return ratio + _element("TIMECODE_FLAG", "DF" if rate.drop else "NDF")


def _tracks(tracks: tuple[Track, ...]) -> str:
    if not tracks:
        return ""
    return _element("TRACK_COUNT", str(len(tracks))) + "".join(
        _group(
            "TRACK",
            _element("CHANNEL_INDEX", str(track.channel))
            + _element("INTERLEAVE_INDEX", str(track.interleave))
            + _element("NAME", track.name)
            + _element("FUNCTION", track.function),
        )
        for track in tracks
    )


def _number(value: int | None) -> str:
    return "" if value is None else str(value)


def _element(name: str, text: str) -> str:
    return f"<{name}>{escape(text)}</{name}>\n" if text else ""


def _group(name: str, children: str) -> str:
    return f"<{name}>\n{children}</{name}>\n" if children else ""
