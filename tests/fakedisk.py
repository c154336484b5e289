"""Cards and destinations in memory, for tests of what uses them. Same contract as the real ones.

    disk = FakeDisk()
    card = disk.volume(b"/media/CARD", {b"T01.wav": b"..."})
    with disk.source(card.root) as tree: ...

Faults: `card.fail_next("read", VolumeGone("..."))`, `card.hang("write")`, `card.yank()`,
`card.flip[b"T01.wav"] = 7`, `card.bad[b"T01.wav"] = [(0, 512)]`, `card.lies = True`,
`card.shrink(...)`, `card.capacity = 100`.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from takehold.formats.names import same_key
from takehold.model.errors import (
    FileMissing,
    NameRefused,
    NameTaken,
    TakeholdError,
    VolumeFull,
    VolumeGone,
    VolumeReadOnly,
    WorldError,
)
from takehold.model.facts import Skip
from takehold.model.recording import Seen, Stamp
from takehold.model.volume import Root, Volume
from takehold.ports.disk import Listing, Part

PAGE = 4096
OWN_PART = re.compile(rb"\.takehold-[0-9a-f]{16}\.part")
HANG_SECONDS = 30  # a forgotten hang ends by itself
DAY_NS = 1_700_000_000_000_000_000


@dataclass(eq=False)
class FakeVolume:
    """One volume, the root being all of it. Tests change any field at any time.

    `files` are the bytes on the medium; `skipped` what a listing meets beside files; `flip` maps a
    path to the offset of a byte that every read of it gets wrong by one bit; `flip_parts` is the
    same for the read-back of parts. `bad` maps a path to ranges (first, end) that no read gets.
    `lies`: flushes succeed and nothing reaches the medium.
    Operations to fail or hang: list, open, read_at, read, part, reserve, write, flush_piece,
    flush_together, flush, reader, keep, check_name, settle, taken, stamp_of, free, sweep.
    """

    root: Root
    files: dict[bytes, bytes] = field(default_factory=dict)
    folders: set[bytes] = field(default_factory=set)
    stamps: dict[bytes, Stamp] = field(default_factory=dict)
    skipped: list[Skip] = field(default_factory=list)
    flip: dict[bytes, int] = field(default_factory=dict)
    bad: dict[bytes, list[tuple[int, int]]] = field(default_factory=dict)
    flip_parts: int | None = None
    capacity: int = 1 << 40
    longest_name: int = 255
    complete: bool = True
    lies: bool = False
    durable: bool = True
    read_only: bool = False
    gone: bool = False
    seen: Seen = Seen.MEDIUM
    calls: list[tuple[str, bytes]] = field(default_factory=list)
    open_trees: int = 0
    write_takes_s: float = 0.0

    def __post_init__(self) -> None:
        self.lock = threading.RLock()
        self.in_use: set[bytes] = set()
        self._ticks = 0
        self._parts = 0
        self._failures: list[tuple[str, bytes | None, TakeholdError]] = []
        self._hangs: dict[str, threading.Event] = {}
        for path in list(self.files):
            self.put(path, self.files[path])

    def put(self, path: bytes, content: bytes) -> None:
        """Write a file as somebody else would: new bytes, new stamp."""
        with self.lock:
            self.files[path] = content
            self._ticks += 1
            now = DAY_NS + self._ticks * 1_000_000_000
            self.stamps[path] = Stamp(len(content), now, now)
            self.folders |= _folders_of(path)

    def remove(self, path: bytes) -> None:
        """Remove a file as somebody else would."""
        with self.lock:
            del self.files[path], self.stamps[path]

    def shrink(self, path: bytes, size: int) -> None:
        """Cut a file's bytes and leave its stamp: reads end early."""
        self.files[path] = self.files[path][:size]

    def fail_next(self, op: str, error: TakeholdError, path: bytes | None = None) -> None:
        """The next such call, on that path if one is given, raises this error, once."""
        self._failures.append((op, path, error))

    def hang(self, op: str) -> threading.Event:
        """Such calls wait until the event is set; `calls` tells that one has come."""
        return self._hangs.setdefault(op, threading.Event())

    def yank(self) -> None:
        """Take it out: every call from now on raises VolumeGone."""
        self.gone = True

    def give_back(self) -> None:
        """Put it in again."""
        self.gone = False

    def free(self) -> int:
        """Bytes that are left."""
        with self.lock:
            return self.capacity - sum(map(len, self.files.values()))

    def new_part(self, folder: bytes) -> bytes:
        """Path of a new, empty part that is in use."""
        with self.lock:
            self._parts += 1
            path = _join(folder, b".takehold-%016x.part" % self._parts)
            self.put(path, b"")
            self.in_use.add(path)
            return path

    def asked(self, op: str, path: bytes, writing: bool = False) -> None:
        """Note a call and let the faults that wait for it happen."""
        self.calls.append((op, path))
        if op in self._hangs:
            self._hangs[op].wait(HANG_SECONDS)
        with self.lock:
            for failure in self._failures:
                if failure[0] == op and failure[1] in {None, path}:
                    self._failures.remove(failure)
                    raise failure[2]
        if self.gone:
            raise VolumeGone(f"{self.says(path)}: the volume answers no more.")
        if writing and self.read_only:
            raise VolumeReadOnly(f"{self.says(path)}: the volume takes no writes.")

    def says(self, path: bytes) -> str:
        return f"{path.decode(errors='replace')} on {self.root.path.decode(errors='replace')}"

    def must_hold(self, path: bytes) -> bytes:
        """A path that names a regular file."""
        if path not in self.files:
            raise FileMissing(f"{self.says(path)}: there is no such file.")
        return path

    def must_read(self, path: bytes, offset: int, length: int) -> None:
        """Fail where a read touches a bad place."""
        if any(offset < end and first < offset + length for first, end in self.bad.get(path, ())):
            raise WorldError(f"{self.says(path)}: the device failed (Input/output error).")


class FakeReader:
    """Implements `Reader`."""

    def __init__(self, volume: FakeVolume, path: bytes, flip: int | None) -> None:
        self._volume = volume
        self._path = path
        self._flip = flip

    def stamp(self) -> Stamp:
        with self._volume.lock:
            return self._volume.stamps[self._volume.must_hold(self._path)]

    def read_at(self, offset: int, length: int) -> bytes:
        self._volume.asked("read_at", self._path)
        self._volume.must_read(self._path, offset, length)
        return self._bytes()[offset : offset + length]

    def read_into(self, buffer: memoryview, offset: int) -> int:
        assert offset % PAGE == 0, "reads begin at a page"
        self._volume.asked("read", self._path)
        self._volume.must_read(self._path, offset, len(buffer))
        found = self._bytes()[offset : offset + len(buffer)]
        buffer[: len(found)] = found
        return len(found)

    def _bytes(self) -> bytes:
        content = self._volume.files[self._volume.must_hold(self._path)]
        if self._flip is None or self._flip >= len(content):
            return content
        at = self._flip
        return content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]

    def seen(self, size: int) -> Seen:
        return self._volume.seen


class FakeSource:
    """Implements `SourceTree`."""

    def __init__(self, volume: FakeVolume) -> None:
        self._volume = volume

    def listing(self) -> Listing:
        volume = self._volume
        volume.asked("list", b"")
        with volume.lock:
            files = tuple(sorted((path, volume.stamps[path]) for path in volume.files))
            return Listing(
                volume.root.volume.device + ":1", volume.complete, files, tuple(volume.skipped)
            )

    @contextmanager
    def open(self, path: bytes) -> Iterator[FakeReader]:
        self._volume.asked("open", path)
        yield FakeReader(self._volume, self._volume.must_hold(path), self._volume.flip.get(path))


class FakePart:
    """Implements `Part`."""

    def __init__(self, volume: FakeVolume, folder: bytes) -> None:
        self._volume = volume
        self._folder = folder
        self._path = volume.new_part(folder)
        self._written = bytearray()
        self._flushed = False
        self._dead = False

    def reserve(self, size: int) -> None:
        with self._fatal("reserve"):
            self._room_for(size)

    def write(self, buffer: memoryview, offset: int) -> None:
        assert offset % PAGE == 0, "writes begin at a page"
        threading.Event().wait(self._volume.write_takes_s)
        self._flushed = False
        with self._fatal("write"):
            self._room_for(max(0, offset + len(buffer) - len(self._written)))
            if offset > len(self._written):
                self._written.extend(bytes(offset - len(self._written)))
            self._written[offset : offset + len(buffer)] = buffer
            self._volume.put(self._path, b"" if self._volume.lies else bytes(self._written))

    def _room_for(self, size: int) -> None:
        if self._volume.free() < size:
            raise VolumeFull(f"{self._volume.says(self._path)}: no room is left.")

    def flush_piece(self) -> bool:
        with self._fatal("flush_piece"):
            return True

    def flush(self, size: int) -> bool:
        with self._fatal("flush"):
            del self._written[size:]
            lost = bytes(len(self._written))
            self._volume.put(self._path, lost if self._volume.lies else bytes(self._written))
            self._flushed = True
            return self._volume.durable

    @contextmanager
    def reader(self) -> Iterator[FakeReader]:
        self._volume.asked("reader", self._path)
        yield FakeReader(self._volume, self._path, self._volume.flip_parts)

    def keep(self, path: bytes) -> None:
        folder, _, name = path.rpartition(b"/")
        if folder != self._folder:
            raise ValueError("a part is kept in the folder it was written in")
        if self._dead or not self._flushed:
            raise WorldError(f"{self._volume.says(self._path)}: it was not flushed.")
        self._volume.asked("keep", path, writing=True)
        with self._volume.lock:
            if same_key(name) in {same_key(other) for other in _names(self._volume, folder)}:
                raise NameTaken(f"{self._volume.says(path)}: the name is in use.")
            self._volume.files[path] = self._volume.files.pop(self._path)
            self._volume.stamps[path] = self._volume.stamps.pop(self._path)
            self._volume.in_use.discard(self._path)

    def drop(self) -> None:
        with self._volume.lock:
            if self._path in self._volume.in_use:
                self._volume.in_use.discard(self._path)
                if not self._volume.gone:
                    self._volume.remove(self._path)

    @contextmanager
    def _fatal(self, op: str) -> Iterator[None]:
        if self._dead or self._path not in self._volume.in_use:
            raise WorldError(f"{self._volume.says(self._path)}: it failed before.")
        try:
            self._volume.asked(op, self._path, writing=True)
            yield
        except TakeholdError:
            self._dead = True
            raise


class FakeDestination:
    """Implements `DestinationTree`."""

    def __init__(self, volume: FakeVolume) -> None:
        self._volume = volume

    def part(self, folder: bytes) -> FakePart:
        volume = self._volume
        volume.asked("part", folder, writing=True)
        with volume.lock:
            for path in _folders_of(folder + b"/x"):
                if path in volume.files:
                    raise NameTaken(f"{volume.says(path)}: the name is in use.")
            return FakePart(volume, folder)

    def check_name(self, path: bytes) -> None:
        self._volume.asked("check_name", path)
        if len(path.rpartition(b"/")[2]) > self._volume.longest_name:
            raise NameRefused(f"{self._volume.says(path)}: the file system cannot hold this name.")

    def flush_together(self, parts: Sequence[Part]) -> None:
        assert len(parts) > 1, "a single one is flushed by itself"
        self._volume.asked("flush_together", b"")

    def settle(self, folder: bytes) -> bool:
        self._volume.asked("settle", folder)
        if folder and folder not in self._volume.folders:
            raise FileMissing(f"{self._volume.says(folder)}: there is no such folder.")
        return self._volume.durable

    @contextmanager
    def open(self, path: bytes) -> Iterator[FakeReader]:
        self._volume.asked("open", path)
        yield FakeReader(self._volume, self._volume.must_hold(path), self._volume.flip.get(path))

    def taken(self, folder: bytes) -> frozenset[bytes]:
        self._volume.asked("taken", folder)
        with self._volume.lock:
            return frozenset(_names(self._volume, folder))

    def stamp_of(self, path: bytes) -> Stamp | None:
        self._volume.asked("stamp_of", path)
        with self._volume.lock:
            return self._volume.stamps[path] if path in self._volume.files else None

    def free_bytes(self) -> int:
        self._volume.asked("free", b"")
        return self._volume.free()

    def sweep(self) -> int:
        volume = self._volume
        volume.asked("sweep", b"")
        with volume.lock:
            left = [
                path
                for path in volume.files
                if OWN_PART.fullmatch(path.rpartition(b"/")[2]) and path not in volume.in_use
            ]
            for path in left:
                volume.remove(path)
            return len(left)


class FakeDisk:
    """Implements `Disk` over volumes in memory."""

    def __init__(self) -> None:
        self.volumes: dict[bytes, FakeVolume] = {}

    def volume(
        self,
        path: bytes,
        files: dict[bytes, bytes] | None = None,
        disk: str = "",
        capacity: int = 1 << 40,
    ) -> FakeVolume:
        """A new volume, mounted at a path; on a disk of its own unless one is named."""
        number = len(self.volumes) + 1
        label = path.rpartition(b"/")[2].decode()
        disks = frozenset({disk or f"disk:{number}"})
        identity = f"uuid:{number:08}"
        device, here = f"8:{number}", f"put in: {number}"
        about = Volume(path, str(number), device, label, identity, "exfat", disks, appearance=here)
        made = FakeVolume(Root(path, about, identity), dict(files or {}), capacity=capacity)
        self.volumes[path] = made
        return made

    @contextmanager
    def source(self, root: Root) -> Iterator[FakeSource]:
        with self._open(root) as volume:
            yield FakeSource(volume)

    @contextmanager
    def destination(self, root: Root) -> Iterator[FakeDestination]:
        with self._open(root) as volume:
            yield FakeDestination(volume)

    @contextmanager
    def _open(self, root: Root) -> Iterator[FakeVolume]:
        volume = self.volumes.get(root.path)
        if volume is None or volume.gone or volume.root.volume.device != root.volume.device:
            name = root.path.decode(errors="replace")
            raise VolumeGone(f"{name}: the folder is there, but not the volume.")
        with volume.lock:
            volume.open_trees += 1
        try:
            yield volume
        finally:
            with volume.lock:
                volume.open_trees -= 1


def _join(folder: bytes, name: bytes) -> bytes:
    return folder + b"/" + name if folder else name


def _folders_of(path: bytes) -> set[bytes]:
    parts = path.split(b"/")[:-1]
    return {b"/".join(parts[: count + 1]) for count in range(len(parts))} - {b""}


def _names(volume: FakeVolume, folder: bytes) -> set[bytes]:
    """The names directly in a folder."""
    start = folder + b"/" if folder else b""
    below = [p[len(start) :] for p in (*volume.files, *volume.folders) if p.startswith(start)]
    return {path.split(b"/")[0] for path in below if path}
