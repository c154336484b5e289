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
from typing import TypeVar

from takehold.decide.check_file import COMPLAINTS
from takehold.decide.day import is_day
from takehold.decide.manifest import names_of
from takehold.decide.manifest_file import ENCODINGS
from takehold.decide.place import day_folder
from takehold.decide.severity import own_words
from takehold.formats.names import display, good_relative, is_shown, shown
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

BROKEN = {"copy-altered": "altered", "copy-lost": "missing"}
# What others refer to comes first; a copy that was broken may stand proven again.
ORDER = (f.LoadSeen, f.Listed, f.Inventoried, f.WasRead, f.Broken, f.Proven, f.Revised, f.Acked)
TAGS = {encoding: tag for tag, encoding in ENCODINGS.items()}

_ESCAPE = re.compile(r"\\(\\|x[0-9a-f]{2}|u[0-9a-f]{4}|U[0-9a-f]{8})")
_LACKING = re.compile(r"([0-9]+) of its [0-9]+ files")
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
    try:
        return tuple(sorted(_told(docs), key=lambda fact: ORDER.index(type(fact))))
    except (LookupError, OverflowError, ValueError) as error:
        raise Malformed("A value in it is not as a manifest has it.") from error


def _told(docs: Iterable[tuple[bytes, Entry]]) -> Iterator[f.Fact]:
    pages: dict[tuple[str, int], _Page] = {}
    for raw, doc in docs:
        page = _page(raw, doc)
        pages.setdefault((page.day, page.number), page)
    ordered = [pages[key] for key in sorted(pages)]
    newest = list({page.day: page for page in ordered}.values())
    loads = _loads(newest)
    yield from map(f.LoadSeen, loads.values())
    yield from _listings(newest, loads)
    next_id = len(loads) + 1
    for page in newest:
        yield from _day(page, loads, next_id)
        next_id += len(_each(page.doc, "files"))
    yield from _revisions(ordered)
    yield from _decisions(ordered)


def original(text: str) -> bytes:
    """The name whose `display` is this text. Raises ValueError or OverflowError for another."""
    return _ESCAPE.sub(_char, text).encode("utf-8", "surrogateescape")


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
    folder = day_folder(_the(doc, "production", str), day) + b"/"
    number, at = _the(doc, "revision", int), _at(doc, "written_at")
    return _Page(doc, hashlib.sha256(raw).hexdigest(), day, number, at, folder, noted)


def _revisions(pages: list[_Page]) -> Iterator[f.Revised]:
    """By day and number, but the day last that ends the chain (P11), whatever the clock said.

    The basis is left empty: the next manifest of a day is a new revision in any case.
    """
    followed = {sha for page in pages for sha in follows(page.doc)}
    ends = [page for page in pages if page.sha256 not in followed]
    last = max(ends, key=lambda page: page.at).day if ends else ""
    for page in sorted(pages, key=lambda page: (page.day == last, page.day, page.number)):
        name, word = names_of(page.day, page.number)["manifest"], _the(page.doc, "verdict", str)
        yield f.Revised(page.day, page.number, name, page.sha256, page.at, word, "")


def follows(doc: Entry) -> list[object]:
    """The hashes of the manifests that this one names as those before it."""
    others = _each(doc, "also_follows") if "also_follows" in doc else []
    links = [doc.get("previous"), *others]
    return [link.get("sha256") for link in links if isinstance(link, dict)]


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
            its = not mine or any("date" not in _the(m, "metadata", dict) for m in mine)
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
        role=Role(_the(entry, "role", str)),
        identity=_identity(entry),
        label=original(_the(entry, "label", str)).decode("utf-8", "surrogateescape"),
        folder=original(_the(entry, "folder", str)),
        disks=frozenset(),
        seen_at=_at(entry, "first_seen_at"),
        day=day,
    )


def _listings(pages: Iterable[_Page], loads: Mapping[LoadKey, Load]) -> Iterator[f.Listed]:
    """Each load as the last manifest has it; it was listed at the latest when that was written."""
    newest: dict[LoadKey, tuple[int, Entry]] = {}
    untaken: dict[LoadKey, int] = {}
    for page in sorted(pages, key=lambda page: page.at):
        for entry in _each(page.doc, "loads"):
            key = _load_key(entry)
            newest[key] = (page.at, entry)
            untaken[key] = max(untaken.get(key, 0), _unread(page, entry))
    for key, (at, entry) in newest.items():
        litter = ((_the(e, "name", str), _the(e, "count", int)) for e in _each(entry, "litter"))
        paths = ((original(_the(e, "path", str)), e) for e in _each(entry, "skipped"))
        skipped = tuple(f.Skip(path, _the(e, "why", str)) for path, e in paths)
        told = (_the(entry, "files", int), tuple(litter), skipped, untaken[key])
        yield f.Listed(loads[key].id, at, *told)


def _unread(page: _Page, load: Entry) -> int:
    """Files of a load that the findings tell of and `files` does not: they were not read yet."""
    home = f"{display(page.folder)}{load['folder']}/"
    told = {display(_below(entry, "place", page.folder)) for entry in _each(page.doc, "files")}
    said = page.noted.get(_the(load, "label", str), {})
    found = _LACKING.search(said.get("inventory-incomplete", ""))
    return (int(found[1]) if found else 0) + sum(
        "copies-short" in codes and subject.startswith(home) and subject not in told
        for subject, codes in page.noted.items()
    )


def _day(page: _Page, loads: Mapping[LoadKey, Load], next_id: int) -> Iterator[f.Fact]:
    of_load = {_the(e, "id", int): loads[_load_key(e)].id for e in _each(page.doc, "loads")}
    disks = {
        _identity(e): frozenset(map(str, _the(e, "disks", list)))
        for e in _each(page.doc, "destinations")
    }
    ids: dict[bytes, int] = {}
    for number, entry in enumerate(_each(page.doc, "files"), next_id):
        recording = _recording(entry, page, number, of_load[_the(entry, "load", int)])
        ids[recording.place] = number
        yield f.Inventoried(recording)
        yield from (f.WasRead(number, reading) for reading in _readings(entry))
        yield from (f.Proven(copy) for copy in _copies(entry, page, number, disks))
    yield from _broken(page, ids)


def _recording(entry: Entry, page: _Page, number: int, load: int) -> Recording:
    place = _below(entry, "place", page.folder)
    return Recording(
        id=number,
        load=load,
        path=_name(entry, "path"),
        stamp=Stamp(_the(entry, "size", int), _ns(entry, "mtime")),
        seen_at=_at(_each(entry, "reads")[0], "at"),
        day=page.day,
        place=place,
        version=_the(entry, "version", int),
        description=_description(entry, page.noted.get(display(place), {})),
    )


def _readings(entry: Entry) -> Iterator[Reading]:
    """Each whole read of the card; the audio was measured at the first."""
    sound = _audio(entry)[1]
    for read in _each(entry, "reads"):
        digests = Digests(_the(read, "xxh64", str), _the(read, "sha256", str))
        yield Reading(digests, sound, _at(read, "at"), Seen(_the(read, "from", str)))
        sound = None


def _copies(
    entry: Entry, page: _Page, recording: int, disks: Mapping[str, frozenset[str]]
) -> Iterator[Copy]:
    for copy in _each(entry, "copies"):
        root, name = _identity(copy), _the(copy, "destination", str)
        at, seen = _at(copy, "proven_at"), Seen(_the(copy, "read_back", str))
        # No time that a copy can show: each is read again before the next manifest.
        proof = Proof(at, seen, _the(copy, "durable", bool), mtime_ns=-1)
        path = _below(copy, "path", page.folder)
        yield Copy(recording, name, root, disks.get(root, frozenset()), path, proof)


def _broken(page: _Page, ids: Mapping[bytes, int]) -> Iterator[f.Broken]:
    """Copies that were lost or altered; seen so at the latest when the manifest was written."""
    homes = {
        shown(_the(entry, "name", str)): (_the(entry, "name", str), _identity(entry))
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
    figures = own_words(says).partition(f"{COMPLAINTS[code][1]} (")[2].removesuffix(").")
    return Complaint(code, original(figures).decode("utf-8", "surrogateescape"))


def _audio(entry: Entry) -> tuple[WaveFormat, Sound] | tuple[None, None]:
    """A frame's bytes follow from channels and bits; block digests are not told."""
    if entry.get("audio") is None:
        return None, None
    audio = _the(entry, "audio", dict)
    encoding, digest = _the(audio, "encoding", str), _the(audio, "digest", str)
    tag = TAGS[encoding] if encoding in TAGS else int(encoding.removeprefix("tag "))
    channels, rate, bits = (_the(audio, key, int) for key in ("channels", "sample_rate", "bits"))
    made = WaveFormat(tag, channels, rate, bits, channels * -(-bits // 8))
    return made, Sound(_the(audio, "frames", int), digest, b"")


def _metadata(said: Entry) -> Metadata:
    count = _text(said, "time_reference")
    return Metadata(
        project=_text(said, "project"),
        scene=_text(said, "scene"),
        take=_text(said, "take"),
        tape=_text(said, "tape"),
        circled=said.get("circled") is True,
        note=_text(said, "note"),
        originator=_text(said, "originator"),
        date=_text(said, "date"),
        time=_text(said, "time"),
        time_reference=int(count) if count else None,
        timecode_rate=rate_named(_text(said, "timecode_rate")),
        file_uid=_text(said, "file_uid"),
        family_uid=_text(said, "family_uid"),
        total_files=_the(said, "total_files", int) if "total_files" in said else None,
        set_index=_text(said, "set_index"),
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


def _ns(entry: Entry, key: str) -> int:
    """A moment in ns since 1970 (RFC 3339, UTC)."""
    whole, _, part = _the(entry, key, str).removesuffix("Z").partition(".")
    moment = datetime.strptime(f"{whole}Z", "%Y-%m-%dT%H:%M:%S%z")
    return int(moment.timestamp()) * 10**9 + int(part[:9].ljust(9, "0"))


def _at(entry: Entry, key: str) -> int:
    return _ns(entry, key) // 10**9


def _name(entry: Entry, key: str) -> bytes:
    """A file's name; in hex where it is not UTF-8."""
    if f"{key}_hex" in entry:
        return bytes.fromhex(_text(entry, f"{key}_hex"))
    return _the(entry, key, str).encode()


def _identity(entry: Entry) -> str:
    """Escaped only where it holds something hidden."""
    text = _the(entry, "identity", str)
    plain = original(text).decode("utf-8", "surrogateescape")
    return text if is_shown(plain) else plain


def _below(entry: Entry, key: str, folder: bytes) -> bytes:
    name = _name(entry, key)
    if not good_relative(name):
        raise _malformed(key)
    return folder + name
