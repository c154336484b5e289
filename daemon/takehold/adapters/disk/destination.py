"""A destination: parts are written and kept in it, and nothing else is ever changed (P2)."""

from __future__ import annotations

import errno
import os
from collections.abc import Sequence
from contextlib import AbstractContextManager, suppress
from threading import Lock

from takehold.adapters.disk.beneath import open_beneath
from takehold.adapters.disk.faults import fault, told
from takehold.adapters.disk.flushing import flush_all, flush_to_medium, flushes_as_a_whole
from takehold.adapters.disk.leftovers import sweep_folder
from takehold.adapters.disk.naming import KnownNames
from takehold.adapters.disk.reading import FileReader, cold
from takehold.adapters.disk.roots import OpenRoot, is_plain, parts, split
from takehold.adapters.disk.writing import FilePart, new_part
from takehold.model.errors import FileMissing, WorldError
from takehold.model.recording import Stamp
from takehold.ports.disk import Part

# A link or a file stands where a folder should be made.
_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW
_IN_THE_WAY = frozenset({errno.ELOOP, errno.ENOTDIR})


class LocalDestination:
    """Implements `takehold.ports.disk.DestinationTree`; any number of threads may use it."""

    def __init__(self, at: OpenRoot, names: KnownNames) -> None:
        self._at = at
        self._names = names
        self._as_a_whole = flushes_as_a_whole(at.root.volume)
        self._settling = Lock()
        self._settled: set[bytes] = set()

    def part(self, folder: bytes) -> FilePart:
        """A new part; missing folders are made one by one."""
        self._at.check()
        made = self._make_folder(folder)
        return new_part(self._at, self._names, folder, made)

    def check_name(self, path: bytes) -> None:
        """Ask for a file of that name: a file system that cannot hold it mostly says so."""
        self._at.check()
        folder, name = split(self._at.root, path)
        fd = self._at.open_folder(folder, path)
        try:
            os.stat(name, dir_fd=fd, follow_symlinks=False)
        except FileNotFoundError:
            pass
        except OSError as error:
            raise fault(error, self._at.root, path, naming=True) from error
        finally:
            os.close(fd)

    def flush_together(self, parts: Sequence[Part]) -> None:
        """One flush of the file system instead of one a part."""
        self._at.check()
        ours = [part for part in parts if isinstance(part, FilePart)]
        if len(ours) < 2 or not self._as_a_whole:  # one flush is one flush
            return
        with told(self._at.root, b""):
            flush_all(self._at.fd)
        for part in ours:
            part.on_medium()

    def settle(self, folder: bytes) -> bool:
        """Flush the folder; of its parents those that got a folder, or were not flushed yet."""
        self._at.check()
        promised = True
        with self._settling:
            for path in _upwards(folder):
                if path == folder or path not in self._settled:
                    promised &= self._flush_folder(path)
        return promised

    def _flush_folder(self, path: bytes) -> bool:
        # Noted before: a folder made in it during the flush takes the note away again.
        self._settled.add(path)
        promised = False
        try:
            with self._at.folder(path) as fd, told(self._at.root, path):
                promised = flush_to_medium(fd, self._at.root.volume)
        finally:
            if not promised:
                self._settled.discard(path)
        return promised

    def open(self, path: bytes) -> AbstractContextManager[FileReader]:
        """Open a file for a cold read."""
        self._at.check()
        return cold(self._at, path)

    def taken(self, folder: bytes) -> frozenset[bytes]:
        """The names in a folder, parts among them."""
        self._at.check()
        try:
            with self._at.folder(folder) as fd, told(self._at.root, folder):
                return frozenset(os.fsencode(name) for name in os.listdir(fd))
        except FileMissing:
            return frozenset()

    def stamp_of(self, path: bytes) -> Stamp | None:
        """What a look at a regular file shows."""
        self._at.check()
        folder, name = split(self._at.root, path)
        try:
            with self._at.folder(folder, path) as fd, told(self._at.root, path):
                about = os.stat(name, dir_fd=fd, follow_symlinks=False)
        except FileMissing:
            return None
        if not is_plain(about):
            return None
        return Stamp(about.st_size, about.st_mtime_ns, about.st_ctime_ns)

    def free_bytes(self) -> int:
        """What this user can still write."""
        self._at.check()
        with told(self._at.root, b""):
            about = os.fstatvfs(self._at.fd)
        return about.f_bavail * about.f_frsize

    def sweep(self) -> int:
        """Remove parts whose writer is gone. What cannot be removed now is for the next sweep.

        So is a part that may share its clusters with a file beside it: see `leftovers`.
        """
        self._at.check()
        removed = 0
        waiting = [b""]
        while waiting:
            path = waiting.pop()
            with suppress(WorldError), self._at.folder(path) as fd, told(self._at.root, path):
                if os.fstat(fd).st_dev == self._at.device:
                    folders, gone = sweep_folder(fd, self._at.root.volume.kind)
                    waiting += [path + b"/" + name if path else name for name in folders]
                    removed += gone
        return removed

    def make(self, folder: bytes) -> None:
        """Make a folder where it is missing, durable as far as the file system allows it."""
        os.close(self._make_folder(folder))
        self.settle(folder)

    def _make_folder(self, folder: bytes) -> int:
        """Open a folder, making what is missing of it; the caller closes it."""
        missing = parts(self._at.root, folder)
        there = open_beneath(self._at.fd, folder or b".", _FOLDER)
        if there is not None:
            return there
        fd = self._at.open_folder(b"")
        path = b""
        for name in missing:
            above, path = path, path + b"/" + name if path else name
            try:
                fd = self._enter(fd, above, path, name)
            except OSError as error:
                if error.errno in _IN_THE_WAY:
                    taken = OSError(errno.EEXIST, os.strerror(errno.EEXIST))
                    raise fault(taken, self._at.root, path) from error
                raise fault(error, self._at.root, path, naming=True) from error
        return fd

    def _enter(self, fd: int, above: bytes, path: bytes, name: bytes) -> int:
        try:
            with suppress(FileNotFoundError):
                return os.open(name, _FOLDER, dir_fd=fd)
            with suppress(FileExistsError):  # another thread was faster
                os.mkdir(name, 0o755, dir_fd=fd)
            self._settled -= {above, path}
            return os.open(name, _FOLDER, dir_fd=fd)
        finally:
            os.close(fd)


def _upwards(folder: bytes) -> list[bytes]:
    """A folder, its parents, the root."""
    found = [folder]
    while folder:
        folder = folder.rpartition(b"/")[0]
        found.append(folder)
    return found
