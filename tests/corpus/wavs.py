"""Broadcast WAVE files for the corpus, written from the published layouts and nothing of ours.

RIFF and WAVEFORMATEX(TENSIBLE): Microsoft, Multimedia Programming Interface 1.0 and the WAVE
annotations; bext: EBU Tech 3285 v1; iXML: its published specification, 1.61.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

RATE = 48_000
FPS = 25
Samples = NDArray[np.int32]
"""Shape (frames, channels): 24-bit values."""


@dataclass(frozen=True)
class Said:
    """What a file says of itself. `start` is in samples since midnight."""

    day: str
    scene: str
    take: str
    start: int
    names: tuple[str, ...]
    rate: int = RATE
    fps: str = f"{FPS}/1"
    flag: str = "NDF"
    tape: str = "ROLL1"
    note: str = ""
    time: str = ""
    uid: str = ""
    family: str = ""
    files: int = 1
    index: str = "A"
    first_channel: int = 1
    circled: bool = False
    project: str = "Lantern Bay"

    def but(self, **other: Any) -> Said:
        """The same with other values."""
        return replace(self, **other)


def bext(said: Said) -> bytes:
    """Version 1: 602 bytes (EBU Tech 3285)."""
    seconds = said.start // said.rate % 86_400
    time = said.time or f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    return struct.pack(
        "<256s32s32s10s8sQH64s190s",
        f"scene {said.scene} take {said.take}".encode(),
        b"corpus recorder",
        b"",
        said.day.encode(),
        time.encode(),
        said.start,
        1,
        b"",
        b"",
    )


def ixml(said: Said) -> bytes:
    """The elements that recorders write."""
    tracks = "".join(
        f"<TRACK><CHANNEL_INDEX>{said.first_channel + at}</CHANNEL_INDEX>"
        f"<INTERLEAVE_INDEX>{at + 1}</INTERLEAVE_INDEX><NAME>{escape(name)}</NAME></TRACK>"
        for at, name in enumerate(said.names)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?><BWFXML><IXML_VERSION>1.61</IXML_VERSION>'
        f"<PROJECT>{escape(said.project)}</PROJECT><SCENE>{escape(said.scene)}</SCENE>"
        f"<TAKE>{escape(said.take)}</TAKE><TAPE>{said.tape}</TAPE>"
        f"<CIRCLED>{'TRUE' if said.circled else 'FALSE'}</CIRCLED><NOTE>{escape(said.note)}</NOTE>"
        f"<FILE_UID>{said.uid}</FILE_UID><SPEED><TIMECODE_RATE>{said.fps}</TIMECODE_RATE>"
        f"<TIMECODE_FLAG>{said.flag}</TIMECODE_FLAG><FILE_SAMPLE_RATE>{said.rate}</FILE_SAMPLE_RATE>"
        f"<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>{said.start >> 32}"
        "</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>"
        f"<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>{said.start & 0xFFFFFFFF}"
        "</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>"
        f"<TIMESTAMP_SAMPLE_RATE>{said.rate}</TIMESTAMP_SAMPLE_RATE></SPEED>"
        f"<FILE_SET><TOTAL_FILES>{said.files}</TOTAL_FILES><FAMILY_UID>{said.family}</FAMILY_UID>"
        f"<FILE_SET_INDEX>{said.index}</FILE_SET_INDEX></FILE_SET>"
        f"<TRACK_LIST><TRACK_COUNT>{len(said.names)}</TRACK_COUNT>{tracks}</TRACK_LIST></BWFXML>"
    ).encode()


def chunk(name: bytes, body: bytes) -> bytes:
    """With its pad byte."""
    return name + struct.pack("<I", len(body)) + body + bytes(len(body) % 2)


def fmt(channels: int, rate: int, bits: int, *, extensible: bool = False, tag: int = 1) -> bytes:
    """The body of `fmt `."""
    align = channels * bits // 8
    body = struct.pack("<HHIIHH", tag, channels, rate, rate * align, align, bits)
    if not extensible:
        return body
    guid = struct.pack("<HHIIHH", 0xFFFE, channels, rate, rate * align, align, bits)
    tail = bytes.fromhex("000000001000800000aa00389b71")
    return guid + struct.pack("<HHIH", 22, bits, 0, tag) + tail


def packed(samples: Samples, bits: int = 24) -> bytes:
    """Interleaved little-endian PCM of 24-bit values; of 16 bit, the upper ones."""
    left = np.ascontiguousarray(samples.astype("<i4") << 8)
    width = bits // 8
    return left.view("u1").reshape(*samples.shape, 4)[:, :, 4 - width :].tobytes()


def file_of(
    said: Said,
    data: bytes,
    channels: int,
    bits: int = 24,
    *,
    odd: bool = False,
    tag: int = 1,
    chunks: Sequence[tuple[bytes, bytes]] | None = None,
) -> bytes:
    """A whole file; `odd` has another order of chunks, EXTENSIBLE, and a filler."""
    form = fmt(channels, said.rate, bits, extensible=odd and tag == 1, tag=tag)
    if chunks is None:
        head = [(b"bext", bext(said)), (b"iXML", ixml(said)), (b"fmt ", form)]
        order = [*head, (b"data", data)]
        if odd:
            order = [(b"JUNK", bytes(91)), head[2], head[0], (b"data", data), head[1]]
        chunks = order
    return riff(chunks)


def riff(chunks: Iterable[tuple[bytes, bytes]]) -> bytes:
    """RIFF/WAVE of these chunks."""
    body = b"WAVE" + b"".join(chunk(name, content) for name, content in chunks)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def voices(dice: np.random.Generator, frames: int, channels: int) -> Samples:
    """Channel 1 mixes the others: noise of a room at -60 dBFS and words at -25 dBFS, 24 bit.

    No sample is exactly zero, and none is at full scale.
    """
    clock = np.arange(frames) / RATE
    made = np.empty((frames, channels))
    for channel in range(1, channels) if channels > 1 else range(1):
        rough = dice.normal(0, 1, frames)
        smooth = np.convolve(rough, np.ones(24) / 24, "same") * 4
        pace = np.clip(np.sin(2 * np.pi * (dice.uniform(1, 3) * clock + dice.uniform())), 0, 1)
        made[:, channel] = 0.06 * smooth * pace + 0.001 * dice.normal(0, 1, frames)
    if channels > 1:
        made[:, 0] = made[:, 1:].sum(axis=1) / (channels - 1) * 1.4
    values = np.clip(made * 0x7FFFFF, -0x700000, 0x700000).astype(np.int32)
    return np.where(values == 0, 1, values)
