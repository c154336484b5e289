"""The `bext` chunk (EBU Tech 3285), and the `KEY=value` lines that recorders put in its text."""

from __future__ import annotations

import re
import struct

from takehold.formats.timecode import rate_named
from takehold.model.sound import Complaint, Metadata, Track

MAX_BODY = 602  # the fixed part; the coding history after it is not needed
_REFERENCE_END = 346
# Common practice, no source: one letter of the maker's may stand before the key.
_LINE = re.compile(
    r"[A-Za-z]?(SCENE|TAKE|TAPE|PROJECT|NOTE|CIRCLED|UBITS|SPEED|FRAMERATE|TRK?(?:0?[1-9][0-9]{0,3}|L|R))"
    r"=(.*)"
)
_SIDES = {"L": 1, "R": 2}


def parse_bext(body: bytes) -> Metadata | Complaint:
    """What bext says, of any version; a body too short to hold TimeReference is complained of.

    Text is cut at its first NUL: what follows may be stale memory.
    """
    if len(body) < _REFERENCE_END:
        return Complaint("bext-unreadable", f"bext has {len(body)} bytes of {MAX_BODY}")
    low, high = struct.unpack_from("<II", body, 338)
    description = _text(body[:256])
    said = _lines(description)
    return Metadata(
        project=said.get("PROJECT", ""),
        scene=said.get("SCENE", ""),
        take=said.get("TAKE", ""),
        tape=said.get("TAPE", ""),
        circled=said.get("CIRCLED", "").upper() == "TRUE",
        note=said.get("NOTE", ""),
        originator=_text(body[256:288]),
        description=description,
        date=_text(body[320:330]),
        time=_text(body[330:338]),
        time_reference=high << 32 | low,
        timecode_rate=rate_named(said.get("SPEED", "")) or rate_named(said.get("FRAMERATE", "")),
        ubits=said.get("UBITS", "").removeprefix("$"),
        tracks=_tracks(said),
    )


def _text(field: bytes) -> str:
    """ASCII on paper; UTF-8 and Latin-1 occur."""
    raw, nul, _ = field.partition(b"\0")
    try:
        return raw.decode().strip()
    except UnicodeDecodeError as error:
        if not nul and error.reason == "unexpected end of data":
            return raw[: error.start].decode().strip()  # the field's end cut a character
        return raw.decode("latin-1").strip()


def _lines(description: str) -> dict[str, str]:
    matches = (_LINE.fullmatch(line.strip()) for line in description.splitlines())
    return {match[1]: match[2].strip() for match in matches if match}


def _tracks(said: dict[str, str]) -> tuple[Track, ...]:
    """TRK1, TR1 or TRL: the channel; the order of the channels is that in the file."""
    names = {}
    for key, name in said.items():
        if key.startswith("TR"):
            number = key.removeprefix("TR").removeprefix("K")
            names[_SIDES.get(number) or int(number)] = name
    return tuple(
        Track(channel, place, names[channel]) for place, channel in enumerate(sorted(names), 1)
    )
