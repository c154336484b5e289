"""What a recording says of itself, and what was measured of its audio."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

BLOCK_FRAMES = 48_000
FLAC_TAG = 0xF1AC
"""What a WAVE file's `fmt ` chunk would say of FLAC (the FLAC project); it loses nothing."""


@dataclass(frozen=True, slots=True)
class Rate:
    """A timecode rate: frames per second as an exact fraction, drop-frame or not."""

    numerator: int
    denominator: int
    drop: bool = False

    @property
    def fps(self) -> Fraction:
        """Frames per second."""
        return Fraction(self.numerator, self.denominator)


@dataclass(frozen=True, slots=True)
class WaveFormat:
    """The `fmt ` chunk. Tag 1 is PCM, 3 is float (EXTENSIBLE resolved); rate in Hz.

    Of a compressed file, what such a chunk would say (formats/compressed).
    """

    tag: int
    channels: int
    sample_rate: int
    bits: int
    block_align: int


@dataclass(frozen=True, slots=True)
class Span:
    """Bytes of a file: from `offset`, `length` of them."""

    offset: int
    length: int


@dataclass(frozen=True, slots=True)
class Track:
    """One entry of the iXML track list; both numbers count from 1."""

    channel: int
    interleave: int
    name: str
    function: str = ""


@dataclass(frozen=True, slots=True)
class Complaint:
    """Something odd in a file: a stable word and the figures that show it."""

    code: str
    detail: str


class Kind(StrEnum):
    """What a file of a card is; `OTHER` is opaque, its content is not looked at."""

    WAVE = "wave"
    COMPRESSED = "compressed"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Metadata:
    """What bext and iXML say, empty where they say nothing.

    `time_reference` is the first sample's count since midnight at the file's sample rate;
    `date` and `time` are bext's text as found. `types` are the words of iXML's TAKE_TYPE in
    capitals, none for an ordinary take; `parent_uid` and `parent_name` name the file that this one
    was made from.
    """

    project: str = ""
    scene: str = ""
    take: str = ""
    tape: str = ""
    circled: bool = False
    note: str = ""
    originator: str = ""
    description: str = ""
    date: str = ""
    time: str = ""
    time_reference: int | None = None
    timecode_rate: Rate | None = None
    timestamp_sample_rate: int | None = None
    file_uid: str = ""
    family_uid: str = ""
    total_files: int | None = None
    set_index: str = ""
    ubits: str = ""
    tracks: tuple[Track, ...] = ()
    types: tuple[str, ...] = ()
    parent_uid: str = ""
    parent_name: str = ""


@dataclass(frozen=True, slots=True)
class Description:
    """What one file says of itself. `data` and `frames` are what is really there to read.

    `listed` are the names of other files, where it is a table of them as a sound report is;
    `loosely` where no mark sets them apart from the rest of their lines; `besides` are its other
    columns, that may hold the names instead (formats/report_table).
    """

    kind: Kind
    format: WaveFormat | None = None
    data: Span | None = None
    frames: int | None = None
    metadata: Metadata = Metadata()
    complaints: tuple[Complaint, ...] = ()
    listed: tuple[str, ...] = ()
    loosely: bool = False
    besides: tuple[tuple[str, ...], ...] = ()


class Coding(StrEnum):
    """What a channel's digests are taken over; only those of one coding can be compared.

    `INTEGER` is little-endian int32, left-justified whatever the bit depth was, so that 16-bit
    audio equals itself in a 24-bit and in a 32-bit file. The others are the bit patterns of
    IEEE 754 binary32 and binary64, little-endian.
    """

    INTEGER = "integer"
    FLOAT32 = "float32"
    FLOAT64 = "float64"


@dataclass(frozen=True, slots=True)
class Sound:
    """What was measured of the audio payload while it streamed by.

    `digest` is the XXH3-128 of the payload in hex, `blocks` the XXH3-64 of each started run of
    `block_frames` frames, 8 bytes each, big-endian. `levels` are its channels (formats/levels),
    empty where they were not measured.
    """

    frames: int
    digest: str
    blocks: bytes
    block_frames: int = BLOCK_FRAMES
    coding: Coding | None = None
    levels: bytes = b""
