"""Cards and destinations on the file systems of this machine (POSIX; at its best on Linux)."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock
from weakref import WeakValueDictionary

from takehold.adapters.disk.destination import LocalDestination
from takehold.adapters.disk.naming import KnownNames
from takehold.adapters.disk.roots import opened
from takehold.adapters.disk.source import LocalSource
from takehold.model.volume import Root


class LocalDisk:
    """Implements `takehold.ports.disk.Disk`."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._names: WeakValueDictionary[str, KnownNames] = WeakValueDictionary()

    @contextmanager
    def source(self, root: Root) -> Iterator[LocalSource]:
        """Open a card or watch folder."""
        with opened(root) as at:
            yield LocalSource(at)

    @contextmanager
    def destination(self, root: Root) -> Iterator[LocalDestination]:
        """Open a destination."""
        with self._lock:
            names = self._names.setdefault(root.identity, KnownNames())
        below = root.path.removeprefix(root.volume.mount).strip(b"/")
        if below and not os.path.lexists(root.path):
            # A drive that is new: its folder is made, below the volume that is surely there.
            top = Root(root.volume.mount, root.volume, root.volume.identity)
            with opened(top) as at:
                LocalDestination(at, KnownNames()).make(below)
        with opened(root) as at:
            yield LocalDestination(at, names)
