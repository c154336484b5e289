"""What ends the loop's sleep early. It only wakes: a missed event costs time, never a file."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import threading
import time
from collections.abc import Iterable
from io import RawIOBase

from watchdog.events import (
    DirCreatedEvent,
    DirDeletedEvent,
    DirMovedEvent,
    FileClosedEvent,
    FileCreatedEvent,
    FileDeletedEvent,
    FileModifiedEvent,
    FileMovedEvent,
    FileSystemEvent,
    FileSystemEventHandler,
)
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver, ObservedWatch

from takehold.formats.names import display, shown

MOUNT_TABLE = "/proc/self/mountinfo"
QUIET_S = 2.0
_GOODBYE_S = 2.0

# Reading is no change: with the events for it a large folder keeps its own watch busy for ever.
# Nor is it news that a file grows while it is written, ten times a second and more: where the
# system tells that the writing ended (inotify(7), IN_CLOSE_WRITE) only that is asked for. What is
# written without an end, or from another machine, the periodic look finds.
_CHANGES: list[type[FileSystemEvent]] = [
    FileCreatedEvent,
    FileClosedEvent if sys.platform == "linux" else FileModifiedEvent,
    FileMovedEvent,
    FileDeletedEvent,
    DirCreatedEvent,
    DirMovedEvent,
    DirDeletedEvent,
]

_Folder = tuple[int, int]


class Wake(FileSystemEventHandler):
    """Waits until something happened. Waiting and `watch_folders` belong to one thread.

    `notes` says what could not be watched at the last call of `watch_folders`; the periodic look
    finds changes there all the same. A watch is not held on cards: on some systems it would keep
    them from being ejected.
    """

    def __init__(self, quiet_s: float = QUIET_S) -> None:
        self.notes: list[str] = []
        self._quiet_s = quiet_s
        self._changed = threading.Condition()
        self._nudged = False
        self._stirred = False
        self._stir_due = 0.0
        self._remounted = threading.Event()
        self._observer: BaseObserver | None = None
        self._watches: dict[bytes, tuple[_Folder, ObservedWatch]] = {}
        self._mounts: threading.Thread | None = None
        self._end, self._ended = os.pipe()

    def wait(self, timeout_s: float) -> None:
        """Until the timeout, or until something happened since the last wait.

        A recorder that writes without a pause wakes once in `quiet_s` seconds; the rest at once.
        """
        end = time.monotonic() + timeout_s
        with self._changed:
            while not self._nudged:
                now = time.monotonic()
                if self._stirred and now >= self._stir_due:
                    self._stir_due = now + self._quiet_s
                    break
                if now >= end:
                    return
                self._changed.wait((min(end, self._stir_due) if self._stirred else end) - now)
            self._nudged = self._stirred = False

    def nudge(self) -> None:
        """End the wait now, or the next one. From any thread."""
        with self._changed:
            self._nudged = True
            self._changed.notify_all()

    def on_any_event(self, event: FileSystemEvent) -> None:  # noqa: ARG002 - what it was is looked at
        """A change below a watched folder, told by the observer's thread."""
        with self._changed:
            self._stirred = True
            self._changed.notify_all()

    def watch_mounts(self) -> None:
        """Wake whenever something is mounted or unmounted, where the system tells (Linux)."""
        if self._mounts is None and os.path.exists(MOUNT_TABLE):
            table = open(MOUNT_TABLE, "rb")  # noqa: SIM115 - its thread closes it
            self._mounts = threading.Thread(
                target=self._follow_mounts, args=(table.detach(),), name="mounts", daemon=True
            )
            self._mounts.start()

    def watch_folders(self, paths: Iterable[bytes]) -> None:
        """Watch these folders with all below, and no others. They must be on live volumes.

        A watch dies silently when its volume goes, so all are made anew after a mount.
        """
        remounted = self._remounted.is_set()
        self._remounted.clear()
        self.notes = []
        wanted = {path: folder for path in paths if (folder := self._folder(path)) is not None}
        for path, (folder, watch) in list(self._watches.items()):
            if remounted or wanted.get(path) != folder:
                del self._watches[path]
                with contextlib.suppress(KeyError, OSError):
                    self._running().unschedule(watch)
        for path in wanted.keys() - self._watches.keys():
            self._watch(path, wanted[path])

    def close(self) -> None:
        """Stop watching; nothing of it stays behind."""
        os.close(self._ended)
        if self._mounts is not None:
            self._mounts.join(_GOODBYE_S)
        if self._observer is not None:
            self._observer.stop()
            self._observer.join(_GOODBYE_S)
        os.close(self._end)

    def _folder(self, path: bytes) -> _Folder | None:
        try:
            found = os.stat(path)
        except OSError as error:
            self._note(path, error)
            return None
        return found.st_dev, found.st_ino

    def _watch(self, path: bytes, folder: _Folder) -> None:
        try:
            watch = self._running().schedule(
                self, os.fsdecode(path), recursive=True, event_filter=_CHANGES
            )
        except OSError as error:
            self._note(path, error)
        else:
            self._watches[path] = (folder, watch)

    def _running(self) -> BaseObserver:
        if self._observer is None:
            self._observer = Observer()
            self._observer.start()
        return self._observer

    def _note(self, path: bytes, error: OSError) -> None:
        why = shown(error.strerror or str(error))
        self.notes.append(f"{display(path)} is not watched for changes: {why}.")

    def _follow_mounts(self, table: RawIOBase) -> None:
        changes = select.poll()
        changes.register(table, select.POLLPRI | select.POLLERR)
        changes.register(self._end, select.POLLIN | select.POLLHUP)
        with table:
            while not any(fd == self._end for fd, _ in changes.poll()):
                self._remounted.set()
                self.nudge()
