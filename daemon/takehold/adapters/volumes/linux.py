"""The mount table of Linux."""

from __future__ import annotations

import os
import re
import select
import threading
import time
from dataclasses import dataclass

from takehold.adapters.volumes import block
from takehold.adapters.volumes.mountinfo import NETWORK, Mount, mounts
from takehold.adapters.volumes.patience import Patience
from takehold.adapters.volumes.place import judged, refusal, refused, root_of, silent, tidy
from takehold.formats.names import display
from takehold.model.volume import MEMORY_FILE_SYSTEMS, Root, Volume
from takehold.ports.volumes import Absent, Silent

TAGS_S = 5.0
# Each question that a device does not answer holds up the loop for as long as it is waited for.
ASK_AGAIN_S = 30.0

# "//nas/share", "nas:/export", "user@nas:/folder", "[fe80::1]:/x", "pool/dataset": shares of one
# machine, like parts of one pool, may lie on one disk, so they count as one (P5).
_MACHINE = re.compile(r"(?://)?(?:[^/@]*@)?(\[[^]]*\]|[^/:@]+)[:/]")
_LOOK = os.O_PATH | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC


@dataclass(frozen=True, slots=True)
class _Live:
    """What a mount answered: size of the file system in bytes, and what lies behind it."""

    size: int
    read_only: bool
    number: str | None


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a folder lies: the mount's id, and its path free of links."""

    mount_id: str
    real: bytes


class LinuxVolumes:
    """Implements `takehold.ports.volumes.Volumes`."""

    def __init__(self) -> None:
        self._patience = Patience()
        self._tags: dict[Mount, block.Tags] = {}
        self._fresh: set[Mount] = set()
        self._silent: dict[Mount, float] = {}
        self._lock = threading.Lock()
        # Kept open: polling it tells whether anything was mounted or unmounted since.
        self._table = open("/proc/self/mountinfo", "rb", buffering=0)  # noqa: SIM115
        self._changes = select.poll()
        self._changes.register(self._table, select.POLLPRI | select.POLLERR)

    def __del__(self) -> None:
        self.close()

    def close(self) -> None:
        """Close the table."""
        self._table.close()

    def mounted(self) -> tuple[Volume, ...]:
        """All mounted volumes that hold files and answer; one mount each, the shortest."""
        with self._lock:
            seen: dict[tuple[str, bytes], Volume] = {}
            for mount in self._mounts():
                volume = self._volume(mount) if mount.holds_files else None
                if volume is None:
                    continue
                other = seen.get((mount.device, mount.root))
                if other is None or len(volume.mount) < len(other.mount):
                    seen[(mount.device, mount.root)] = volume
            return tuple(seen.values())

    def silent(self) -> tuple[Silent, ...]:
        """Mounts whose block device did not tell its name in time."""
        with self._lock:
            return tuple(Silent(self._name(mount), mount.point) for mount in self._silent)

    def _name(self, mount: Mount) -> str:
        tags = self._tags.get(mount)
        known = tags.label if tags is not None else ""
        return known or display(os.path.basename(mount.point))

    def root(self, volume: Volume, folder: bytes = b"") -> Root:
        """A folder of a volume as a root."""
        return root_of(volume, folder)

    def folder(self, path: bytes, known_identity: str | None) -> Root | Absent:
        """A configured folder as a root, if it lies where it lay."""
        path = tidy(path)
        found = self._patience.ask(path, lambda: _look(path))
        if isinstance(found, Absent):
            return found
        with self._lock:
            table = self._mounts()
            mount = next((m for m in table if found and m.id == found.mount_id), None)
            volume = self._volume(mount) if mount else None
        if found is None or volume is None:
            return silent(path)
        below = found.real[len(volume.mount) :]
        return judged(path, root_of(volume, below), known_identity)

    def _mounts(self) -> tuple[Mount, ...]:
        changed = self._changes.poll(0)
        self._table.seek(0)
        table = mounts(self._table.read())
        if changed:
            # Numbers, ids and paths come again with another card: everything is asked again.
            self._fresh.clear()
            self._silent = {m: self._silent[m] for m in table if m in self._silent}
            self._tags = {m: self._tags[m] for m in table if m in self._tags}
        return table

    def _volume(self, mount: Mount) -> Volume | None:
        """The volume of a mount; None if it is hidden by another one, dead, or refuses access."""
        live = (
            self._patience.ask((mount.id, mount.point), lambda: _probe(mount))
            if mount.may_hang
            else _probe(mount)
        )
        if live is None:
            return None
        tags = block.Tags() if live.number is None else self._known_tags(mount, live.number)
        if tags is None:
            return None  # a volume under a wrong identity would be worse than none
        return Volume(
            mount=mount.point,
            mount_id=mount.id,
            device=mount.device,
            label=tags.label or display(os.path.basename(mount.point) or mount.point),
            identity=_identity(mount, live, tags.uuid),
            kind=mount.kind,
            disks=_disks(mount, live, tags.uuid),
            read_only=live.read_only,
            size_bytes=live.size,
        )

    def _known_tags(self, mount: Mount, number: str) -> block.Tags | None:
        if mount in self._fresh:
            return self._tags[mount]
        if time.monotonic() < self._silent.get(mount, 0.0):
            return None
        tags = self._patience.ask(number, lambda: block.ask_tags(number, TAGS_S), TAGS_S)
        if tags is None:
            self._silent[mount] = time.monotonic() + ASK_AGAIN_S
        else:
            self._silent.pop(mount, None)
        if tags is not None and not tags.uuid:
            # A failing device does not tell its name any more; it is still the same one.
            tags = self._tags.get(mount, tags)
        if tags is not None and tags.uuid:
            self._tags[mount] = tags
            self._fresh.add(mount)
        return tags


def _probe(mount: Mount) -> _Live | None:
    try:
        top = os.open(mount.point, _LOOK)
    except OSError:
        return None
    try:
        if _mount_id(top) != mount.id:
            return None
        room = os.fstatvfs(top)
    except OSError:
        return None
    finally:
        os.close(top)
    return _Live(
        size=room.f_blocks * room.f_frsize,
        read_only=bool(room.f_flag & os.ST_RDONLY),
        number=None if mount.kind == "overlay" else block.number_of(mount.device, mount.source),
    )


def _look(path: bytes) -> _Place | Absent:
    no = refusal(path)
    if no is not None:
        return no
    try:
        real = os.path.realpath(path)
        folder = os.open(real, _LOOK)
    except OSError as error:
        return refused(path, error)
    try:
        return _Place(_mount_id(folder), real)
    finally:
        os.close(folder)


def _mount_id(fd: int) -> str:
    """The id of the mount that an open folder lies on: proc_pid_fdinfo(5)."""
    with open(f"/proc/self/fdinfo/{fd}", encoding="ascii") as lines:
        return dict(line.split(":", 1) for line in lines)["mnt_id"].strip()


def _identity(mount: Mount, live: _Live, uuid: str) -> str:
    """Stable over mounts; two subvolumes of one file system differ by the folder mounted."""
    source = display(mount.source)
    if mount.kind in MEMORY_FILE_SYSTEMS:
        return f"memory:{mount.id}"
    size = block.size_of(live.number) if live.number else live.size
    if uuid:
        whole = f"uuid:{uuid}:{size}"
    elif mount.kind in NETWORK:
        whole = f"net:{source}"
    else:
        whole = f"dev:{source}:{size}"
    below = display(mount.root.strip(b"/"))
    return f"{whole}:{below}" if below else whole


def _disks(mount: Mount, live: _Live, uuid: str) -> frozenset[str]:
    if mount.kind in MEMORY_FILE_SYSTEMS:
        return frozenset()
    if live.number is not None:
        pool = block.pool_disks(uuid) if mount.kind == "btrfs" and uuid else frozenset()
        return pool | block.disks_behind(live.number)
    source = display(mount.source)
    machine = _MACHINE.match(source)
    if machine and (mount.may_hang or mount.kind == "zfs"):
        return frozenset({machine[1]})
    known = mount.may_hang and not source.startswith("/") and source not in ("", "none", "fuse")
    return frozenset({source}) if known else frozenset()
