"""A production of many shooting days, as a catalogue knows it: facts, made without any audio.

A take is a poly file of eight tracks on the primary card and the same on the backup card. Each has
been read once, stands proven on every drive, and is in its day's manifest: nothing is owed. Days of
a month ago and more have been read again since. The newest day has no manifest yet; its files lie
on the cards that are in, and those of the last days on the drives, with sizes and times as known:
real headers before holes, so that a look finds what the catalogue says.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import xxhash

from takehold.formats.bwf_file import bwf_header
from takehold.formats.describe import describe
from takehold.formats.levels import packed
from takehold.model import facts as f
from takehold.model.measured import Channel
from takehold.model.recording import Copy, Digests, Load, Proof, Reading, Recording, Seen, Stamp
from takehold.model.settings import Role
from takehold.model.situation import Target
from takehold.model.sound import (
    BLOCK_FRAMES,
    Coding,
    Description,
    Metadata,
    Rate,
    Sound,
    Track,
    WaveFormat,
)
from takehold.model.volume import Root

PRODUCTION = "Lantern Bay"
DAY_BEGINS_S = 6 * 3600
LONGEST_DAY_S = 14 * 3600
RECHECK_S = 28 * 86_400
NAMES = ("Mix L", "Mix R", "Boom", "Keeper", "Pilot", "Harbour", "Lamp", "Spare")
HZ = 48_000
ROLES = (Role.PRIMARY, Role.BACKUP)
LABELS = {Role.PRIMARY: "SND_A1", Role.BACKUP: "SND_B1"}


@dataclass(frozen=True, slots=True)
class Shape:
    """How large it is: takes in all, takes of a full day, tracks of a take, the longest in seconds.

    `lying` takes of the newest day are on the cards, all of them unless told.
    """

    takes: int
    a_day: int = 500
    tracks: int = 8
    seconds: int = 90
    lying: int | None = None

    @property
    def days(self) -> list[int]:
        """Takes of each day, the newest first; an odd rest is the oldest day's."""
        full, rest = divmod(self.takes, self.a_day)
        return [self.a_day] * full + ([rest] if rest else [])


class Season:
    """The facts of it. `cards` are the roots of the newest day's cards, `drives` are in."""

    def __init__(
        self, shape: Shape, cards: Mapping[Role, Root], drives: Iterable[Target], now: datetime
    ) -> None:
        self.shape = shape
        self._cards = cards
        self._drives = tuple(drives)
        self._now = now
        self._today = (now - timedelta(seconds=DAY_BEGINS_S)).date()
        self._next = 1
        self._format = WaveFormat(1, shape.tracks, HZ, 24, 3 * shape.tracks)
        head = self._head(0, 0)
        size = len(head) + self._frames(0) * self._format.block_align
        self._said = describe(lambda at, length: head[at : at + length], size)
        hole = bytes(BLOCK_FRAMES * self._format.block_align)
        self._hole = xxhash.xxh3_64_digest(hole)

    @property
    def today(self) -> str:
        """The newest day."""
        return self._today.isoformat()

    def days(self) -> list[str]:
        """The other days, oldest first."""
        return [self._day(n).isoformat() for n in range(len(self.shape.days) - 1, 0, -1)]

    def closed_at(self, day: str) -> int:
        """When that day's manifest was written."""
        return self._met_at((self._today - date.fromisoformat(day)).days) + 1200

    # -- files

    def put_files(self, role: Role, folder: Path) -> None:
        """The newest day's files on a card, each a header and a hole."""
        for number in range(self._lying()):
            frames, head = self._frames(number), self._head(0, number)
            path = folder / os.fsdecode(self._path(0, number))
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("wb") as file:
                file.write(head)
                file.truncate(len(head) + frames * self._format.block_align)

    def put_copies(self, folder: Path, facts: Iterable[f.Fact], root: str, days: int) -> None:
        """Files of the last days on a drive, of the length and time that are known."""
        oldest = self._day(days - 1).isoformat()
        sizes: dict[int, int] = {}
        for fact in facts:
            if isinstance(fact, f.Inventoried) and fact.recording.day >= oldest:
                sizes[fact.recording.id] = fact.recording.stamp.size
            if isinstance(fact, f.Proven) and fact.copy.root == root:
                size = sizes.get(fact.copy.recording)
                if size is not None:
                    _hole(folder / os.fsdecode(fact.copy.path), size, fact.copy.proof.mtime_ns)

    # -- facts

    def facts(self, stamps: Mapping[Role, Mapping[bytes, Stamp]]) -> Iterator[f.Fact]:
        """All facts but the manifests, oldest day first; `stamps` are of the files on the cards."""
        for number in range(len(self.shape.days) - 1, -1, -1):
            yield from self._facts_of(number, stamps)

    def _facts_of(
        self, number: int, stamps: Mapping[Role, Mapping[bytes, Stamp]]
    ) -> Iterator[f.Fact]:
        takes = [self._take(number, take) for take in range(self.shape.days[number])]
        for role in ROLES:
            load = self._load(number, role)
            yield f.LoadSeen(load)
            yield f.Listed(load.id, load.seen_at, len(takes), (), ())
            there = stamps[role] if number == 0 else {}
            for path, size, said, reading, blocks in takes:
                mtime = (load.seen_at - 3600) * 10**9
                stamp = there.get(path, Stamp(size, mtime, mtime))
                yield from self._file(load, path, stamp, said, reading)
                if blocks:
                    yield f.ChannelBlocks(self._next - 1, said.metadata.time_reference or 0, blocks)

    def _file(
        self, load: Load, path: bytes, stamp: Stamp, said: Description, reading: Reading
    ) -> Iterator[f.Fact]:
        place = os.fsencode(f"{PRODUCTION}/{load.day}/{load.label}/") + path
        number = self._number()
        yield f.Inventoried(
            Recording(
                number, load.id, path, stamp, load.seen_at, load.day, place, 1, said, (reading,)
            )
        )
        age = int(self._now.timestamp()) - load.seen_at
        at = load.seen_at + 900 + age // RECHECK_S * RECHECK_S
        for drive in self._drives:
            proof = Proof(at, Seen.MEDIUM, True, stamp.mtime_ns // 10**9 * 10**9)
            root = drive.root
            yield f.Proven(Copy(number, drive.name, root.identity, root.volume.disks, place, proof))

    def _load(self, number: int, role: Role) -> Load:
        root = self._cards.get(role) if number == 0 else None
        identity = root.identity if root else f"uuid:{number:04X}-{LABELS[role]}"
        disks = root.volume.disks if root else frozenset({f"serial:{number:04}-{LABELS[role]}"})
        label, day = LABELS[role], self._day(number).isoformat()
        seen = self._met_at(number)
        folder = label.encode()
        return Load(self._number(), role.value, role, identity, label, folder, disks, seen, day)

    def _take(
        self, day: int, take: int
    ) -> tuple[bytes, int, Description, Reading, tuple[bytes, ...]]:
        """Path, size, description, read, and the channels' blocks: the same on both cards."""
        frames, said = self._frames(take), self._description(day, take)
        assert said.data is not None
        word = f"{self._day(day)} {take}".encode()
        sha = hashlib.sha256(word)
        audio = xxhash.xxh3_128_hexdigest(word)
        started = -(-frames // BLOCK_FRAMES)
        blocks = b"".join(xxhash.xxh3_64_digest(word, n) for n in range(started))
        whole = max(frames // BLOCK_FRAMES - 1, 0) * 8
        blocks = blocks[:whole] + self._hole + blocks[whole + 8 :]
        levels = packed(self._channel(word, n, frames) for n in range(self.shape.tracks))
        sound = Sound(frames, audio, blocks, coding=Coding.INTEGER, levels=levels)
        reading = Reading(
            Digests(xxhash.xxh64_hexdigest(word), sha.hexdigest()),
            sound,
            self._met_at(day) + 600,
            Seen.MEDIUM,
        )
        of_channels = tuple(
            b"".join(xxhash.xxh3_64_digest(word, 1000 * c + n) for n in range(started + 1))
            for c in range(self.shape.tracks)
        )
        size = said.data.offset + frames * self._format.block_align
        return self._path(day, take), size, said, reading, of_channels

    def _channel(self, word: bytes, number: int, frames: int) -> Channel:
        digest = xxhash.xxh3_128_hexdigest(word, number)
        return Channel(digest, b"", 1 << 28, 0.02, frames // 997, 0, 0, 12, frames - 5)

    def _description(self, day: int, take: int) -> Description:
        frames = self._frames(take)
        data = self._said.data
        assert data is not None
        made = self._metadata(self._day(day), take, take + 1, self._start(take))
        said = replace(
            self._said.metadata,
            scene=made.scene,
            take=made.take,
            date=made.date,
            time=made.time,
            time_reference=made.time_reference,
            file_uid=made.file_uid,
            note=made.note,
        )
        length = frames * self._format.block_align
        return replace(self._said, data=replace(data, length=length), frames=frames, metadata=said)

    # -- figures

    def _number(self) -> int:
        self._next += 1
        return self._next - 1

    def _lying(self) -> int:
        first = self.shape.days[0]
        return first if self.shape.lying is None else min(first, self.shape.lying)

    def _day(self, number: int) -> date:
        return self._today - timedelta(days=number)

    def _met_at(self, number: int) -> int:
        """When that day's cards were in: an hour ago, or in the evening."""
        now = int(self._now.timestamp())
        if number == 0:
            return now - 3600
        begun = datetime.combine(self._day(number), datetime.min.time()).astimezone()
        return min(int(begun.timestamp()) + DAY_BEGINS_S + LONGEST_DAY_S, now - 7200)

    def _start(self, take: int) -> int:
        """Second of the day at which a take begins: they follow each other over a whole day.

        Also of the newest one, whatever the hour: squeezed together they would overlap.
        """
        return DAY_BEGINS_S + take * LONGEST_DAY_S // self.shape.a_day

    def _frames(self, take: int) -> int:
        """Lengths differ: from a third of the longest to the longest."""
        return (self.shape.seconds * HZ * (10 + take % 21)) // 30 + 2 * (take % 97)

    @staticmethod
    def _path(day: int, take: int) -> bytes:
        return b"ROLL%02d/S%03dT%02d.WAV" % (take // 100 + 1, take // 10 + 1, take % 10 + 1)

    def _metadata(self, day: date, take: int, number: int, start: int) -> Metadata:
        return Metadata(
            project=PRODUCTION,
            scene=f"{take // 10 + 1:03}",
            take=f"{take % 10 + 1:02}",
            tape="roll 1",
            note=f"{'good' if number % 3 else 'fair'}, {number:04}",
            originator="bench recorder",
            date=day.isoformat(),
            time=f"{start // 3600:02}:{start // 60 % 60:02}:{start % 60:02}",
            time_reference=start * HZ,
            timecode_rate=Rate(25, 1),
            timestamp_sample_rate=HZ,
            file_uid=f"BENCH{day:%Y%m%d}{number:05}",
            tracks=tuple(Track(n + 1, n + 1, NAMES[n % 8]) for n in range(self.shape.tracks)),
        )

    def _head(self, day: int, take: int) -> bytes:
        made = self._metadata(self._day(day), take, take + 1, self._start(take))
        length = self._frames(take) * self._format.block_align
        return bwf_header(self._format, made, length)


def _hole(path: Path, size: int, mtime_ns: int) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.truncate(size)
    os.utime(path, ns=(mtime_ns, mtime_ns))
