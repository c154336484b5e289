"""Files on cards and destinations.

All paths are bytes, relative to the root, `/` between parts, no `.` or `..` and no empty part.
Every implementation MUST raise only the errors of `takehold.model.errors` for a foreseeable fault,
with `says` naming the file and the root, and MUST never follow a link below the root.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Protocol

from takehold.model.facts import Skip
from takehold.model.recording import Seen, Stamp
from takehold.model.volume import Root


@dataclass(frozen=True, slots=True)
class Listing:
    """Every entry below a root: regular files with their stamps, and what is none of them.

    `complete` is false if any folder could not be read to its end; those are in `skipped` too.
    `root_id` names the root folder itself ("device:inode"), through whatever path it was reached.
    """

    root_id: str
    complete: bool
    files: tuple[tuple[bytes, Stamp], ...]
    skipped: tuple[Skip, ...]


class Reader(Protocol):
    """A file opened for reading, past the cache where the system allows it."""

    def stamp(self) -> Stamp:
        """The opened file's stamp, asked of the file itself, now."""

    def read_at(self, offset: int, length: int) -> bytes:
        """At most `length` bytes from `offset`, through the cache: for headers. b"" at the end."""

    def read_into(self, buffer: memoryview, offset: int) -> int:
        """Fill a page-aligned buffer from a page-aligned `offset`; 0 at the end of the file.

        MUST return a short count at the end of the file only.
        """

    def seen(self, size: int) -> Seen:
        """How far `size` bytes read since opening are known to have come from the medium."""


class SourceTree(Protocol):
    """A card or watch folder. MUST never write below it, nor touch an access time it can spare."""

    def listing(self) -> Listing:
        """All of it. MUST NOT raise for a fault in a folder below, only for the root's own."""

    def open(self, path: bytes) -> AbstractContextManager[Reader]:
        """Open a regular file; anything else is refused with FileMissing."""


class Part(Protocol):
    """A file being written under a temporary name."""

    def reserve(self, size: int) -> None:
        """Ask for room; VolumeFull if there is none. May do nothing where it costs a write."""

    def write(self, buffer: memoryview, offset: int) -> None:
        """Write all of a buffer at a page-aligned offset; only the last one may be unaligned.

        Any error kills this part: the caller MUST `drop` it and begin anew.
        """

    def flush_piece(self) -> bool:
        """Flush what is written so far; False where it cannot be read back from the medium yet.

        May be called by a second thread, which may then read up to there while more is written.
        An error kills the part, as any.
        """

    def flush(self, size: int) -> bool:
        """Cut to `size` and flush to the medium; False where the file system cannot promise it."""

    def reader(self) -> AbstractContextManager[Reader]:
        """Read it back from the medium: the cache is dropped or bypassed first."""

    def keep(self, path: bytes) -> None:
        """Give it its final name without replacing; NameTaken if the name is in use."""

    def drop(self) -> None:
        """Close and remove it. MUST NOT raise."""


class DestinationTree(Protocol):
    """A destination. Nothing but own parts is ever removed, nothing is ever overwritten.

    MUST check for each call that the root still lies on the volume it was opened for (P4).
    """

    def part(self, folder: bytes) -> Part:
        """A new part in that folder, which is made, with its parents, if it is not there."""

    def check_name(self, path: bytes) -> None:
        """Raise NameRefused if no file of that name can be held, as far as asking for it tells.

        Its folder must be there. What only the giving of a name shows is left to `keep`.
        """

    def flush_together(self, parts: Sequence[Part]) -> None:
        """Flush these by one call, if that promises as much as a flush of each; else do nothing.

        Each MUST be flushed by itself afterwards, which then costs little. An error, whosever it
        is, is one of each of them.
        """

    def settle(self, folder: bytes) -> bool:
        """Flush a folder and its parents, so that names stay; False where it cannot be promised."""

    def open(self, path: bytes) -> AbstractContextManager[Reader]:
        """Open a file for a cold read."""

    def taken(self, folder: bytes) -> frozenset[bytes]:
        """The names in a folder; empty where it does not exist."""

    def stamp_of(self, path: bytes) -> Stamp | None:
        """What a look at a regular file shows, None if there is none of that name."""

    def free_bytes(self) -> int:
        """What the file system still takes from this user."""

    def sweep(self) -> int:
        """Remove own parts that an earlier run left; the count. MUST NOT touch parts in use."""


class Disk(Protocol):
    """Opens trees. Both raise VolumeGone if `root` is not what is mounted there any more."""

    def source(self, root: Root) -> AbstractContextManager[SourceTree]:
        """A card or watch folder. Nothing of it stays open afterwards (it can be ejected)."""

    def destination(self, root: Root) -> AbstractContextManager[DestinationTree]:
        """A destination."""
