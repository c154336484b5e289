"""The mount table of Linux."""

from __future__ import annotations

import os
import re
import select
import threading
import time
from dataclasses import dataclass

from takehold.adapters.volumes import block, disks
from takehold.adapters.volumes.appearance import appearance_of
from takehold.adapters.volumes.mountinfo import NETWORK, Mount, mounts
from takehold.adapters.volumes.patience import Patience
from takehold.adapters.volumes.place import (
    inside,
    judged,
    refusal,
    refused,
    root_of,
    silent,
    tidy,
)
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
class _Told:
    """What a device told: its tags, the kernel's numbers of the disks below, their own names."""

    tags: block.Tags
    below: frozenset[str]
    names: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a folder lies: the mount's id, and its path free of links."""

    mount_id: str
    real: bytes


class LinuxVolumes:
    """Implements `takehold.ports.volumes.Volumes`."""

    def __init__(self) -> None:
        self._patience = Patience()
        self._told: dict[Mount, _Told] = {}
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
            table = self._mounts()
            for mount in table:
                volume = self._volume(mount, table) if mount.holds_files else None
                if volume is None:
                    continue
                other = seen.get((mount.device, mount.root))
                if other is None or len(volume.mount) < len(other.mount):
                    seen[(mount.device, mount.root)] = volume
            return tuple(seen.values())

    def forget(self) -> None:
        """Ask every device again, also one whose mount is as it was."""
        with self._lock:
            self._fresh.clear()
            self._told.clear()
            self._silent.clear()

    def silent(self) -> tuple[Silent, ...]:
        """Mounts whose block device did not tell its name in time."""
        with self._lock:
            return tuple(Silent(self._name(mount), mount.point) for mount in self._silent)

    def _name(self, mount: Mount) -> str:
        told = self._told.get(mount)
        known = told.tags.label if told is not None else ""
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
            volume = self._volume(mount, table) if mount else None
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
            self._told = {m: self._told[m] for m in table if m in self._told}
        return table

    def _volume(self, mount: Mount, table: tuple[Mount, ...]) -> Volume | None:
        """The volume of a mount; None if it is hidden by another one, dead, or refuses access."""
        live = (
            self._patience.ask((mount.id, mount.point), lambda: _probe(mount))
            if mount.may_hang
            else _probe(mount)
        )
        told = self._answer(mount, live.number) if live else None
        stands_on = self._stands_on(told, table, frozenset({mount.device})) if told else None
        if live is None or told is None or stands_on is None:
            return None  # a volume under a wrong identity would be worse than none
        return Volume(
            mount=mount.point,
            mount_id=mount.id,
            device=mount.device,
            label=told.tags.label or display(os.path.basename(mount.point) or mount.point),
            identity=_identity(mount, live, told.tags.uuid),
            kind=mount.kind,
            disks=stands_on,
            read_only=live.read_only,
            size_bytes=live.size,
            appearance=appearance_of(mount.device),
            top=mount.root,
        )

    def _answer(self, mount: Mount, number: str | None) -> _Told | None:
        """What the device of a mount told, asked again after each change of the table."""
        if number is None or mount.kind in MEMORY_FILE_SYSTEMS:
            return _Told(block.Tags(), frozenset(), _shares(mount))
        old = self._told.get(mount)
        if old and mount in self._fresh and old.below == _below(mount, number, old.tags.uuid):
            return old
        if time.monotonic() < self._silent.get(mount, 0.0):
            return None
        told = self._patience.ask(number, lambda: _ask(mount, number), TAGS_S)
        if told is None:
            self._silent[mount] = time.monotonic() + ASK_AGAIN_S
            return None
        self._silent.pop(mount, None)
        if not told.tags.uuid:
            # A failing device does not tell its name any more; it is still the same one.
            told = old or told
        if told.tags.uuid:
            self._told[mount] = told
            self._fresh.add(mount)
        return told

    def _stands_on(
        self, told: _Told, table: tuple[Mount, ...], passed: frozenset[str]
    ) -> frozenset[str] | None:
        """The disks' names; an image file stands on the disks of the drive it lies on, too."""
        names = told.names
        for number in told.below:
            image = block.backing_file(number)
            host = _host(image, table, passed) if image else None
            if host is None:
                continue
            # `passed` keeps an image that is mounted over its own folder from being its own host.
            answer = self._host_answer(host)
            more = self._stands_on(answer, table, passed | {host.device}) if answer else None
            if more is None:
                return None
            names |= more
        return names

    def _host_answer(self, host: Mount) -> _Told | None:
        if not host.may_hang:
            return self._answer(host, _number(host))
        found = self._patience.ask(("host", host.id), lambda: (_number(host),))
        return self._answer(host, found[0]) if found else None


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
        number=_number(mount),
    )


def _number(mount: Mount) -> str | None:
    return None if mount.kind == "overlay" else block.number_of(mount.device, mount.source)


def _ask(mount: Mount, number: str) -> _Told | None:
    tags = block.ask_tags(number, TAGS_S)
    if tags is None:
        return None
    below = _below(mount, number, tags.uuid)
    names = [disks.names_of(disk, TAGS_S) for disk in sorted(below)]
    known = [name for name in names if name is not None]
    return _Told(tags, below, frozenset().union(*known)) if len(known) == len(names) else None


def _below(mount: Mount, number: str, uuid: str) -> frozenset[str]:
    pool = block.pool_disks(uuid) if mount.kind == "btrfs" and uuid else frozenset()
    return pool | block.disks_behind(number)


def _host(image: bytes, table: tuple[Mount, ...], passed: frozenset[str]) -> Mount | None:
    """The mount that an image file lies on; None where that is the system's own."""
    above = [m for m in reversed(table) if m.device not in passed and inside(image, m.point)]
    host = max(above, key=lambda m: len(m.point), default=None)
    system = next((m.device for m in reversed(table) if m.point == b"/"), None)
    return None if host is None or host.device == system else host


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


def _shares(mount: Mount) -> frozenset[str]:
    """What a mount without a block device stands on, as far as its source names it."""
    if mount.kind in MEMORY_FILE_SYSTEMS:
        return frozenset()
    source = display(mount.source)
    machine = _MACHINE.match(source)
    if machine and (mount.may_hang or mount.kind == "zfs"):
        return frozenset({machine[1]})
    known = mount.may_hang and not source.startswith("/") and source not in ("", "none", "fuse")
    return frozenset({source}) if known else frozenset()
