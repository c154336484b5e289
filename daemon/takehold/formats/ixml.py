"""The `iXML` chunk (iXML specification 1 to 3): untrusted XML from a card.

No DTD, so that nothing expands; at most 1 MiB, at most 32 levels deep.
"""

from __future__ import annotations

import re
from xml.parsers import expat

from takehold.formats.timecode import rate_named
from takehold.model.sound import Complaint, Metadata, Rate, Track

MAX_BODY = 1 << 20
MAX_DEPTH = 32
# Only what stands right below these, and below the root, is kept, under these words.
_GROUPS = {"SPEED": "SPEED/", "FILE_SET": "FILE_SET/", "HISTORY": "HISTORY/", "BEXT": "BEXT/"}
_LIST, _TRACK = "TRACK_LIST", "TRACK"
# Before version 2 they stood for themselves; TAKE_TYPE took their place.
_OLD_TYPES = ("NO_GOOD", "FALSE_START", "WILD_TRACK")
MAX_TYPES = 32  # chosen: the specification knows 8 words
_SINCE_MIDNIGHT = "SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_"
_COUNT = re.compile(r"[0-9]{1,10}")
_WORD = re.compile(r"-?[0-9]{1,10}")


class _Refused(ValueError):
    """XML that a recorder has no reason to write."""


def parse_ixml(body: bytes) -> Metadata | Complaint:
    """What iXML says, with `time_reference` counting at `timestamp_sample_rate`.

    Elements that are not known are passed over, empty ones are absent ones.
    """
    if len(body) > MAX_BODY:
        return Complaint("ixml-unreadable", f"longer than {MAX_BODY} bytes")
    try:
        reader = _Reader(body)
    except (expat.ExpatError, LookupError, ValueError) as error:
        return Complaint("ixml-unreadable", str(error))
    return _metadata(reader.texts, reader.tracks)


class _Reader:
    """Collects the first text of each element by its path, tracks one by one."""

    def __init__(self, body: bytes) -> None:
        # Recorders fill the room they reserve with NULs, stale bytes may follow.
        document = body.lstrip(b"\0").partition(b"\0")[0].strip()
        self.texts: dict[str, str] = {}
        self.tracks: list[dict[str, str]] = []
        self._within: list[str | None] = []  # of each open element: how what is below it is kept
        self._text: list[str] = []
        parser = expat.ParserCreate(_encoding(document))
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = _refuse_dtd
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._text.append
        parser.Parse(document, True)

    def _start(self, name: str, _attributes: object) -> None:
        depth = len(self._within)
        if not depth and name != "BWFXML":
            raise _Refused("the root is not BWFXML")
        if depth == MAX_DEPTH:
            raise _Refused(f"deeper than {MAX_DEPTH} levels")
        kept: str | None = None
        if depth < 2:
            kept = (_LIST if name == _LIST else _GROUPS.get(name)) if depth else ""
        elif self._within[-1] is _LIST and name == _TRACK:
            self.tracks.append({})
            kept = _TRACK
        self._within.append(kept)
        self._text.clear()

    def _end(self, name: str) -> None:
        self._within.pop()
        kept = self._within[-1] if self._within else None
        if kept is not None and kept is not _LIST and (text := "".join(self._text).strip()):
            if kept is _TRACK:
                self.tracks[-1].setdefault(name, text)
            else:
                self.texts.setdefault(kept + name, text)
        self._text.clear()


def _encoding(document: bytes) -> str:
    """The bytes decide, not the label, which is often wrong."""
    try:
        document.decode()
    except UnicodeDecodeError:
        return "iso-8859-1"
    return "utf-8"


def _refuse_dtd(*_declared: object) -> None:
    raise _Refused("it declares a document type")


def _metadata(texts: dict[str, str], tracks: list[dict[str, str]]) -> Metadata:
    def said(path: str) -> str:
        return texts.get(path, "")

    return Metadata(
        project=said("PROJECT"),
        scene=said("SCENE"),
        take=said("TAKE"),
        tape=said("TAPE"),
        circled=said("CIRCLED").upper() == "TRUE",
        note=said("NOTE"),
        originator=said("BEXT/BWF_ORIGINATOR"),
        description=said("BEXT/BWF_DESCRIPTION"),
        date=said("BEXT/BWF_ORIGINATION_DATE"),
        time=said("BEXT/BWF_ORIGINATION_TIME"),
        time_reference=_since_midnight(said(_SINCE_MIDNIGHT + "HI"), said(_SINCE_MIDNIGHT + "LO")),
        timecode_rate=_rate(said("SPEED/TIMECODE_RATE"), said("SPEED/TIMECODE_FLAG")),
        timestamp_sample_rate=_count(said("SPEED/TIMESTAMP_SAMPLE_RATE")),
        file_uid=said("FILE_UID"),
        family_uid=said("FILE_SET/FAMILY_UID"),
        total_files=_count(said("FILE_SET/TOTAL_FILES")),
        set_index=said("FILE_SET/FILE_SET_INDEX"),
        ubits=said("UBITS").removeprefix("$"),
        tracks=tuple(_track(place, track) for place, track in enumerate(tracks, 1)),
        types=_types(texts),
        parent_uid=said("HISTORY/PARENT_UID"),
        parent_name=said("HISTORY/PARENT_FILENAME"),
    )


def _types(texts: dict[str, str]) -> tuple[str, ...]:
    """The words of TAKE_TYPE and the older elements, each once; DEFAULT says nothing."""
    words = texts.get("TAKE_TYPE", "").upper().split(",", MAX_TYPES)[:MAX_TYPES]
    words += [name for name in _OLD_TYPES if texts.get(name, "").upper() == "TRUE"]
    told = (word.strip() for word in words)
    return tuple(dict.fromkeys(word for word in told if word not in ("", "DEFAULT")))


def _track(place: int, said: dict[str, str]) -> Track:
    """A track that leaves out its numbers is known by its place in the list."""
    interleave = _count(said.get("INTERLEAVE_INDEX", "")) or place
    channel = _count(said.get("CHANNEL_INDEX", "")) or interleave
    return Track(channel, interleave, said.get("NAME", ""), said.get("FUNCTION", ""))


def _rate(ratio: str, flag: str) -> Rate | None:
    """A flag of DF where no drop-frame exists says nothing."""
    plain = rate_named(ratio)
    return (rate_named(f"{ratio} DF") or plain) if flag.upper() == "DF" else plain


def _since_midnight(high: str, low: str) -> int | None:
    """HI * 2^32 + LO, each a u32; a signed LO was seen."""
    if not _WORD.fullmatch(low):
        return None
    word = int(high) if _WORD.fullmatch(high) else 0
    return word % (1 << 32) << 32 | int(low) % (1 << 32)


def _count(text: str) -> int | None:
    return int(text) if _COUNT.fullmatch(text) else None
