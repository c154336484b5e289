"""The receiving side: which manifests count, and how a day's folder answers to one.

Rules of this file:
1. One found file answers for one entry of a manifest at most.
2. No sentence says that everything arrived intact unless every file did, nothing lies beside, and
   the signature is by a key that the receiver had from elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from enum import StrEnum
from itertools import filterfalse, groupby

from takehold.decide.litter import holds_audio, litter_name, matters
from takehold.decide.salvage import is_salvage
from takehold.decide.signed import Signed
from takehold.formats.manifest_doc import ManifestDoc, ManifestFile
from takehold.formats.names import display, same_key, shown
from takehold.model.facts import Skip
from takehold.model.finding import Verdict
from takehold.model.recording import Digests, Seen, Stamp

KEEP_CARDS = (
    "Keep the cards until post has confirmed in writing what arrived; "
    "the production's own rules come first."
)

_MANIFEST = re.compile(
    rb"(?:(.+)/)?([0-9]{4}-[0-9]{2}-[0-9]{2})\.r([1-9][0-9]{0,5})\.manifest\.json", re.DOTALL
)
_OURS = (
    rb"\.r[1-9][0-9]{0,5}\."
    rb"(?:manifest\.json|manifest\.json\.sig|sha256|xxh64|signers|html|sound-report\.(?:csv|pdf))"
)
_RECEIPT = re.compile(rb"[^/]+\.receipt(?:-[0-9]+)?\.json(?:\.sig)?")
_FOR_THE_MIXER = re.compile(r": takehold ack [0-9a-f]+\.?$")
_PART = re.compile(rb"(?:.*/)?\.takehold-[^/]*\.part", re.DOTALL)


class Answer(StrEnum):
    """How the folder answers to one entry of the manifest."""

    INTACT = "intact"
    ALTERED = "altered"
    MISSING = "missing"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Named:
    """A manifest by its name; `folder` is that of its day, empty at the top."""

    folder: bytes
    day: str
    number: int
    path: bytes


@dataclass(frozen=True, slots=True)
class Manifest:
    """A manifest that was read. `sha256` is of its file."""

    named: Named
    doc: ManifestDoc
    sha256: str
    signed: Signed


@dataclass(frozen=True, slots=True)
class Found:
    """What lies in a day's folder, by path relative to it.

    `skipped` is what is no readable file, and why. `spelled` finds a file by `same_key`, where
    only one has it: some file systems give names another Unicode form or case.
    """

    sizes: Mapping[bytes, int]
    skipped: Mapping[bytes, str]
    spelled: Mapping[str, bytes]

    def at(self, place: bytes) -> bytes | None:
        """The file at a place, under that name or one that meets it."""
        return place if place in self.sizes else self.spelled.get(same_key(place))


@dataclass(frozen=True, slots=True)
class Look:
    """A found file, read: its checksums, or why there are none."""

    digests: Digests | None
    seen: Seen
    why: str = ""


@dataclass(frozen=True, slots=True)
class Checked:
    """One entry's answer; `why` is empty where it is intact."""

    place: bytes
    answer: Answer
    why: str


@dataclass(frozen=True, slots=True)
class Compared:
    """A day's folder against its manifest. `strangers` and `unfinished` are shown, so escaped.

    `misnamed` are those strangers that stand under a recording's name and hold other bytes.
    `warm` counts the files that may have come from memory instead of the medium.
    """

    checked: tuple[Checked, ...]
    strangers: tuple[str, ...]
    misnamed: frozenset[str]
    unfinished: tuple[str, ...]
    warm: int

    def of(self, answer: Answer) -> tuple[Checked, ...]:
        """The entries with that answer."""
        return tuple(c for c in self.checked if c.answer is answer)


@dataclass(frozen=True, slots=True)
class Outside:
    """Files in no checked day's folder: `beside` in the same production's folder, or elsewhere."""

    beside: tuple[bytes, ...]
    elsewhere: int


def named_manifests(paths: Iterable[bytes]) -> tuple[tuple[Named, ...], ...]:
    """The manifests among paths: a group for each folder and day, the newest first in each."""
    found = [
        Named(m.group(1) or b"", m.group(2).decode(), int(m.group(3)), path)
        for path in paths
        if (m := _MANIFEST.fullmatch(path)) and litter_name(path) is None
    ]
    found.sort(key=lambda n: (n.folder, n.day, -n.number))
    return tuple(tuple(group) for _, group in groupby(found, lambda n: (n.folder, n.day)))


def newest(
    manifests: Iterable[Manifest],
) -> tuple[tuple[Manifest, ...], tuple[Manifest, ...]]:
    """The newest revision of each production's day, wherever it lies; and the others."""
    manifests = tuple(manifests)
    best: dict[tuple[str, str], int] = {}
    for one in manifests:
        key = (one.doc.production, one.doc.day)
        best[key] = max(best.get(key, 0), one.doc.revision)

    def is_newest(one: Manifest) -> bool:
        return one.doc.revision == best[(one.doc.production, one.doc.day)]

    return tuple(filter(is_newest, manifests)), tuple(filterfalse(is_newest, manifests))


def found_in(folder: bytes, files: Iterable[tuple[bytes, Stamp]], skipped: Iterable[Skip]) -> Found:
    """What of a listing lies in a day's folder."""
    below = folder + b"/" if folder else b""
    sizes = {p[len(below) :]: s.size for p, s in files if p.startswith(below)}
    spelled: dict[str, bytes] = {}
    twice: set[str] = set()
    for path in sizes:
        key = same_key(path)
        if key in spelled:
            twice.add(key)
        spelled[key] = path
    return Found(
        sizes,
        {s.path[len(below) :]: s.why for s in skipped if s.path.startswith(below) and matters(s)},
        {key: path for key, path in spelled.items() if key not in twice},
    )


def worth_reading(files: Iterable[ManifestFile], found: Found) -> tuple[bytes, ...]:
    """The found files that are, by name and size, what an entry says: each is to be read."""
    read: dict[bytes, None] = {}
    for entry in files:
        read |= {path: None for path in _where(entry, found) if found.sizes[path] == entry.size}
    return tuple(read)


def compare(
    doc: ManifestDoc,
    found: Found,
    looks: Mapping[bytes, Look],
    listed: AbstractSet[bytes] | None,
) -> Compared:
    """Answer each entry, and name what no entry asked for.

    `looks` are by path; a path without one has a size that no entry gives it. `listed` are the
    names in the folder's own checksum list, None without one: a superseded version may be absent
    where that list does not have it, for it was copied to another drive only.
    """
    standing = _standing(doc, found, looks)
    used = set(standing.values())
    checked: list[Checked] = []
    blocking: set[bytes] = set()
    for entry in doc.files:
        if entry.place in standing:
            checked.append(Checked(entry.place, Answer.INTACT, ""))
        elif (lacking := _lacking(entry, found, looks, used, blocking, listed)) is not None:
            checked.append(lacking)
    left = [p for p in found.sizes if p not in used]
    return Compared(
        tuple(checked),
        _strangers(doc.day, left, found.skipped, blocking),
        _misnamed(doc, found, looks, frozenset(left)),
        tuple(display(p) for p in left if _PART.fullmatch(p)),
        sum(looks[p].seen is not Seen.MEDIUM for p in used if p in looks),
    )


def _standing(doc: ManifestDoc, found: Found, looks: Mapping[bytes, Look]) -> dict[bytes, bytes]:
    """Where the intact entries stand, by place."""
    standing: dict[bytes, bytes] = {}
    used: set[bytes] = set()
    # Own places first: a name that one copy was given elsewhere may be another file's place here.
    for places_of in (_own_place, _where):
        for entry in doc.files:
            free = (p for p in places_of(entry, found) if p not in used)
            path = next((p for p in free if _fits(entry, looks.get(p))), None)
            if path is not None and entry.place not in standing:
                standing[entry.place] = path
                used.add(path)
    return standing


def _own_place(entry: ManifestFile, found: Found) -> list[bytes]:
    path = found.at(entry.place)
    return [] if path is None else [path]


def _where(entry: ManifestFile, found: Found) -> list[bytes]:
    """The found files that may be the entry's; that at its own place comes first."""
    at = (found.at(place) for place in (entry.place, *entry.copy_paths))
    return list(dict.fromkeys(path for path in at if path is not None))


def _fits(entry: ManifestFile, look: Look | None) -> bool:
    return look is not None and look.digests == Digests(entry.xxh64, entry.sha256)


def _lacking(
    entry: ManifestFile,
    found: Found,
    looks: Mapping[bytes, Look],
    used: set[bytes],
    blocking: set[bytes],
    listed: AbstractSet[bytes] | None,
) -> Checked | None:
    """Why an entry is not intact; None where nothing of it is expected here."""
    if not entry.current and not entry.copy_paths:
        return None
    for path in _where(entry, found):
        if path not in used:
            used.add(path)
            return _differs(entry, found.sizes[path], looks.get(path))
    names = (entry.place, *entry.copy_paths)
    for name in names:
        above = _blocked(name, found.skipped)
        if above is not None:
            blocking.add(above)
            why = f"{display(above)}: {found.skipped[above]}"
            return Checked(entry.place, Answer.UNREADABLE, why)
    if entry.current or listed is None or not listed.isdisjoint(names):
        return Checked(entry.place, Answer.MISSING, "it is not in the folder")
    return None


def _differs(entry: ManifestFile, size: int, look: Look | None) -> Checked:
    if look is not None and look.why:
        return Checked(entry.place, Answer.UNREADABLE, look.why)
    if size != entry.size:
        why = f"{size} bytes instead of {entry.size}"
    else:
        why = "other bytes than were recorded"
    return Checked(entry.place, Answer.ALTERED, why)


def _blocked(place: bytes, skipped: Mapping[bytes, str]) -> bytes | None:
    """What stands at a place, or above it, and is neither file nor readable folder."""
    parts = place.split(b"/")
    above = (b"/".join(parts[:count]) for count in range(len(parts), 0, -1))
    return next((path for path in above if path in skipped), None)


def _strangers(
    day: str, left: Iterable[bytes], skipped: Mapping[bytes, str], blocking: AbstractSet[bytes]
) -> tuple[str, ...]:
    ours = re.compile(re.escape(day.encode()) + _OURS)
    files = [
        display(path)
        for path in left
        if not (ours.fullmatch(path) or _RECEIPT.fullmatch(path) or _PART.fullmatch(path))
        and (litter_name(path) is None or _hidden(path))
    ]
    others = [f"{display(p)} ({why})" for p, why in skipped.items() if p not in blocking]
    return tuple(sorted(files + others))


def _misnamed(
    doc: ManifestDoc, found: Found, looks: Mapping[bytes, Look], left: AbstractSet[bytes]
) -> frozenset[str]:
    """Left files under a name that is a recording's or its copy's, with bytes that are not its."""
    return frozenset(
        display(path)
        for entry in doc.files
        for path in _where(entry, found)
        if path in left and not _fits(entry, looks.get(path))
    )


def _hidden(path: bytes) -> bool:
    """Audio in a folder of system litter: somebody threw it away, or hid it."""
    pattern = litter_name(path)
    return pattern is not None and pattern.endswith("/") and holds_audio(path)


def outside(folders: Iterable[bytes], files: Iterable[bytes]) -> Outside:
    """The files of a listing in none of the checked days' folders, without litter."""
    days = tuple(folder + b"/" if folder else b"" for folder in folders)
    parents = tuple(day[:-1].rpartition(b"/")[0] for day in days)
    around = tuple(parent + b"/" if parent else b"" for parent in parents)
    left = [p for p in files if not p.startswith(days) and litter_name(p) is None]
    beside = tuple(p for p in left if p.startswith(around) and not is_salvage(p))
    return Outside(beside, len(left) - len(beside))


def faults(manifest: Manifest, compared: Compared) -> tuple[str, ...]:
    """What stands against confirming a day, in short words; none if it may be confirmed."""
    counts = [(len(compared.of(a)), a.value) for a in Answer if a is not Answer.INTACT]
    counts.append((len(compared.strangers), "not in the manifest"))
    counts.append((len(manifest.doc.refused), "named in the manifest in a way that is not opened"))
    told = [f"{count} {word}" for count, word in counts if count]
    if not compared.checked:
        told.append("the manifest names no file")
    if not manifest.signed.good:
        told.append({"none": "no signature"}.get(manifest.signed.word, "a bad signature"))
    return tuple(told)


def verdict_of(manifest: Manifest) -> Verdict | None:
    """The mixer's verdict; None where no good signature says that it is the mixer's."""
    return manifest.doc.verdict if manifest.signed.good else None


def reasons_of(manifest: Manifest) -> tuple[str, ...]:
    """Why the mixer holds, shown, without the advice that is for the mixer alone."""
    return tuple(shown(_for_all(reason)) for reason in manifest.doc.reasons)


def _for_all(reason: str) -> str:
    """Without its last sentence where that is for the mixer alone."""
    found = _FOR_THE_MIXER.search(reason)
    if found is None:
        return reason
    before, dot, _ = reason[: found.start()].rpartition(".")
    return f"{before}{dot} The mixer has not decided on it yet."


def day_conclusion(manifest: Manifest, compared: Compared) -> str:
    """One sentence for one day; a second one where the mixer said HOLD."""
    held = verdict_of(manifest) is Verdict.HOLD
    if held and not faults(manifest, compared) and manifest.signed.word == "confirmed":
        return _arrived(manifest, compared).removesuffix(".") + ", but the mixer's verdict is HOLD."
    return _arrived(manifest, compared) + (" The mixer's verdict is HOLD." if held else "")


def _arrived(manifest: Manifest, compared: Compared) -> str:
    doc, signed = manifest.doc, manifest.signed
    name = f"{doc.day} r{doc.revision} of {shown(doc.production)}"
    against = faults(manifest, compared)
    all_ = len(compared.checked)
    if against:
        intact = len(compared.of(Answer.INTACT))
        return f"{name} is NOT confirmed: {', '.join(against)}; {intact} of {all_} files intact."
    if signed.word == "confirmed":
        return f"Everything arrived intact: all {all_} files of {name}, signed by the key you gave."
    return (
        f"All {all_} files of {name} match their manifest, but its key is unconfirmed: "
        f"compare {signed.signer} with the mixer by phone."
    )
