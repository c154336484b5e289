"""`takehold preflight`: is this laptop fit for the day? Rows; printing them is done elsewhere."""

from __future__ import annotations

import mmap
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime

from takehold.decide.apart import meets
from takehold.decide.keys import folder_key
from takehold.decide.sources import volumes_for
from takehold.decide.standing import devices_of
from takehold.formats.names import display, shown
from takehold.model.errors import TakeholdError
from takehold.model.recording import Copy, Proof, Seen
from takehold.model.settings import Destination, Settings, Source
from takehold.model.volume import Root, Volume
from takehold.ports.disk import DestinationTree, Disk
from takehold.ports.volumes import Absent, Volumes

MEGABYTE = 1_000_000
FIRST_YEAR = 2024  # before this program was: such a clock was never set
TRACKS = 8
LEAST_MINUTES = 120  # less will not last until somebody looks again; chosen, no source
_TWICE = "label-twice"
_PROBE = b"takehold preflight: this file may be removed. "

Identity = Callable[[str], str | None]


@dataclass(frozen=True, slots=True)
class Check:
    """One row: what was looked at, whether it is fit, what was found, what to do if not.

    `seen` is false where nothing is there yet that could be fit or not.
    """

    what: str
    ok: bool
    says: str
    do: str
    seen: bool = True

    @property
    def mark(self) -> str:
        """The row's first word."""
        if not self.ok:
            return "NOT"
        return "fit" if self.seen else "-"


def preflight(
    settings: Settings,
    volumes: Volumes,
    disk: Disk,
    catalogue_identity: Identity,
    key_path: str,
    now: datetime | None = None,
) -> tuple[Check, ...]:
    """Everything that can be known before the first take; it leaves nothing on any volume.

    `catalogue_identity` gives the identity recorded for a configured folder (decide/keys);
    `key_path` lies on the laptop's own disk; `now` is the laptop's clock unless given.
    """
    mounted = volumes.mounted()
    own = _own_devices(volumes, mounted, key_path)
    look = _Look(settings, volumes, disk, catalogue_identity, mounted, own)
    counts = f"{len(settings.sources)} sources, {len(settings.destinations)} destinations"
    return (
        Check("config", True, f"{shown(settings.production)}: {counts}", ""),
        _key(key_path),
        _clock(now or datetime.now().astimezone()),
        *look.destinations(),
        *(look.source(source) for source in settings.sources),
    )


def _key(key_path: str) -> Check:
    from takehold.adapters.signer import load_key

    try:
        signer = load_key(os.fsencode(key_path))
    except TakeholdError as error:
        return Check("key", False, error.says, error.do or "Make one: takehold key new")
    return Check("key", True, signer.fingerprint(), "")


def _clock(now: datetime) -> Check:
    if now.year < FIRST_YEAR:
        return Check("clock", False, f"the laptop says {now:%Y-%m-%d %H:%M}", "Set its clock.")
    return Check("clock", True, f"{now:%Y-%m-%d %H:%M}", "")


@dataclass(frozen=True, slots=True)
class _Look:
    """One look at what is mounted."""

    settings: Settings
    volumes: Volumes
    disk: Disk
    identity: Identity
    mounted: tuple[Volume, ...]
    own: frozenset[str]

    def destinations(self) -> Iterator[Check]:
        """A row for each, and one for how many devices they are."""
        roots: list[Root] = []
        for to in self.settings.destinations:
            root = self._root(to)
            if isinstance(root, Root):
                roots.append(root)
                yield self._destination(to, root)
            else:
                yield Check(f"destination {to.name}", False, root.says, _connect(to))
        yield _devices(roots, self.settings.copies_required)

    def source(self, source: Source) -> Check:
        """A card that is not in yet is fine; one that answers twice is not."""
        what = f"source {source.name}"
        root = self._root(source)
        if isinstance(root, Absent):
            if root.code == _TWICE:
                return Check(what, False, root.says, "Take one out, or relabel it.")
            return Check(what, True, f"not in yet: {root.says}", "", seen=False)
        try:
            with self.disk.source(root):
                return Check(what, True, f"in: {display(root.path)}", "")
        except TakeholdError as error:
            return Check(what, False, error.says, error.do or "Put it in again.")

    def _root(self, of: Destination | Source) -> Root | Absent:
        """Where it is now, or why it is nowhere."""
        if of.path is not None:
            return self.volumes.folder(of.path, self.identity(folder_key(of.name, of.path)))
        pattern = of.label or ""
        found = volumes_for(pattern, self.mounted)
        if not found:
            return Absent(f'no volume has the label "{shown(pattern)}"')
        if len(found) > 1:
            places = ", ".join(display(volume.mount) for volume in found)
            return Absent(f'{len(found)} volumes answer to "{shown(pattern)}": {places}', _TWICE)
        folder = of.folder if isinstance(of, Destination) else b""
        return self.volumes.root(found[0], folder)

    def _destination(self, to: Destination, root: Root) -> Check:
        """Its rights, proven by writing and reading back, and its room."""
        what, where = f"destination {to.name}", display(root.path)
        refused = self._refused(root)
        if refused is not None:  # looked at first: the probe must not be written to a card (P1)
            return Check(what, False, f"{where} {refused[0]}", refused[1])
        try:
            with self.disk.destination(root) as tree:
                short = _probe(tree)
                free = tree.free_bytes()
        except TakeholdError as error:
            return Check(what, False, error.says, error.do or "Correct it, then look again.")
        if short is None:
            do = "Do not use this drive; a copy on it cannot be trusted."
            return Check(what, False, f"{where}: what was written came back changed", do)
        room, fits = _room(free, self.settings)
        do = "" if fits else "Make room, or connect a larger drive."
        if to.path is not None and root.volume.device in self.own:
            short += "; it is on the laptop's own disk"
            do = do or "If it is meant to be a drive's, mount that drive before the first run."
        return Check(what, fits, f"{where}: {room}{short}", do)

    def _refused(self, root: Root) -> tuple[str, str] | None:
        """Why nothing may be written there, and what to do."""
        if card := self._card(root):
            says = f"lies on a volume that answers to source {card}"
            return says, "Change a label in the config: cards are only read."
        if beside := self._card_on_its_disk(root):
            says = f"is on the same disk as the card of source {beside}"
            return says, "Use another disk: what takes the card takes the copy."
        if (source := meets(root, self._folders())) is not None:
            says = f"and the folder of source {source.name} lie within each other"
            return says, "Give a folder outside the source's."
        if not root.volume.keeps:
            says = f"is kept in memory ({root.volume.kind}) and dies with the power"
            return says, "Give a folder on a disk."
        return None

    def _folders(self) -> Iterator[tuple[Source, Root]]:
        """The folders that are sources and are there."""
        for source in self.settings.sources:
            root = self._root(source) if source.path is not None else None
            if isinstance(root, Root):
                yield source, root

    def _card(self, root: Root) -> str | None:
        """The labelled source whose card holds this root."""
        for source in self.settings.sources:
            if source.label and root.volume in volumes_for(source.label, (root.volume,)):
                return source.name
        return None

    def _card_on_its_disk(self, root: Root) -> str | None:
        """The labelled source whose card is in and stands on a disk of this root (P5)."""
        for source in self.settings.sources:
            cards = volumes_for(source.label, self.mounted) if source.label else ()
            if any(card.disks & root.disks for card in cards):
                return source.name
        return None


def _own_devices(volumes: Volumes, mounted: tuple[Volume, ...], key_path: str) -> frozenset[str]:
    """The laptop's own file systems: that of the system, and that which the key lies on."""
    home = volumes.folder(os.path.dirname(os.fsencode(key_path)), None)
    own = {v.device for v in mounted if v.mount == b"/"}
    return frozenset(own | ({home.volume.device} if isinstance(home, Root) else set()))


def _connect(to: Destination) -> str:
    return "Connect or mount it." if to.path is None else "Make the folder, or mount its volume."


def _probe(tree: DestinationTree) -> str | None:
    """Write, flush, read back and drop a part. What it cannot promise; None if bytes changed."""
    size = mmap.PAGESIZE
    written, back = mmap.mmap(-1, size), mmap.mmap(-1, size)  # page-aligned, as the disk asks
    content = (_PROBE * (size // len(_PROBE) + 1))[:size]
    written[:] = content
    part = tree.part(b"")
    try:
        part.write(memoryview(written), 0)
        durable = part.flush(size)
        with part.reader() as reader:
            count = reader.read_into(memoryview(back), 0)
            seen = reader.seen(size)
    finally:
        part.drop()
    if count != size or back[:] != content:
        return None
    notes = "" if durable else "; it cannot promise that a flush reached the medium"
    return notes + ("" if seen is Seen.MEDIUM else "; it cannot be read past the cache")


def _room(free: int, settings: Settings) -> tuple[str, bool]:
    """The room for recordings, in words, and whether enough is left above the reserve."""
    rate = settings.expect.sample_rate or 48_000
    bits = settings.expect.bit_depth or 24
    spare = free - settings.reserve_megabytes * MEGABYTE
    if spare <= 0:
        reserve = f"reserve of {settings.reserve_megabytes} MB"
        return f"{free // MEGABYTE} MB free, not more than the {reserve}", False
    minutes = spare // (TRACKS * rate * bits // 8) // 60
    of = f"{TRACKS} tracks of {rate / 1000:g} kHz, {bits} bit"
    return (
        f"{free / 1e9:.1f} GB free, room for {minutes // 60} h {minutes % 60:02} min of {of}",
        minutes >= LEAST_MINUTES,
    )


def _devices(roots: list[Root], required: int) -> Check:
    """P5: destinations on one disk count once, those in memory not at all."""
    proof = Proof(at=0, seen=Seen.MEDIUM, durable=True)
    copies = [Copy(0, "", root.identity, root.disks, b"", proof) for root in roots]
    count = devices_of(copies)
    says = f"{count} separate disks among {len(roots)} destinations, {required} copies required"
    do = "" if count >= required else "Connect another disk; two folders on one disk count once."
    return Check("separate disks", count >= required, says, do)
