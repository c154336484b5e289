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
from datetime import date

from takehold.decide.day import is_day
from takehold.decide.manifest_compared import Elsewhere, compared_beside, comparisons_in
from takehold.decide.manifest_names import names_of
from takehold.decide.manifest_read import (
    Entry,
    below,
    each,
    identity,
    malformed,
    moment,
    name_in,
    ns,
    original,
    the,
)
from takehold.decide.place import day_folder
from takehold.decide.rebuild_file import audio_in, description_in
from takehold.formats.names import display, shown
from takehold.model import facts as f
from takehold.model.errors import Malformed
from takehold.model.recording import Copy, Digests, Load, Proof, Reading, Recording, Seen, Stamp
from takehold.model.settings import Role

LoadKey = tuple[int, str, str, str]

BROKEN = {"copy-altered": "altered", "copy-lost": "missing"}
# What others refer to comes first; a copy that was broken may stand proven again.
ORDER = (
    *(f.LoadSeen, f.Listed, f.Inventoried, f.WasRead, f.Broken, f.Proven, f.Compared),
    *(f.Revised, f.Acked),
)

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
    known = _Numbers({}, {})
    for page in newest:
        yield from _day(page, loads, next_id, known)
        next_id += len(each(page.doc, "files"))
    for page in newest:
        here, elsewhere = known.current[page.day], known.elsewhere
        yield from map(f.Compared, compared_beside(page.doc, here, elsewhere, page.at))
        yield from map(f.Compared, comparisons_in(page.doc, here, elsewhere))
    yield from _revisions(ordered)
    yield from _decisions(ordered)


def _page(raw: bytes, doc: Entry) -> _Page:
    day = the(doc, "day", str)
    if not is_day(day):
        raise malformed("day")
    noted: dict[str, dict[str, str]] = {}
    for found in each(doc, "findings"):
        about = noted.setdefault(the(found, "subject", str), {})
        about[the(found, "code", str)] = the(found, "says", str)
    folder = day_folder(the(doc, "production", str), day) + b"/"
    number, at = the(doc, "revision", int), moment(doc, "written_at")
    return _Page(doc, hashlib.sha256(raw).hexdigest(), day, number, at, folder, noted)


def _revisions(pages: list[_Page]) -> Iterator[f.Revised]:
    """By day and number, but the day last that ends the chain (P11), whatever the clock said.

    The basis is left empty: the next manifest of a day is a new revision in any case.
    """
    followed = {sha for page in pages for sha in follows(page.doc)}
    ends = [page for page in pages if page.sha256 not in followed]
    last = max(ends, key=lambda page: page.at).day if ends else ""
    for page in sorted(pages, key=lambda page: (page.day == last, page.day, page.number)):
        name, word = names_of(page.day, page.number)["manifest"], the(page.doc, "verdict", str)
        yield f.Revised(page.day, page.number, name, page.sha256, page.at, word, "")


def follows(doc: Entry) -> list[object]:
    """The hashes of the manifests that this one names as those before it."""
    others = each(doc, "also_follows") if "also_follows" in doc else []
    links = [doc.get("previous"), *others]
    return [link.get("sha256") for link in links if isinstance(link, dict)]


def _decisions(pages: Iterable[_Page]) -> list[f.Acked]:
    """Oldest first, also those on what a later revision does not have any more."""
    acks: set[f.Acked] = set()
    for found in (found for page in pages for found in each(page.doc, "findings")):
        if found.get("decision") is not None:
            said = the(found, "decision", dict)
            acks.add(f.Acked(the(found, "id", str), the(said, "note", str), moment(said, "at")))
    return sorted(acks, key=lambda ack: (ack.at, ack.finding, ack.note))


def _load_key(entry: Entry) -> LoadKey:
    """What one load has in every manifest, whatever number it had there."""
    return (
        moment(entry, "first_seen_at"),
        the(entry, "identity", str),
        the(entry, "source", str),
        the(entry, "folder", str),
    )


def _loads(pages: Iterable[_Page]) -> dict[LoadKey, Load]:
    entries: dict[LoadKey, Entry] = {}
    days: dict[LoadKey, list[tuple[bool, int, str]]] = {}
    for page in pages:
        files = each(page.doc, "files")
        for entry in each(page.doc, "loads"):
            key = _load_key(entry)
            entries[key] = entry
            mine = [file for file in files if file.get("load") == entry.get("id")]
            # A load without a file there stands in the manifest of its own day only, and a file
            # that names no date goes with its card.
            its = not mine or any("date" not in the(m, "metadata", dict) for m in mine)
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
        source=the(entry, "source", str),
        role=Role(the(entry, "role", str)),
        identity=identity(entry),
        label=original(the(entry, "label", str)).decode("utf-8", "surrogateescape"),
        folder=original(the(entry, "folder", str)),
        disks=frozenset(),
        seen_at=moment(entry, "first_seen_at"),
        day=day,
    )


def _listings(pages: Iterable[_Page], loads: Mapping[LoadKey, Load]) -> Iterator[f.Listed]:
    """Each load as the last manifest has it; it was listed at the latest when that was written."""
    newest: dict[LoadKey, tuple[int, Entry]] = {}
    untaken: dict[LoadKey, int] = {}
    for page in sorted(pages, key=lambda page: page.at):
        for entry in each(page.doc, "loads"):
            key = _load_key(entry)
            newest[key] = (page.at, entry)
            untaken[key] = max(untaken.get(key, 0), _unread(page, entry))
    for key, (at, entry) in newest.items():
        litter = ((the(e, "name", str), the(e, "count", int)) for e in each(entry, "litter"))
        paths = ((original(the(e, "path", str)), e) for e in each(entry, "skipped"))
        skipped = tuple(f.Skip(path, the(e, "why", str)) for path, e in paths)
        told = (the(entry, "files", int), tuple(litter), skipped, untaken[key])
        yield f.Listed(loads[key].id, at, *told)


def _unread(page: _Page, load: Entry) -> int:
    """Files of a load that the findings tell of and `files` does not: they were not read yet."""
    home = f"{display(page.folder)}{load['folder']}/"
    told = {display(below(entry, "place", page.folder)) for entry in each(page.doc, "files")}
    said = page.noted.get(the(load, "label", str), {})
    found = _LACKING.search(said.get("inventory-incomplete", ""))
    return (int(found[1]) if found else 0) + sum(
        "copies-short" in codes and subject.startswith(home) and subject not in told
        for subject, codes in page.noted.items()
    )


@dataclass(frozen=True, slots=True)
class _Numbers:
    """The numbers of the newest files: by day, load and path, and as other days name them."""

    current: dict[str, dict[tuple[int, bytes], int]]
    elsewhere: dict[Elsewhere, int]


def _day(
    page: _Page, loads: Mapping[LoadKey, Load], next_id: int, known: _Numbers
) -> Iterator[f.Fact]:
    of_load = {the(e, "id", int): loads[_load_key(e)].id for e in each(page.doc, "loads")}
    disks = {
        identity(e): frozenset(map(str, the(e, "disks", list)))
        for e in each(page.doc, "destinations")
    }
    ids: dict[bytes, int] = {}
    current = known.current.setdefault(page.day, {})
    for number, entry in enumerate(each(page.doc, "files"), next_id):
        recording = _recording(entry, page, number, of_load[the(entry, "load", int)])
        ids[recording.place] = number
        if the(entry, "current", bool):
            current[the(entry, "load", int), recording.path] = number
            known.elsewhere[page.day, recording.path, the(entry, "sha256", str)] = number
        yield f.Inventoried(recording)
        yield from (f.WasRead(number, reading) for reading in _readings(entry))
        yield from (f.Proven(copy) for copy in _copies(entry, page, number, disks))
    yield from _broken(page, ids)


def _recording(entry: Entry, page: _Page, number: int, load: int) -> Recording:
    place = below(entry, "place", page.folder)
    return Recording(
        id=number,
        load=load,
        path=name_in(entry, "path"),
        stamp=Stamp(the(entry, "size", int), ns(entry, "mtime")),
        seen_at=moment(each(entry, "reads")[0], "at"),
        day=page.day,
        place=place,
        version=the(entry, "version", int),
        description=description_in(entry, page.noted.get(display(place), {})),
    )


def _readings(entry: Entry) -> Iterator[Reading]:
    """Each whole read of the card; the audio was measured at the first."""
    sound = audio_in(entry)[1]
    for read in each(entry, "reads"):
        digests = Digests(the(read, "xxh64", str), the(read, "sha256", str))
        yield Reading(digests, sound, moment(read, "at"), Seen(the(read, "from", str)))
        sound = None


def _copies(
    entry: Entry, page: _Page, recording: int, disks: Mapping[str, frozenset[str]]
) -> Iterator[Copy]:
    for copy in each(entry, "copies"):
        root, name = identity(copy), the(copy, "destination", str)
        at, seen = moment(copy, "proven_at"), Seen(the(copy, "read_back", str))
        # No time that a copy can show: each is read again before the next manifest.
        proof = Proof(at, seen, the(copy, "durable", bool), mtime_ns=-1)
        path = below(copy, "path", page.folder)
        yield Copy(recording, name, root, disks.get(root, frozenset()), path, proof)


def _broken(page: _Page, ids: Mapping[bytes, int]) -> Iterator[f.Broken]:
    """Copies that were lost or altered; seen so at the latest when the manifest was written."""
    homes = {
        shown(the(entry, "name", str)): (the(entry, "name", str), identity(entry))
        for entry in each(page.doc, "destinations")
    }
    for subject, codes in page.noted.items():
        for code in codes.keys() & BROKEN.keys():
            name, _, where = subject.rpartition(": ")  # no place holds a colon
            path = original(where)
            recording = ids.get(path, ids.get(_OTHER.sub(b"", path)))
            if recording is not None:
                home, root = homes.get(name, (name, ""))
                yield f.Broken(recording, home, root, path, BROKEN[code], page.at)
