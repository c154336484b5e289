"""Loads, the files on them, how they were read, and where their copies stand."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from takehold.model.settings import Role
from takehold.model.sound import Description, Sound


class Stamp(NamedTuple):
    """What a look at a file shows: size in bytes, times in ns. A changed stamp asks for a read."""

    size: int
    mtime_ns: int
    ctime_ns: int = 0


class Digests(NamedTuple):
    """Checksums of a whole file, lower-case hex."""

    xxh64: str
    sha256: str


class Seen(StrEnum):
    """How far a read is known to have come from the medium."""

    MEDIUM = "medium"
    UNKNOWN = "unknown"
    CACHE = "cache"


class Reading(NamedTuple):
    """One whole read of a recording on its card. `at` in seconds since 1970, UTC."""

    digests: Digests
    sound: Sound | None
    at: int
    seen: Seen


class Trace(NamedTuple):
    """By what a recording is known again where it lay; `read` says whether it ever was."""

    path: bytes
    stamp: Stamp
    read: bool


@dataclass(frozen=True, slots=True)
class Load:
    """One formatted life of a card, or a watch folder.

    `folder` is its name below the day on a destination; `identity` is its root's; `day` the
    shooting day when it was first seen.
    """

    id: int
    source: str
    role: Role
    identity: str
    label: str
    folder: bytes
    disks: frozenset[str]
    seen_at: int
    day: str


@dataclass(frozen=True, slots=True)
class Recording:
    """One version of one file of a load.

    `path` is relative to the card, `place` relative to a destination's root. `readings` are all
    whole reads of these bytes on the card, oldest first: the first made the copies.
    """

    id: int
    load: int
    path: bytes
    stamp: Stamp
    seen_at: int
    day: str
    place: bytes
    version: int
    description: Description
    readings: tuple[Reading, ...] = ()

    @property
    def reading(self) -> Reading | None:
        """The read that made the copies."""
        return self.readings[0] if self.readings else None

    @property
    def digests(self) -> Digests | None:
        """The checksums that every copy must have."""
        return self.readings[0].digests if self.readings else None

    @property
    def sound(self) -> Sound | None:
        """The audio as it was measured."""
        return self.readings[0].sound if self.readings else None


class Proof(NamedTuple):
    """A copy read back and found equal. `durable` says that the flushes were honoured.

    `mtime_ns` is what the copy showed then, 0 where that is not known: another time asks for
    another read. A copy that is not durable was `written_on` that appearance of its volume, ""
    where that is not known; `remounted`: it was read whole again after the volume came back.
    """

    at: int
    seen: Seen
    durable: bool
    mtime_ns: int = 0
    written_on: str = ""
    remounted: bool = False


class Copy(NamedTuple):
    """A proven copy of a recording: it exists only as proof.

    `root` is the identity of the destination's root, `disks` what it stands on, `path` relative
    to the root.
    """

    recording: int
    destination: str
    root: str
    disks: frozenset[str]
    path: bytes
    proof: Proof
