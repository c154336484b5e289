"""A lost catalogue, rebuilt from the manifests that were signed: it costs time, never evidence.

Rules of this file:
1. Only what our own key signed counts. Anything else is named, left where it is, and left out.
2. A drive that fails is named, and the others are read.
3. Nothing is written to a drive; what stands on a drive only is kept in the laptop's archive.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from takehold.decide.day import is_day
from takehold.decide.manifest import NAMESPACE, PRINCIPAL
from takehold.decide.manifest_names import names_of
from takehold.decide.rebuild import facts_of_manifests
from takehold.engine.reading import read_up
from takehold.formats.canonical import parse
from takehold.formats.manifest_doc import ManifestDoc, read_manifest
from takehold.formats.names import display, safe_part, shown
from takehold.formats.signature import fingerprint, public_line, verify
from takehold.model.errors import BadSignature, Malformed, Stalled, TakeholdError, VolumeGone
from takehold.model.facts import Fact, Inventoried, Proven
from takehold.model.situation import Target
from takehold.ports.archive import Archive
from takehold.ports.disk import DestinationTree, Disk
from takehold.ports.signer import Signer

MANIFEST_CAP = 64 << 20
SIGNATURE_CAP = 1 << 16
ARCHIVE = "the laptop's archive"
NAMED = 5
LEFT_OUT = "It is left as it is and left out."

# Reads one file of a day's folder by its name, up to a cap in bytes.
Read = Callable[[str, int], bytes]

_MANIFEST = re.compile(r"r([1-9][0-9]{0,5})\.manifest\.json", re.ASCII)


@dataclass(frozen=True, slots=True)
class Page:
    """A manifest that our key signed."""

    raw: bytes
    doc: Mapping[str, object]
    told: ManifestDoc

    @property
    def sha256(self) -> str:
        """What the manifest after it names it by."""
        return hashlib.sha256(self.raw).hexdigest()


@dataclass(slots=True)
class _Search:
    """What was found so far, by day and revision, and what is to be said."""

    archive: Archive
    signer: Signer
    production: str
    pages: dict[tuple[str, int], Page] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    failed: set[str] = field(default_factory=set)


def rebuild(
    archive: Archive, disk: Disk, targets: Iterable[Target], signer: Signer, production: str
) -> tuple[tuple[Fact, ...], tuple[str, ...]]:
    """The facts that the archive's and the present drives' manifests tell, and what was found.

    The facts fold into a new ledger. The sentences name every manifest that is left out, with the
    reason, every drive that failed, and what is lacking. Raises nothing foreseeable.
    """
    search = _Search(archive, signer, production)
    present = list(targets)
    _read_archive(search)
    for target in present:
        _read_drive(search, disk, target)
    _say_gaps(search)
    ordered = [search.pages[key] for key in sorted(search.pages)]
    facts = facts_of_manifests((page.raw, page.doc) for page in ordered)
    facts = _without_lost(search, facts, disk, present)
    search.said.append(_summary(search, facts))
    return facts, tuple(search.said)


def number_of(day: str, name: str) -> int | None:
    """The revision whose manifest has that name in that day's folder, None for another file."""
    found = _MANIFEST.fullmatch(name.removeprefix(f"{day}."))
    if found is None or names_of(day, int(found[1]))["manifest"] != name:
        return None
    return int(found[1])


# -- where manifests lie


def _read_archive(search: _Search) -> None:
    try:
        days = [day for day in search.archive.days() if is_day(day)]
        kept = [(day, name) for day in days for name in search.archive.names(day)]
    except TakeholdError as error:
        search.said.append(
            f"{ARCHIVE.capitalize()} cannot be read: {error.says} {error.do}".strip()
        )
        return
    for day, name in kept:
        number = number_of(day, name)
        if number is not None:
            _take(search, ARCHIVE, day, number, _keeping(search.archive, day))


def _keeping(archive: Archive, day: str) -> Read:
    return lambda name, _cap: archive.read(day, name)


def _read_drive(search: _Search, disk: Disk, target: Target) -> None:
    name = shown(target.name)
    try:
        with disk.destination(target.root) as tree:
            _read_days(search, name, tree)
    except TakeholdError as error:
        search.failed.add(target.root.identity)
        search.said.append(
            f"{name} could not be read to its end: {error.says} What else it holds is not known; "
            "put it in again and rebuild once more if a day is lacking."
        )


def _read_days(search: _Search, name: str, tree: DestinationTree) -> None:
    folder = safe_part(search.production.encode())
    days = [day for day in map(text_of, tree.taken(folder)) if is_day(day)]
    for day in sorted(days):
        below = folder + b"/" + day.encode() + b"/"
        try:
            numbers = {number_of(day, text_of(held)) for held in tree.taken(below[:-1])}
        except (VolumeGone, Stalled):
            raise
        except TakeholdError as error:
            search.said.append(f"{name}: the folder of {day} cannot be read: {error.says}")
            continue
        for number in sorted(n for n in numbers if n is not None):
            _take(search, name, day, number, reading(tree, below))


def reading(tree: DestinationTree, folder: bytes) -> Read:
    """What reads a day's files on a drive."""

    def read(name: str, cap: int) -> bytes:
        with tree.open(folder + name.encode()) as reader:
            return read_up(reader, cap)

    return read


def text_of(name: bytes) -> str:
    """A name as the system's own decoding has it."""
    return name.decode("utf-8", "surrogateescape")


# -- one manifest


def _take(search: _Search, where: str, day: str, number: int, read: Read) -> None:
    """Judge one manifest; a fault of its own leaves it out, one of the drive is raised."""
    names = names_of(day, number)
    known = search.pages.get((day, number))
    try:
        raw = read(names["manifest"], MANIFEST_CAP)
        if known is not None and known.raw == raw:
            return
        signature = read(names["signature"], SIGNATURE_CAP)
        page = judged(search.signer, day, number, raw, signature)
        if where != ARCHIVE:
            must_be_ours(page.told, search.production)
    except (VolumeGone, Stalled):
        raise
    except TakeholdError as error:
        search.said.append(f"{names['manifest']} ({where}): {error.says} {LEFT_OUT}")
        return
    if known is not None:
        says = "It has other content than the one that counts, and both are signed with our key."
        search.said.append(f"{names['manifest']} ({where}): {says} {LEFT_OUT}")
        return
    search.pages[day, number] = page
    if where != ARCHIVE:
        _keep(search, where, page, signature)


def judged(signer: Signer, day: str, number: int, raw: bytes, signature: bytes) -> Page:
    """The manifest in these bytes. Raises BadSignature or Malformed where it does not count."""
    key = verify(raw, signature, NAMESPACE)
    if public_line(key) != signer.public_line():
        raise BadSignature(f"It is signed with another key ({fingerprint(key)}).")
    told = read_manifest(raw)
    if (told.day, told.revision) != (day, number):
        raise Malformed(f"It says that it is revision {told.revision} of {told.day}.")
    if told.refused:
        raise Malformed(f"{len(told.refused)} of its places leave their folder or meet others.")
    doc = parse(raw, MANIFEST_CAP)
    assert isinstance(doc, dict)  # read_manifest has seen to it
    facts_of_manifests([(raw, doc)])
    return Page(raw, doc, told)


def must_be_ours(told: ManifestDoc, production: str) -> None:
    """Raise Malformed for a manifest of another production."""
    if safe_part(told.production.encode()) != safe_part(production.encode()):
        raise Malformed(f"It is of another production, {shown(told.production)}.")


def _keep(search: _Search, where: str, page: Page, signature: bytes) -> None:
    try:
        keep(search.archive, search.signer, page, signature)
    except TakeholdError as error:
        name = names_of(page.told.day, page.told.revision)["manifest"]
        says = f"It counts, and could not be kept in {ARCHIVE}: {error.says}"
        search.said.append(f"{name} ({where}): {says}")


def keep(archive: Archive, signer: Signer, page: Page, signature: bytes) -> None:
    """Keep in the archive what stood on a drive only, beside what may be there of it."""
    day, names = page.told.day, names_of(page.told.day, page.told.revision)
    signers = signer.allowed_signers(PRINCIPAL, NAMESPACE)
    files = {names["manifest"]: page.raw, names["signature"]: signature, names["signers"]: signers}
    held = set(archive.names(day)) - {names["manifest"]}
    archive.keep(day, {n: data for n, data in files.items() if n not in held})


# -- what is lacking


def _say_gaps(search: _Search) -> None:
    """A manifest names the one before it (P11): one that was not found is named."""
    for _, page in sorted(search.pages.items(), key=lambda item: item[0]):
        before = page.told.previous
        if before is None:
            continue
        found = search.pages.get((before.day, before.revision))
        if found is None or found.sha256 != before.sha256:
            search.said.append(
                f"Revision {before.revision} of {before.day}, which revision "
                f"{page.told.revision} of {page.told.day} follows, was not found. "
                "Look for it on the drives that are not connected."
            )


def _without_lost(
    search: _Search, facts: tuple[Fact, ...], disk: Disk, targets: Iterable[Target]
) -> tuple[Fact, ...]:
    """Without the copies that are plainly not there: they are owed, and are made again."""
    sizes = {f.recording.id: f.recording.stamp.size for f in facts if isinstance(f, Inventoried)}
    lost: set[Fact] = set()
    for target in targets:
        root = target.root.identity
        mine = [f for f in facts if isinstance(f, Proven) and f.copy.root == root]
        if not mine or root in search.failed:
            continue
        here: list[Proven] = []
        try:
            with disk.destination(target.root) as tree:
                here += (f for f in mine if size_of(tree, f.copy.path) != sizes[f.copy.recording])
        except TakeholdError as error:
            says = f"{shown(target.name)}: not all of its copies could be looked for: {error.says}"
            search.said.append(says)
        if here:
            search.said.append(_lost(target, here))
            lost.update(here)
    return tuple(f for f in facts if f not in lost)


def _lost(target: Target, copies: list[Proven]) -> str:
    names = ", ".join(display(fact.copy.path) for fact in copies[:NAMED])
    more = f" and {len(copies) - NAMED} more" if len(copies) > NAMED else ""
    return (
        f"{shown(target.name)} lacks proven copies, or holds them with another length: "
        f"{names}{more}. They are copied again."
    )


def _summary(search: _Search, facts: tuple[Fact, ...]) -> str:
    if not search.pages:
        return "No manifest signed with this key was found; the catalogue begins empty."
    days = len({day for day, _ in search.pages})
    files = sum(isinstance(f, Inventoried) for f in facts)
    copies = sum(isinstance(f, Proven) for f in facts)
    return (
        f"Known again from signed manifests ({len(search.pages)}): "
        f"days {days}, files {files}, proven copies {copies}."
    )


def size_of(tree: DestinationTree, path: bytes) -> int | None:
    """Its bytes, None where it is not there."""
    there = tree.stamp_of(path)
    return None if there is None else there.size
