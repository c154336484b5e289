"""The table /proc/self/mountinfo. Layout: proc_pid_mountinfo(5)."""

from __future__ import annotations

import re
from dataclasses import dataclass

# They hold no files of people. `squashfs` and `erofs` are packaged programs; looking into an
# `autofs` would mount what nobody asked for.
# fmt: off
PSEUDO = frozenset((
    "autofs", "binfmt_misc", "bpf", "cgroup", "cgroup2", "configfs", "cpuset", "debugfs",
    "devpts", "devtmpfs", "efivarfs", "erofs", "fuse.lxcfs", "fuse.portal", "fusectl",
    "hugetlbfs", "mqueue", "nfsd", "nsfs", "pipefs", "proc", "pstore", "resctrl", "rootfs",
    "rpc_pipefs", "securityfs", "selinuxfs", "sockfs", "squashfs", "sysfs", "tracefs",
))
NETWORK = frozenset((
    "9p", "afs", "ceph", "cifs", "coda", "davfs", "fuse.sshfs", "lustre", "ncpfs", "nfs",
    "nfs4", "smb3", "smbfs", "virtiofs",
))
# fmt: on

_ESCAPE = re.compile(rb"\\([0-7]{3})")


@dataclass(frozen=True, slots=True)
class Mount:
    """One line. `root` is the folder of the file system that is mounted, b"/" for all of it."""

    id: str
    device: str
    root: bytes
    point: bytes
    kind: str
    source: bytes

    @property
    def holds_files(self) -> bool:
        """Whether people may keep files here. An overlay counts where it is the system itself."""
        if self.kind == "overlay":
            return self.point == b"/"
        return self.kind not in PSEUDO

    @property
    def may_hang(self) -> bool:
        """Whether a program or another machine has to answer."""
        return self.kind.startswith("fuse") or self.kind in NETWORK


def mounts(table: bytes) -> tuple[Mount, ...]:
    """Every line of the table in its order; a line of another form is left out."""
    read = (_mount(line.split(b" ")) for line in table.split(b"\n"))
    return tuple(mount for mount in read if mount is not None)


def _mount(parts: list[bytes]) -> Mount | None:
    # id parent major:minor root point options [tags …] - kind source super-options
    if b"-" not in parts[6:]:
        return None
    after = parts[parts.index(b"-", 6) + 1 :]
    if len(after) < 2:
        return None
    return Mount(
        id=parts[0].decode("ascii", "replace"),
        device=parts[2].decode("ascii", "replace"),
        root=_plain(parts[3]),
        point=_plain(parts[4]),
        kind=_plain(after[0]).decode("utf-8", "backslashreplace"),
        source=_plain(after[1]),
    )


def _plain(field: bytes) -> bytes:
    """Blank, tab, newline, backslash and # are written as three octal digits."""
    return _ESCAPE.sub(lambda found: bytes([int(found[1], 8) & 0xFF]), field)
