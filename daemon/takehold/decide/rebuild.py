"""From signed manifests back to facts: what a lost catalogue knew, as far as they tell it.

Rules of this file:
1. Of each day the newest revision counts for files and copies; every revision stays in the chain.
2. What a manifest does not tell is left unknown, never made up. A card's file has its size and
   time of change only, so that a card that comes back is read again and found the same.
3. What the findings told of a file goes back to it: a finding must not vanish by a rebuild.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import TypeVar

from takehold.decide.check_file import COMPLAINTS
from takehold.decide.day import is_day
from takehold.decide.manifest import names_of
from takehold.decide.manifest_file import ENCODINGS
from takehold.decide.place import day_folder
from takehold.formats.names import display, good_relative, shown
from takehold.formats.timecode import rate_named
from takehold.formats.wave import FRAMED
from takehold.model import facts as f
from takehold.model.errors import Malformed
from takehold.model.recording import Copy, Digests, Load, Proof, Reading, Recording, Seen, Stamp
from takehold.model.settings import Role
from takehold.model.sound import Complaint, Description, Kind, Metadata, Sound, Track, WaveFormat

Entry = Mapping[str, object]
LoadKey = tuple[int, str, str, str]
T = TypeVar("T")
Word = TypeVar("Word", bound=StrEnum)

# A read that differed: the manifest says that it was so, and not what it gave.
UNTOLD = Digests("unknown", "unknown")
BROKEN = {"copy-altered": "altered", "copy-lost": "missing"}
# What others refer to comes first; a copy that was broken may stand proven again.
ORDER = (f.LoadSeen, f.Listed, f.Inventoried, f.WasRead, f.Broken, f.Proven, f.Revised, f.Acked)
TAGS = {encoding: tag for tag, encoding in ENCODINGS.items()}

_ESCAPE = re.compile(r"\\(\\|x[0-9a-f]{2}|u[0-9a-f]{4}|U[0-9a-f]{8})")
_OTHER = re.compile(rb"\.other-[0-9]+(?=(?:\.[^./]+)?$)")


@dataclass(frozen=True, slots=True)
class _Page:
    """One revision of one day. `noted` has the sentences by subject and code."""

    doc: Entry
    sha256: str
    day: str
    number: int
    at: int
    folder: bytes
    noted: Mapping[str, Mapping[str, str]]


def facts_of_manifests(docs: Iterable[tuple[bytes, Entry]]) -> tuple[f.Fact, ...]:
    """The facts that fold into a new ledger, from verified manifests: their bytes, and parsed.

    Of two with the same day and revision the first one counts. Raises Malformed for a document
    that is not as docs/manifest.md says.
    """
    pages: dict[tuple[str, int], _Page] = {}
    for raw, doc in docs:
        page = _page(raw, doc)
        pages.setdefault((page.day, page.number), page)
    ordered = [pages[key] for key in sorted(pages)]
    newest = list({page.day: page for page in ordered}.values())
    loads = _loads(newest)
    told: list[f.Fact] = [f.LoadSeen(load) for load in loads.values()]
    told += _listings(newest, loads)
    next_id = len(loads) + 1
    for page in newest:
        told += _day(page, loads, next_id)
        next_id += len(_each(page.doc, "files"))
    told += [_revised(page) for page in ordered]
    told += _decisions(ordered)
    return tuple(sorted(told, key=lambda fact: ORDER.index(type(fact))))


def original(text: str) -> bytes:
    """The name whose `display` is this text. Raises Malformed where there is none."""
    try:
        return _ESCAPE.sub(_char, text).encode("utf-8", "surrogateescape")
    except ValueError as error:
        raise Malformed(f"{shown(text)} shows no name.") from error


def _char(found: re.Match[str]) -> str:
    if found[1] == "\\":
        return "\\"
    code = int(found[1][1:], 16)
    return chr(0xDC00 + code if found[1][0] == "x" and code >= 0x80 else code)


def _page(raw: bytes, doc: Entry) -> _Page:
    day = _the(doc, "day", str)
    if not is_day(day):
        raise _malformed("day")
    noted: dict[str, dict[str, str]] = {}
    for found in _each(doc, "findings"):
        about = noted.setdefault(_the(found, "subject", str), {})
        about[_the(found, "code", str)] = _the(found, "says", str)
    return _Page(
        doc,
        hashlib.sha256(raw).hexdigest(),
        day,
        _the(doc, "revision", int),
        _at(doc, "written_at"),
        day_folder(_the(doc, "production", str), day) + b"/",
        noted,
    )


def _revised(page: _Page) -> f.Revised:
    """Its basis is left empty: the next manifest of the day is a new revision in any case."""
    name = names_of(page.day, page.number)["manifest"]
    verdict = _the(page.doc, "verdict", str)
    return f.Revised(page.day, page.number, name, page.sha256, page.at, verdict, "")


def _decisions(pages: Iterable[_Page]) -> list[f.Acked]:
    """Oldest first, also those on what a later revision does not have any more."""
    acks: set[f.Acked] = set()
    for found in (found for page in pages for found in _each(page.doc, "findings")):
        if found.get("decision") is not None:
            said = _the(found, "decision", dict)
            acks.add(f.Acked(_the(found, "id", str), _the(said, "note", str), _at(said, "at")))
    return sorted(acks, key=lambda ack: (ack.at, ack.finding, ack.note))


def _load_key(entry: Entry) -> LoadKey:
    """What one load has in every manifest, whatever number it had there."""
    return (
        _at(entry, "first_seen_at"),
        _the(entry, "identity", str),
        _the(entry, "source", str),
        _the(entry, "folder", str),
    )


def _loads(pages: Iterable[_Page]) -> dict[LoadKey, Load]:
    entries: dict[LoadKey, Entry] = {}
    days: dict[LoadKey, list[tuple[bool, int, str]]] = {}
    for page in pages:
        files = _each(page.doc, "files")
        for entry in _each(page.doc, "loads"):
            key = _load_key(entry)
            entries[key] = entry
            mine = [file for file in files if file.get("load") == entry.get("id")]
            # A load without a file there stands in the manifest of its own day only, and a file
            # that names no date goes with its card.
            its = not mine or any("recorded" not in _the(m, "metadata", dict) for m in mine)
            days.setdefault(key, []).append((not its, _apart(page.day, key), page.day))
    return {
        key: _load(number, entries[key], min(days[key])[-1])
        for number, key in enumerate(sorted(entries), 1)
    }


def _apart(day: str, key: LoadKey) -> int:
    """Days between a day and a load's first sight; UTC is near enough to tell days apart."""
    seen = key[0] // 86400 + date(1970, 1, 1).toordinal()
    return abs(date.fromisoformat(day).toordinal() - seen)


def _load(number: int, entry: Entry, day: str) -> Load:
    return Load(
        id=number,
        source=_the(entry, "source", str),
        role=_word(entry, "role", Role),
        identity=_the(entry, "identity", str),
        label=original(_the(entry, "label", str)).decode("utf-8", "surrogateescape"),
        folder=original(_the(entry, "folder", str)),
        disks=frozenset(),
        seen_at=_at(entry, "first_seen_at"),
        day=day,
    )


def _listings(pages: Iterable[_Page], loads: Mapping[LoadKey, Load]) -> Iterator[f.Listed]:
    """Each load as the last manifest has it; it was listed at the latest when that was written."""
    newest = {
        _load_key(entry): (page.at, entry)
        for page in sorted(pages, key=lambda page: page.at)
        for entry in _each(page.doc, "loads")
    }
    for key, (at, entry) in newest.items():
        litter = ((_the(e, "name", str), _the(e, "count", int)) for e in _each(entry, "litter"))
        paths = ((original(_the(e, "path", str)), e) for e in _each(entry, "skipped"))
        skipped = tuple(f.Skip(path, _the(e, "why", str)) for path, e in paths)
        yield f.Listed(loads[key].id, at, _the(entry, "files", int), tuple(litter), skipped)


def _day(page: _Page, loads: Mapping[LoadKey, Load], next_id: int) -> Iterator[f.Fact]:
    of_load = {_the(e, "id", int): loads[_load_key(e)].id for e in _each(page.doc, "loads")}
    disks = {
        _the(e, "identity", str): frozenset(map(str, _the(e, "disks", list)))
        for e in _each(page.doc, "destinations")
    }
    ids: dict[bytes, int] = {}
    for number, entry in enumerate(_each(page.doc, "files"), next_id):
        load = of_load.get(_the(entry, "load", int))
        if load is None:
            raise _malformed("load")
        recording = _recording(entry, page, number, load)
        ids[recording.place] = number
        noted = page.noted.get(display(recording.place), {})
        yield f.Inventoried(recording)
        yield from (f.WasRead(number, reading) for reading in _readings(entry, noted))
        yield from (f.Proven(copy) for copy in _copies(entry, page, number, disks))
    yield from _broken(page, ids)


def _recording(entry: Entry, page: _Page, number: int, load: int) -> Recording:
    place = _below(entry, "place", page.folder)
    reads = _each(entry, "reads")
    if not reads:
        raise _malformed("reads")
    return Recording(
        id=number,
        load=load,
        path=_name(entry, "path"),
        stamp=Stamp(_the(entry, "size", int), _ns(entry, "mtime")),
        seen_at=_at(reads[0], "at"),
        day=page.day,
        place=place,
        version=_the(entry, "version", int),
        description=_description(entry, page.noted.get(display(place), {})),
    )


def _readings(entry: Entry, noted: Mapping[str, str]) -> Iterator[Reading]:
    """Each whole read of the card. All gave the same, unless a finding says otherwise."""
    digests = Digests(_the(entry, "xxh64", str), _the(entry, "sha256", str))
    reads = _each(entry, "reads")
    told = (digests, _audio(entry)[1])
    if "reads-differ" in noted:
        reads = reads[:2]  # more of them, all untold, would seem to agree
    for read in reads:
        yield Reading(*told, _at(read, "at"), _word(read, "from", Seen))
        differs = "reads-differ" in noted or "first-read-wrong" in noted
        told = (UNTOLD if differs else digests, None)


def _copies(
    entry: Entry, page: _Page, recording: int, disks: Mapping[str, frozenset[str]]
) -> Iterator[Copy]:
    for copy in _each(entry, "copies"):
        root = _the(copy, "identity", str)
        proof = Proof(
            _at(copy, "proven_at"), _word(copy, "read_back", Seen), _the(copy, "durable", bool)
        )
        path = _below(copy, "path", page.folder)
        name = _the(copy, "destination", str)
        yield Copy(recording, name, root, disks.get(root, frozenset()), path, proof)


def _broken(page: _Page, ids: Mapping[bytes, int]) -> Iterator[f.Broken]:
    """Copies that were lost or altered; seen so at the latest when the manifest was written."""
    homes = {
        shown(_the(entry, "name", str)): (_the(entry, "name", str), _the(entry, "identity", str))
        for entry in _each(page.doc, "destinations")
    }
    for subject, codes in page.noted.items():
        for code in codes.keys() & BROKEN.keys():
            name, _, where = subject.rpartition(": ")  # no place holds a colon
            path = original(where)
            recording = ids.get(path, ids.get(_OTHER.sub(b"", path)))
            if recording is not None:
                home, root = homes.get(name, (name, ""))
                yield f.Broken(recording, home, root, path, BROKEN[code], page.at)


def _description(entry: Entry, noted: Mapping[str, str]) -> Description:
    said = _the(entry, "metadata", dict)
    made, sound = _audio(entry)
    # An opaque file of which an older version is told has neither audio nor metadata.
    opaque = "content-not-looked-at" in noted or not _the(entry, "current", bool)
    return Description(
        kind=Kind.OTHER if opaque and made is None and not said else Kind.WAVE,
        format=made,
        frames=sound.frames if sound and made and made.tag in FRAMED else None,
        metadata=_metadata(said),
        complaints=tuple(_complaint(c, noted[c]) for c in sorted(noted.keys() & COMPLAINTS.keys())),
    )


def _complaint(code: str, says: str) -> Complaint:
    """Its sentence ends with the figures, in brackets."""
    figures = says.partition(f"{COMPLAINTS[code][1]} (")[2].removesuffix(").")
    return Complaint(code, original(figures).decode("utf-8", "surrogateescape"))


def _audio(entry: Entry) -> tuple[WaveFormat, Sound] | tuple[None, None]:
    """A frame's bytes follow from channels and bits; block digests are not told."""
    if entry.get("audio") is None:
        return None, None
    audio = _the(entry, "audio", dict)
    encoding, digest = _the(audio, "encoding", str), _the(audio, "digest", str)
    number = encoding.removeprefix("tag ")
    if encoding not in TAGS and not (number.isascii() and number.isdigit()):
        raise _malformed("encoding")
    tag = TAGS[encoding] if encoding in TAGS else int(number)
    channels, bits = _the(audio, "channels", int), _the(audio, "bits", int)
    made = WaveFormat(
        tag, channels, _the(audio, "sample_rate", int), bits, channels * -(-bits // 8)
    )
    return made, Sound(_the(audio, "frames", int), digest, b"")


def _metadata(said: Entry) -> Metadata:
    count = str(said.get("time_reference", ""))
    return Metadata(
        project=_text(said, "project"),
        scene=_text(said, "scene"),
        take=_text(said, "take"),
        tape=_text(said, "tape"),
        circled=said.get("circled") is True,
        note=_text(said, "note"),
        date=_text(said, "date"),
        time=_text(said, "time"),
        time_reference=int(count) if count.isascii() and count.isdigit() else None,
        timecode_rate=rate_named(_text(said, "timecode_rate")),
        file_uid=_text(said, "file_uid"),
        family_uid=_text(said, "family_uid"),
        tracks=tuple(
            Track(_the(t, "channel", int), _the(t, "interleave", int), _the(t, "name", str))
            for t in (_each(said, "tracks") if "tracks" in said else ())
        ),
    )


def _malformed(key: str) -> Malformed:
    return Malformed(f"Its {key!r} is not as a manifest has it.")


def _the(entry: Entry, key: str, kind: type[T]) -> T:
    value = entry.get(key)
    if not isinstance(value, kind):
        raise _malformed(key)
    return value


def _text(entry: Entry, key: str) -> str:
    return _the(entry, key, str) if key in entry else ""


def _each(entry: Entry, key: str) -> list[Entry]:
    items = _the(entry, key, list)
    if not all(isinstance(item, dict) for item in items):
        raise _malformed(key)
    return items


def _word(entry: Entry, key: str, kind: type[Word]) -> Word:
    try:
        return kind(_the(entry, key, str))
    except ValueError as error:
        raise _malformed(key) from error


def _ns(entry: Entry, key: str) -> int:
    """A moment in ns since 1970 (RFC 3339, UTC)."""
    whole, _, part = _the(entry, key, str).removesuffix("Z").partition(".")
    try:
        seconds = int(datetime.fromisoformat(f"{whole}+00:00").timestamp())
        return seconds * 10**9 + int(part.ljust(9, "0"))
    except ValueError as error:
        raise _malformed(key) from error


def _at(entry: Entry, key: str) -> int:
    return _ns(entry, key) // 10**9


def _name(entry: Entry, key: str) -> bytes:
    """A file's name; in hex where it is not UTF-8."""
    try:
        if f"{key}_hex" in entry:
            return bytes.fromhex(_text(entry, f"{key}_hex"))
        return _the(entry, key, str).encode()
    except ValueError as error:
        raise _malformed(key) from error


def _below(entry: Entry, key: str, folder: bytes) -> bytes:
    name = _name(entry, key)
    if not good_relative(name):
        raise _malformed(key)
    return folder + name
