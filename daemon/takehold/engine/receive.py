"""Checking a received folder: every file of its newest manifests is read, cold, and answered.

A fault in one file is that file's answer; only a volume that went away ends the work.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Protocol

from takehold.decide.manifest import NAMESPACE
from takehold.decide.manifest_names import names_of, stamp
from takehold.decide.receive import (
    Answer,
    Compared,
    Found,
    Look,
    Manifest,
    Named,
    Outside,
    compare,
    found_in,
    named_manifests,
    newest,
    outside,
    worth_reading,
)
from takehold.decide.signed import Signed, judge_signature
from takehold.engine.reading import read_up, read_whole
from takehold.engine.ring import SIZE
from takehold.formats.checksum_list import read_list
from takehold.formats.manifest_doc import MANIFEST_CAP, ReceiptDoc, read_manifest
from takehold.formats.names import display
from takehold.model.errors import FileMissing, Malformed, TakeholdError, VolumeGone
from takehold.model.recording import Seen
from takehold.ports.clock import Clock
from takehold.ports.disk import Listing, SourceTree

KEY_FILE_CAP = 1 << 16
LIST_CAP = 64 << 20
MOST_NAMED = 10_000
"""Strangers that a receipt names; the rest are counted."""


class Watcher(Protocol):
    """Is told how far the reading is."""

    def begins(self, files: int, size: int) -> None:
        """So many files with so many bytes in all are going to be read."""

    def reads(self, path: bytes) -> None:
        """This file is read from now on."""

    def moved(self, size: int) -> None:
        """So many bytes more were read."""


@dataclass(frozen=True, slots=True)
class Receiver:
    """Who checks: a person's name, the folder that is checked, and the program."""

    received_by: str
    folder: bytes
    program: str


@dataclass(frozen=True, slots=True)
class Day:
    """One day's answer."""

    manifest: Manifest
    compared: Compared
    receipt: ReceiptDoc


@dataclass(frozen=True, slots=True)
class Received:
    """All of a folder. `unread` are manifests that could not be read, with why."""

    days: tuple[Day, ...]
    unread: tuple[tuple[bytes, str], ...]
    older: tuple[bytes, ...]
    outside: Outside


def receive(
    tree: SourceTree,
    given: frozenset[str] | None,
    receiver: Receiver,
    clock: Clock,
    watcher: Watcher,
) -> Received:
    """Check a folder: a day's, a production's or a whole drive's.

    `given` are fingerprints that the receiver trusts, None without any. Raises FileMissing where
    no manifest lies in it, and what the tree raises for the folder itself.
    """
    listing = tree.listing()
    shelf = _Shelf(tree, listing)
    manifests, unread = _manifests(shelf, given)
    chosen, older = newest(manifests)
    work = [_Work(m, found_in(m.named.folder, listing.files, listing.skipped)) for m in chosen]
    sizes = [w.found.sizes[path] for w in work for path in w.paths]
    watcher.begins(len(sizes), sum(sizes))
    days = tuple(_day(shelf, one, receiver, clock, watcher) for one in work)
    beside = outside((m.named.folder for m in chosen), shelf.sizes)
    return Received(days, unread, tuple(m.named.path for m in older), beside)


class _Work:
    """A manifest with what lies in its folder, and which of that is to be read."""

    def __init__(self, manifest: Manifest, found: Found) -> None:
        self.manifest = manifest
        self.found = found
        self.paths = worth_reading(manifest.doc.files, found)


class _Shelf:
    """The small files of a listed folder."""

    def __init__(self, tree: SourceTree, listing: Listing) -> None:
        self.tree = tree
        self.sizes = {path: stamp.size for path, stamp in listing.files}
        self.skipped = {skip.path: skip.why for skip in listing.skipped}

    def small(self, path: bytes, cap: int) -> bytes | None:
        """A file's bytes, None if there is none. Raises Malformed or what the disk raises."""
        if path in self.skipped:
            raise Malformed(f"{display(path)} is no file: {self.skipped[path]}.")
        size = self.sizes.get(path)
        if size is None:
            return None
        if size > cap:
            raise Malformed(f"{display(path)} has {size} bytes; at most {cap} are read.")
        with self.tree.open(path) as reader:
            return read_up(reader, cap)


def _manifests(
    shelf: _Shelf, given: frozenset[str] | None
) -> tuple[list[Manifest], tuple[tuple[bytes, str], ...]]:
    """The newest readable manifest of each folder and day, and the newer ones that are not."""
    groups = named_manifests([*shelf.sizes, *shelf.skipped])
    if not groups:
        raise FileMissing(
            "No manifest lies in this folder.",
            "Give the day's folder, the production's or the drive's top; "
            "a manifest is called like 2031-05-06.r1.manifest.json.",
        )
    read: list[Manifest] = []
    unread: list[tuple[bytes, str]] = []
    for group in groups:
        for named in group:
            try:
                read.append(_manifest(shelf, named, given))
                break
            except VolumeGone:
                raise
            except TakeholdError as error:
                unread.append((named.path, error.says))
    return read, tuple(unread)


def _manifest(shelf: _Shelf, named: Named, given: frozenset[str] | None) -> Manifest:
    raw = shelf.small(named.path, MANIFEST_CAP) or b""
    signed = _signed(shelf, named, raw, given)
    doc = read_manifest(raw)
    if (doc.day, doc.revision) != (named.day, named.number):
        raise Malformed(f"It says {doc.day} r{doc.revision}, and its name says something else.")
    return Manifest(named, doc, hashlib.sha256(raw).hexdigest(), signed)


def _signed(shelf: _Shelf, named: Named, raw: bytes, given: frozenset[str] | None) -> Signed:
    names = names_of(named.day, named.number)
    try:
        armoured = shelf.small(_in(named.folder, names["signature"]), KEY_FILE_CAP)
        beside = (
            None
            if given is not None
            else shelf.small(_in(named.folder, names["signers"]), KEY_FILE_CAP)
        )
    except VolumeGone:
        raise
    except TakeholdError as error:
        return Signed("bad", "", error.says)
    return judge_signature(raw, armoured, NAMESPACE, given, beside)


def _in(folder: bytes, name: str) -> bytes:
    return folder + b"/" + name.encode() if folder else name.encode()


def _day(shelf: _Shelf, work: _Work, receiver: Receiver, clock: Clock, watcher: Watcher) -> Day:
    manifest, found = work.manifest, work.found
    below = manifest.named.folder + b"/" if manifest.named.folder else b""
    looks = {
        path: _look(shelf.tree, below + path, found.sizes[path], watcher) for path in work.paths
    }
    compared = compare(manifest.doc, found, looks, _listed(shelf, manifest.named))
    return Day(manifest, compared, _receipt(manifest, compared, receiver, clock.now()))


def _look(tree: SourceTree, path: bytes, size: int, watcher: Watcher) -> Look:
    """Read one file whole."""
    watcher.reads(path)
    told = 0

    def moved() -> None:
        nonlocal told
        step = min(SIZE, size - told)
        told += step
        watcher.moved(step)

    try:
        with tree.open(path) as reader:
            digests, seen = read_whole(reader, size, moved)
    except VolumeGone:
        raise
    except TakeholdError as error:
        return Look(None, Seen.UNKNOWN, error.says)
    finally:
        watcher.moved(size - told)
    return Look(digests, seen, "" if digests else "it changed while it was read")


def _listed(shelf: _Shelf, named: Named) -> frozenset[bytes] | None:
    """The names in the revision's own list here; None where it does not tell."""
    try:
        raw = shelf.small(_in(named.folder, names_of(named.day, named.number)["sha256"]), LIST_CAP)
        return None if raw is None else frozenset(name for _, name in read_list(raw))
    except VolumeGone:
        raise
    except TakeholdError:
        return None


def _receipt(manifest: Manifest, compared: Compared, receiver: Receiver, at: int) -> ReceiptDoc:
    doc, folder = manifest.doc, manifest.named.folder
    not_whole = (*compared.of(Answer.ALTERED), *compared.of(Answer.UNREADABLE))
    return ReceiptDoc(
        name=manifest.named.path.rpartition(b"/")[2].decode(),
        sha256=manifest.sha256,
        production=doc.production,
        day=doc.day,
        revision=doc.revision,
        checked_at=stamp(at),
        received_by=receiver.received_by,
        folder=display(receiver.folder + (b"/" + folder if folder else b"")),
        program=receiver.program,
        intact=len(compared.of(Answer.INTACT)),
        altered=(*(display(c.place) for c in not_whole), *doc.refused),
        missing=tuple(display(c.place) for c in compared.of(Answer.MISSING)),
        unknown=_most(compared.strangers),
        signature=manifest.signed.word,
        signer=manifest.signed.signer,
    )


def _most(names: tuple[str, ...]) -> tuple[str, ...]:
    if len(names) <= MOST_NAMED:
        return names
    return (*names[:MOST_NAMED], f"and {len(names) - MOST_NAMED} more")
