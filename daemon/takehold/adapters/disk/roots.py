"""The folder of a root, held open: everything below is reached from it, and no link is followed."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager

from takehold.adapters.disk.beneath import open_beneath
from takehold.adapters.disk.faults import fault, refuse, told
from takehold.formats.names import display
from takehold.model.errors import VolumeGone
from takehold.model.volume import Root

# Linux only; elsewhere a read may touch the access time.
_SPARING = getattr(os, "O_NOATIME", 0)
_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW
_NO_PARTS = frozenset({b"", b".", b".."})
_NOT_THERE = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ELOOP})


class OpenRoot:
    """An open root. `device` is the number (st_dev) that its own files have."""

    __slots__ = ("device", "fd", "root")

    def __init__(self, root: Root, fd: int) -> None:
        self.root = root
        self.fd = fd
        self.device = os.fstat(fd).st_dev

    def check(self) -> None:
        """Raise VolumeGone unless the root's path still leads to the volume that was opened.

        After an unmount the path leads to a plain folder of another disk, or to nothing; after a
        mount on top of it to another volume. The open folder alone would show neither.
        """
        try:
            now = os.stat(self.root.path, follow_symlinks=False).st_dev
        except OSError as error:
            raise _not_there(error, self.root) from error
        if now != self.device:
            raise _not_the_volume(self.root)

    def id(self) -> str:
        """The root folder itself, whatever path or mount it was reached through."""
        return f"{_number(self.device)}:{os.fstat(self.fd).st_ino}"

    @contextmanager
    def folder(self, path: bytes, of: bytes | None = None) -> Iterator[int]:
        """Descriptor of a folder below, for the block. Errors name the file it is opened for."""
        fd = self.open_folder(path, of)
        try:
            yield fd
        finally:
            close_quietly(fd)

    def open_folder(self, path: bytes, of: bytes | None = None) -> int:
        """Descriptor of a folder below, part by part; the caller closes it."""
        with told(self.root, path if of is None else of):
            names = parts(self.root, path)
            whole = open_beneath(self.fd, path or b".", _FOLDER | _SPARING)
            if whole is not None:
                return whole
            fd = open_sparing(b".", _FOLDER, self.fd)
            for part in names:
                fd = _step(fd, part)
            return fd


def parts(root: Root, path: bytes) -> list[bytes]:
    """The parts of a path; FileMissing for one that would leave its folder."""
    found = path.split(b"/") if path else []
    if b"\0" in path or not _NO_PARTS.isdisjoint(found):
        raise refuse(errno.ENOENT, root, path)
    return found


def split(root: Root, path: bytes) -> tuple[bytes, bytes]:
    """The folder of a path, and its last part; FileMissing for what names no file."""
    if not parts(root, path):
        raise refuse(errno.ENOENT, root, path)
    folder, _, name = path.rpartition(b"/")
    return folder, name


def _step(above: int, part: bytes) -> int:
    """Open the next folder and close the one above it, also where that fails."""
    try:
        return open_sparing(part, _FOLDER, above)
    finally:
        os.close(above)


def open_sparing(name: bytes, flags: int, above: int | None = None) -> int:
    """Open without touching the access time; with it where only the owner may spare it."""
    if _SPARING:
        try:
            return os.open(name, flags | _SPARING, dir_fd=above)
        except PermissionError:
            pass
    return os.open(name, flags, dir_fd=above)


def close_quietly(fd: int) -> None:
    """Close what was only read: an error there tells nothing about the bytes."""
    with contextlib.suppress(OSError):
        os.close(fd)


@contextmanager
def opened(root: Root) -> Iterator[OpenRoot]:
    """Open a root; VolumeGone if another volume, or none, is there."""
    try:
        fd = open_sparing(root.path, _FOLDER)
    except OSError as error:
        raise _not_there(error, root) from error
    try:
        at = OpenRoot(root, fd)
        if not _lies_on(fd, root):
            raise _not_the_volume(root)
        at.check()
        yield at
    finally:
        close_quietly(fd)


def _lies_on(fd: int, root: Root) -> bool:
    """Whether an open folder is on the root's volume.

    On btrfs, and some FUSE and overlay mounts, files have other numbers than the mount table
    tells; there, the mount that the folder was reached through must be in the table.
    """
    if _number(os.fstat(fd).st_dev) == root.volume.device:
        return True
    try:
        return _device_in_table(fd) == root.volume.device
    except FileNotFoundError:  # no such table on this system
        mount = root.volume.mount
        on_it = os.path.ismount(mount) and os.path.commonpath([mount, root.path]) == mount
        return on_it and os.stat(mount).st_dev == os.fstat(fd).st_dev


def _number(device: int) -> str:
    return f"{os.major(device)}:{os.minor(device)}"


def _device_in_table(fd: int) -> str | None:
    """The mount table's number for the mount of an open folder; None if it is unmounted.

    Layout: proc_pid_fdinfo(5) (`mnt_id:`), proc_pid_mountinfo(5) (fields 1 and 3).
    """
    with open(f"/proc/self/fdinfo/{fd}", encoding="ascii") as lines:
        mount = next((line.split()[1] for line in lines if line.startswith("mnt_id:")), "")
    with open("/proc/self/mountinfo", "rb") as table:
        for line in table:
            fields = line.split(b" ", 3)
            if fields[0] == mount.encode():
                return fields[2].decode()
    return None


def is_plain(about: os.stat_result) -> bool:
    """Whether it is a regular file: neither link nor pipe, socket, device or folder."""
    return stat.S_ISREG(about.st_mode)


def _not_there(error: OSError, root: Root) -> Exception:
    if error.errno not in _NOT_THERE:
        return fault(error, root, b"")
    return VolumeGone(
        f"{display(root.path)}: the folder is not there, and so not the volume.",
        "Connect the volume again; the work goes on by itself.",
    )


def _not_the_volume(root: Root) -> VolumeGone:
    name = display(root.volume.label.encode("utf-8", "surrogateescape")) or "of before"
    return VolumeGone(
        f"{display(root.path)}: the folder is there, but not the volume {name}.",
        "Connect the volume again; nothing was written to the folder.",
    )
