"""Small makers of invented days for tests of the pure core: cards, recordings, copies, sights.

Everything has a sane value unless told: a card's file is PCM of one byte a frame, so that a second
of audio is 48,000 bytes, and digests are real ones of the bytes named.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from takehold.decide.standing import DayStanding, day_standing
from takehold.formats.audio import AudioMeter
from takehold.formats.digest import FileDigest
from takehold.model import facts as f
from takehold.model.ledger import Ledger
from takehold.model.recording import (
    Copy,
    Digests,
    Load,
    Proof,
    Reading,
    Recording,
    Seen,
    Stamp,
)
from takehold.model.settings import Destination, Role, Settings, Source
from takehold.model.situation import Sight, Sighted, Situation, Target
from takehold.model.sound import Description, Kind, Metadata, Rate, Sound, Span, WaveFormat
from takehold.model.volume import Root, Volume

DAY = "2031-05-06"
HERE = datetime(2031, 5, 6, 12, 0, tzinfo=UTC)
NOON = int(HERE.timestamp())
SECOND = 48_000
BYTE_FORMAT = WaveFormat(tag=1, channels=1, sample_rate=48_000, bits=8, block_align=1)
RATE = Rate(25, 1)
CARDS = (
    Source("primary", Role.PRIMARY, label="SND_A*"),
    Source("backup", Role.BACKUP, label="SND_B*"),
)


def settings(**changes: Any) -> Settings:
    """Two cards, two drives, two copies asked for."""
    drives = (Destination("shuttle-1", "SHUTTLE_1"), Destination("shuttle-2", "SHUTTLE_2"))
    return replace(Settings("Lantern Bay", CARDS, drives), **changes)


def volume(name: str, *disks: str, kind: str = "exfat") -> Volume:
    """A mounted volume; it stands on a disk of its own unless told."""
    on = frozenset(disks or (f"disk of {name}",))
    return Volume(b"/media/" + name.encode(), f"mount {name}", name, name, f"uuid:{name}", kind, on)


def root(name: str, *disks: str, kind: str = "exfat") -> Root:
    """The top of a volume."""
    home = volume(name, *disks, kind=kind)
    return Root(home.mount, home, home.identity)


def target(name: str = "shuttle-1", *disks: str, free: int = 10**12) -> Target:
    """A destination that is there."""
    return Target(name, root(name, *disks), free)


def load(number: int = 1, role: Role = Role.PRIMARY, **changes: Any) -> Load:
    """A card's life."""
    label = {Role.PRIMARY: "SND_A", Role.BACKUP: "SND_B", Role.BODYPACK: "PACK_"}[role] + "1"
    made = Load(
        id=number,
        source=role.value,
        role=role,
        identity=f"uuid:{label}",
        label=label,
        folder=label.encode(),
        disks=frozenset({f"disk of {label}"}),
        seen_at=NOON,
        day=DAY,
    )
    return replace(made, **changes)


def digests(content: bytes) -> Digests:
    """The real checksums of these bytes."""
    digest = FileDigest()
    digest.update(memoryview(content))
    return digest.digests()


def sound(audio: bytes) -> Sound:
    """The real measure of this audio."""
    meter = AudioMeter(Span(0, len(audio)), WaveFormat(1, 1, 48_000, 8, 1))
    meter.feed(memoryview(audio), 0)
    return meter.sound()


def reading(
    audio: bytes | None = b"", head: bytes = b"", at: int = NOON, seen: Seen = Seen.MEDIUM
) -> Reading:
    """A whole read of a file: `head` stands for its metadata."""
    measured = None if audio is None else sound(audio)
    return Reading(digests(head + b"|" + (audio or b"")), measured, at, seen)


def described(audio: bytes | None, **said: Any) -> Description:
    """What a file says of itself: a WAVE file with audio, another kind without."""
    if audio is None:
        return Description(Kind.OTHER)
    span = Span(0, len(audio))
    rate = said.pop("timecode_rate", RATE)
    metadata = Metadata(date=DAY, time="11:00:00", timecode_rate=rate, **said)
    return Description(Kind.WAVE, BYTE_FORMAT, span, len(audio), metadata)


def recording(
    number: int = 1,
    path: bytes = b"T01.WAV",
    *,
    of: int = 1,
    audio: bytes | None = b"one",
    head: bytes = b"",
    read: bool = True,
    said: dict[str, Any] | None = None,
    **changes: Any,
) -> Recording:
    """A file of load `of`, read once unless told."""
    card = {1: b"SND_A1", 2: b"SND_B1", 3: b"PACK_1"}.get(of, b"CARD%d" % of)
    made = Recording(
        id=number,
        load=of,
        path=path,
        stamp=Stamp(len(head) + 1 + len(audio or b""), 1_000_000_000),
        seen_at=NOON,
        day=DAY,
        place=b"Lantern Bay/" + DAY.encode() + b"/" + card + b"/" + path,
        version=1,
        description=described(audio, **(said or {})),
        readings=(reading(audio, head),) if read else (),
    )
    return replace(made, **changes)


def unread(recorded: Recording) -> Recording:
    """The same before anybody read it."""
    return replace(recorded, readings=())


def copy(recorded: Recording, on: Target, path: bytes | None = None, **proof: Any) -> Copy:
    """A proven copy on a destination."""
    home = on.root
    proven = Proof(NOON + 60, Seen.MEDIUM, durable=True)._replace(**proof)
    return Copy(recorded.id, on.name, home.identity, home.disks, path or recorded.place, proven)


def ledger(*facts: f.Fact | Iterable[f.Fact]) -> Ledger:
    """The ledger of these facts, one or many at a time."""
    known = Ledger()
    for fact in facts:
        known.apply([fact] if isinstance(fact, f.Fact) else fact)
    return known


def cards() -> list[f.Fact]:
    """The day's primary card is load 1, its backup card load 2."""
    return [f.LoadSeen(load(1)), f.LoadSeen(load(2, Role.BACKUP))]


def taken(*recordings: Recording) -> list[f.Fact]:
    """The files of these recordings were taken in, with their reads."""
    return [f.Inventoried(r) for r in recordings]


def copied(recorded: Recording, *targets: Target) -> list[f.Fact]:
    """It stands proven on these destinations."""
    return [f.Proven(copy(recorded, at)) for at in targets]


def good_day(audio: bytes = b"one") -> list[f.Fact]:
    """One take on both cards, each copied to both drives: READY."""
    first, second = recording(1, audio=audio), recording(2, of=2, audio=audio)
    drives = (target("shuttle-1"), target("shuttle-2"))
    return [
        *cards(),
        *taken(first, second),
        *copied(first, *drives),
        *copied(second, *drives),
    ]


def view(known: Ledger, made: Settings | None = None, day: str = DAY) -> DayStanding:
    """The day as it stands."""
    return day_standing(known, day, made or settings())


def sight(
    of: int = 1, *files: Recording | tuple[bytes, Stamp], watched: bool = False, still_s: int = 3600
) -> Sight:
    """A card that lies there with these files."""
    seen = [(x.path, x.stamp) if isinstance(x, Recording) else x for x in files]
    there = tuple(Sighted(path, stamp, still_s * 10**9) for path, stamp in seen)
    return Sight(of, root(f"card {of}"), complete=True, watched=watched, files=there)


def situation(
    *sights: Sight, targets: Iterable[Target] = (), absent: tuple[str, ...] = (), now: int = NOON
) -> Situation:
    """One look."""
    return Situation(now, DAY, sights, tuple(targets), absent)


def trouble(
    key: str, code: str = "device-failed", retry_at: int = NOON + 60, tries: int = 1
) -> Any:
    """Work that failed and waits."""
    return f.Trouble(key, code, "It failed.", "Look at it.", NOON, tries, retry_at)


def revised(number: int = 1, day: str = DAY, at: int = NOON + 3600, **changes: Any) -> f.Revised:
    """A manifest that was written an hour after noon."""
    name = f"{day}.r{number}.manifest.json"
    made = f.Revised(day, number, name, f"{number:064x}", at, "READY", "basis")
    return made._replace(**changes)


def receipt(of: f.Revised, **changes: Any) -> f.Receipt:
    """A complete answer to a manifest of two files, signed by a key that somebody vouched for."""
    made = f.Receipt(of.sha256, of.day, of.number, of.at + 60, "Post", "SHA256:KEY", 2, (), (), ())
    return made._replace(**{"confirmed": True, **changes})
