"""A shooting day's world in memory, driven by chance: cards, recorder, drives, laptop, clock.

One number makes one history, the same each time. The engine is the real one; disk, volumes, clock,
catalogue and archive are in memory, steps are carried out when they are started, and the copy
engine's threads take turns (baton.py). Properties are looked at after every turn.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cache, partial
from random import Random
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from fakedisk import FakeDisk, FakeVolume
from randomdays import properties
from randomdays.baton import Baton, in_turns
from randomdays.standins import Archive, Book, Clock, InlineLanes, Quiet, Volumes
from takehold.adapters.signer import KeySigner
from takehold.decide.manifest import Writer
from takehold.engine.cycle import Engine
from takehold.engine.cycle import World as Ports
from takehold.engine.days import Days
from takehold.engine.patience import Patience
from takehold.engine.perform import Performer
from takehold.formats.bwf_file import bwf
from takehold.model.dozing import Dozing
from takehold.model.errors import VolumeFull, VolumeGone, WorldError
from takehold.model.recording import Seen
from takehold.model.settings import Destination, Role, Settings, Source
from takehold.model.sound import Metadata, Rate, WaveFormat
from takehold.model.volume import Root, Volume

MONO = WaveFormat(1, 1, 48_000, 16, 2)
RATE = Rate(25, 1)
TURNS = 400  # far more than any look needs; more would be work without end
ROOM = 1 << 30


class Calls(list[tuple[str, bytes]]):
    """A volume's calls, each noticed by the world before it is carried out."""

    def __init__(self, noticed: Callable[[tuple[str, bytes]], None]) -> None:
        self._noticed = noticed

    def append(self, call: tuple[str, bytes]) -> None:
        super().append(call)
        self._noticed(call)


@dataclass(eq=False)
class Card:
    """A card. `truth` is what the recorder left on it; `day_of` the day of each recording."""

    name: str
    role: Role
    volume: FakeVolume
    truth: dict[bytes, bytes] = field(default_factory=dict)
    day_of: dict[bytes, str] = field(default_factory=dict)
    here: bool = False


@dataclass(eq=False)
class Drive:
    """A drive. `shadow` is what lay on it when it was last looked at, but for parts."""

    name: str
    id: int
    volume: FakeVolume
    shadow: dict[bytes, bytes] = field(default_factory=dict)
    here: bool = False


@cache
def key() -> KeySigner:
    """The production's key."""
    return KeySigner(Ed25519PrivateKey.from_private_bytes(bytes(range(32))))


class World:
    """All of it."""

    def __init__(self, number: int) -> None:
        self.chance = Random(number)
        self.baton = Baton(Random(number + 1))
        self.log: list[str] = []
        self.days = 1
        self.clock = Clock()
        self.disk = FakeDisk()
        self.book = Book(self)
        self.archive = Archive(self)
        self.given: set[bytes] = set()
        self.audio: dict[str, bytes] = {}
        self.proven: set[tuple[int, str, bytes]] = set()
        self.damaged: set[tuple[int, bytes]] = set()
        self.chain: list[Any] = []
        self.takes = 0
        self._ids = 0
        self._due: tuple[int, Callable[[], None]] | None = None
        self._instant: tuple[Any, ...] | None = None
        self._ending = False
        shared = self.chance.random() < 0.3  # two drives that are partitions of one disk
        self.names = ("shuttle-1", "shuttle-2", "cart-raid")
        if shared and self.chance.random() < 0.5:
            self.names = self.names[:2]
        self.settings = self._some_settings()
        self.cards = self._some_cards()
        self.drives: list[Drive] = []
        for at, name in enumerate(self.names):
            self.drives.append(self._new_drive(name, "disk:one" if shared and at < 2 else ""))
        self.start()

    # -- what there is

    def _some_settings(self) -> Settings:
        sources = [Source("primary", Role.PRIMARY, label="SND_A*")]
        if self.chance.random() < 0.8:
            sources.append(Source("backup", Role.BACKUP, label="SND_B*"))
        return Settings(
            "Lantern Bay",
            tuple(sources),
            tuple(Destination(n, label=n.upper()) for n in self.names),
            wrap_at=self.chance.choice((None, 21 * 60 + 30)),
            recheck_cards_at_wrap=self.chance.random() < 0.2,
            recheck_after_days=self.chance.choice((1, 30)),
            reserve_megabytes=0,
        )

    def _some_cards(self) -> list[Card]:
        labels = [
            ("SND_A1", Role.PRIMARY),
            (self.chance.choice(("SND_A1", "SND_A2")), Role.PRIMARY),
        ]
        if self.settings.has_backup():
            labels += [
                ("SND_B1", Role.BACKUP),
                (self.chance.choice(("SND_B1", "SND_B2")), Role.BACKUP),
            ]
        return [Card(f"{n} {r.value} {i}", r, self._volume(n)) for i, (n, r) in enumerate(labels)]

    def _volume(self, label: str, on: str = "", capacity: int = ROOM) -> FakeVolume:
        self._ids += 1
        number = self._ids
        about = Volume(
            b"/media/%d" % number,
            str(number),
            f"8:{number}",
            label,
            f"uuid:{number:08}",
            "exfat",
            frozenset({on or f"disk:{number}"}),
        )
        made = FakeVolume(Root(about.mount, about, about.identity), capacity=capacity)
        made.calls = Calls(partial(self._asked, made))
        return made

    def _new_drive(self, name: str, on: str = "") -> Drive:
        volume = self._volume(name.upper(), on, self.chance.choice((ROOM, ROOM, 20_000)))
        volume.durable = self.chance.random() < 0.9
        return Drive(name, self._ids, volume)

    def drive_of(self, identity: str) -> Drive:
        """The drive of a root's identity."""
        return next(d for d in self.drives if d.volume.root.identity == identity)

    def cards_here(self) -> list[Card]:
        """Cards that are in and can be read."""
        return [c for c in self.cards if c.here and not c.volume.gone and c.volume.complete]

    def drives_here(self) -> list[Drive]:
        """Drives that are connected."""
        return [d for d in self.drives if d.here and not d.volume.gone]

    # -- plugging

    def put_in(self, thing: Card | Drive, place: Volume | None = None) -> None:
        """Mount it under another path and device name than ever before, or in another's place."""
        self._ids += 1
        number, volume = self._ids, thing.volume
        mount = b"/media/%d" % number if place is None else place.mount
        about = replace(
            volume.root.volume,
            mount=mount,
            mount_id=str(number) if place is None else place.mount_id,
            device=f"8:{number}" if place is None else place.device,
            appearance=f"put in: {number}",
        )
        volume.root = Root(about.mount, about, about.identity)
        volume.in_use.clear()
        volume.give_back()
        self.disk.volumes[about.mount] = volume
        thing.here = True

    def swap(self, thing: Card | Drive) -> None:
        """Another of its kind goes where it was, under the same path and numbers.

        A card alone comes back formatted.
        """
        place = thing.volume.root.volume
        self.take_out(thing)
        if isinstance(thing, Card):
            others: list[Card | Drive] = [c for c in self.cards if not c.here]
        else:
            others = [d for d in self.drives if not d.here and d.name == thing.name]
        other = self.chance.choice(others)
        if other is thing and isinstance(other, Card):
            self.wipe(other)
        self.put_in(other, place)

    def clone(self, card: Card) -> Card:
        """Another card of the same bytes and the same identity."""
        volume = self._volume(card.volume.root.volume.label)
        about = replace(volume.root.volume, identity=card.volume.root.volume.identity)
        volume.root = Root(about.mount, about, about.identity)
        volume.files.update(card.volume.files)
        volume.stamps.update(card.volume.stamps)
        volume._ticks = card.volume._ticks + 1000  # what is edited on each has its own time
        name = f"{card.name}, clone {len(self.cards)}"
        return Card(name, card.role, volume, dict(card.truth), dict(card.day_of))

    def take_out(self, thing: Card | Drive) -> None:
        """Unplug it, whatever it was doing."""
        thing.volume.yank()
        self.disk.volumes.pop(thing.volume.root.path, None)
        thing.here = False

    # -- the recorder

    def record_take(self) -> None:
        """The recorder writes a take to a primary and a backup card that are not in the laptop."""
        self.takes += 1
        scene = f"{self.chance.randrange(1, 9)}{self.chance.choice('ABC')}"
        name = f"{self.chance.choice(('', 'D1/'))}{scene}-T{self.takes:03}.WAV".encode()
        audio = self.chance.randbytes(2 * self.chance.randrange(1, 400))
        content = self._wave(scene, audio)
        for role in (Role.PRIMARY, Role.BACKUP):
            free = [c for c in self.cards if c.role is role and not c.here]
            if free and self.chance.random() < 0.97:
                card = self.chance.choice(free)
                if self.chance.random() < 0.1:
                    content = self._wave(scene + "x", audio)
                self.put_file(card, name, content, self.today())
        if self.chance.random() < 0.1:
            for card in [c for c in self.cards if not c.here][:1]:
                self.put_file(card, b"D1/REPORT.CSV", self.chance.randbytes(30), None)

    def _wave(self, scene: str, audio: bytes) -> bytes:
        at = self.clock.true
        said = Metadata(
            scene=scene,
            date=f"{at:%Y-%m-%d}",
            time=f"{at:%H:%M:%S}",
            time_reference=self.takes * 48_000,
            timecode_rate=RATE,
        )
        return bwf(MONO, said, audio)

    def today(self) -> str:
        """The true shooting day."""
        return (self.clock.true - timedelta(hours=6)).date().isoformat()

    def put_file(self, card: Card, path: bytes, content: bytes, day: str | None) -> None:
        """The recorder writes a file."""
        card.volume.put(path, content)
        card.truth[path] = content
        card.day_of.pop(path, None)
        if day is not None:
            card.day_of[path] = day
        self.given.add(content)
        self.audio[properties.sha(content)] = content[content.find(b"data") + 8 :]

    def wipe(self, card: Card) -> None:
        """The recorder formats a card: the same label, at times the same identity."""
        card.volume.files.clear()
        card.volume.stamps.clear()
        card.volume.flip.clear()
        card.truth.clear()
        card.day_of.clear()
        if self.chance.random() < 0.5:
            self._ids += 1
            about = replace(card.volume.root.volume, identity=f"uuid:{self._ids:08}")
            card.volume.root = Root(about.mount, about, about.identity)

    # -- the laptop

    def start(self) -> None:
        """The program starts, with what the catalogue and the archive hold."""
        for volume in [x.volume for x in (*self.cards, *self.drives)]:
            volume.in_use.clear()
        ports = Ports(Volumes(self), self.disk, self.book, self.clock, Quiet())
        days = Days(self.settings, self.archive, key(), self.clock, Writer("cart", "takehold"))
        # Nothing is awake but what is asked for: sleep must change nothing.
        known = Dozing.laid(self.book, most=0)
        self.engine = Engine(self.settings, ports, days, lambda: None, known)
        patience = Patience(self.settings.stall_seconds)
        performer = Performer(self.disk, Quiet(), self.clock, patience)
        self.lanes = InlineLanes(self, performer)
        self.engine.lanes = self.lanes  # type: ignore[assignment]  # stands in

    def _asked(self, volume: FakeVolume, call: tuple[str, bytes]) -> None:
        self.noticed()
        if call[0] == "open" and call[1] in volume.flip:
            self._misread(volume, call[1])

    def _misread(self, volume: FakeVolume, path: bytes) -> None:
        """The read that begins now gets one bit wrong, another one than the last did.

        A bit of the audio: one of the header is not noticed where only the audio is compared (P8).
        """
        content = volume.files.get(path, b"")
        begin = content.find(b"data") + 8 if path.endswith(b".WAV") else 0
        if content:
            at = begin + (volume.flip[path] + 1) % (len(content) - begin)
            volume.flip[path] = at
            self.given.add(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])

    def noticed(self) -> None:
        """Something is asked of a volume, the catalogue or the archive: a fault may strike now."""
        if self._due is not None:
            left, strike = self._due
            self._due = (left - 1, strike) if left else None
            if not left:
                strike()
        self.baton.maybe()

    def strike_after(self, calls: int, strike: Callable[[], None]) -> None:
        """Let a fault strike in the middle of the work."""
        self._due = (calls, strike)

    def cut_power(self) -> None:
        """Remember this instant: what comes after it in this turn never happened."""
        drives = [(d, dict(d.volume.files), dict(d.volume.stamps)) for d in self.drives]
        self._instant = (drives, len(self.book), dict(self.archive.held), len(self.chain))

    def _power_back(self) -> None:
        assert self._instant is not None
        drives, count, held, links = self._instant
        self._instant = None
        for drive, files, stamps in drives:
            drive.volume.files, drive.volume.stamps = files, stamps
            drive.shadow = {p: b for p, b in files.items() if not properties.is_part(p)}
        self.book.back_to(count)
        self.archive.held = held
        del self.chain[links:]
        self.start()

    def ask_to_end(self) -> None:
        """The program is asked to end: steps end after the buffer in hand, the loop its turn."""
        self._ending = True
        self.lanes.stop.set()

    def _ended(self) -> None:
        """What the steps told last is recorded, and the program starts again."""
        self._ending = False
        self.engine.collect()
        self.look()
        self.start()

    def work(self) -> None:
        """Turn until nothing is left to do now, the properties looked at after each turn."""
        for _ in range(TURNS):
            told, _ = self.engine.collect()
            busy = self.engine.turn()
            self.look()
            self.clock.go(1)
            if self._instant is not None:
                self._power_back()
            elif self._ending:
                self._ended()
            elif not busy and not told:
                if self._due is None:
                    return
                _, strike = self._due  # nothing is left to strike in the middle of
                self._due = None
                strike()
        raise properties.Broken("P6: the work has no end")

    def look(self) -> None:
        """Everything that must never be, now."""
        for card in self.cards:
            properties.card_untouched(card)
            card.volume.calls.clear()
        for drive in self.drives:
            properties.drive_kept(self, drive)
            drive.volume.calls.clear()


@contextmanager
def made(number: int) -> Iterator[World]:
    """A world, its threads taking turns while it lasts."""
    baton = Baton(Random(number + 1))
    with in_turns(baton):
        world = World(number)
        world.baton = baton
        yield world


FAULTS: tuple[type[WorldError], ...] = (VolumeFull, VolumeGone, WorldError)
SEEN = (Seen.MEDIUM, Seen.UNKNOWN, Seen.CACHE)
