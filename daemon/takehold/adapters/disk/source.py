"""A card or watch folder: listed and read, never written to (P1)."""

from __future__ import annotations

import errno
import os
import stat
from collections import deque
from contextlib import AbstractContextManager

from takehold.adapters.disk.faults import told
from takehold.adapters.disk.reading import FileReader, cold, stamp_of
from takehold.adapters.disk.roots import OpenRoot
from takehold.model.errors import WorldError
from takehold.model.facts import Skip
from takehold.model.recording import Stamp
from takehold.ports.disk import Listing

DEEPEST = 64
"""Folders within folders; a card has three or four, a damaged one may have rings."""

_OTHER_KINDS = {
    stat.S_IFLNK: "link",
    stat.S_IFIFO: "pipe",
    stat.S_IFSOCK: "socket",
    stat.S_IFBLK: "device",
    stat.S_IFCHR: "device",
}


class LocalSource:
    """Implements `takehold.ports.disk.SourceTree`; any number of threads may use it."""

    def __init__(self, at: OpenRoot) -> None:
        self._at = at

    def listing(self) -> Listing:
        """Everything below the root, folder by folder."""
        self._at.check()
        looked = _Look(self._at)
        looked.folder(b"")
        while looked.waiting:
            path = looked.waiting.popleft()
            try:
                looked.folder(path)
            except (WorldError, OSError):
                looked.unreadable(path, "unreadable folder")
        files, skipped = tuple(sorted(looked.files)), tuple(looked.skipped)
        return Listing(self._at.id(), looked.complete, files, skipped)

    def open(self, path: bytes) -> AbstractContextManager[FileReader]:
        """Open a regular file for a cold read."""
        return cold(self._at, path)


class _Look:
    """What one listing has found so far."""

    def __init__(self, at: OpenRoot) -> None:
        self.at = at
        self.complete = True
        self.files: list[tuple[bytes, Stamp]] = []
        self.skipped: list[Skip] = []
        self.waiting: deque[bytes] = deque()

    def folder(self, path: bytes) -> None:
        """Look at the entries of one folder; its folders wait for their turn."""
        with self.at.folder(path) as fd, told(self.at.root, path):
            if os.fstat(fd).st_dev != self.at.device:
                self.skipped.append(Skip(path, "other volume"))
                return
            with os.scandir(fd) as entries:
                for entry in entries:
                    name = os.fsencode(entry.name)
                    self._entry(path + b"/" + name if path else name, entry)

    def _entry(self, path: bytes, entry: os.DirEntry[str]) -> None:
        try:
            if entry.is_dir(follow_symlinks=False):
                self._wait(path)
                return
            about = entry.stat(follow_symlinks=False)
        except OSError as error:
            if error.errno != errno.ENOENT:  # removed meanwhile: it is no entry any more
                self.unreadable(path, "unreadable")
            return
        if about.st_dev != self.at.device:
            self.skipped.append(Skip(path, "other volume"))
        elif stat.S_ISREG(about.st_mode):
            self.files.append((path, stamp_of(about)))
        else:
            why = _OTHER_KINDS.get(stat.S_IFMT(about.st_mode), "device")
            self.skipped.append(Skip(path, why))

    def _wait(self, path: bytes) -> None:
        if path.count(b"/") < DEEPEST:
            self.waiting.append(path)
        else:
            self.unreadable(path, "unreadable folder")

    def unreadable(self, path: bytes, why: str) -> None:
        """Note what could not be looked at: the listing is not complete."""
        self.complete = False
        self.skipped.append(Skip(path, why))
