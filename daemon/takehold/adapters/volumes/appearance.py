"""Which appearance of a volume is there: the same until it was away and came back.

A mount's id and an anonymous device number are given again to the next mount, and differ between
two services' views of one mount. Linux counts otherwise what matters here. A disk has a sequence
number, another one for each time it, or its medium, is put in (`diskseq`, kernel documentation
ABI/stable/sysfs-block). A file system without a disk that announces its own backing device has an
entry of it in /sys/class/bdi from its first mount to its last, under an inode number that is not
given twice (kernfs; measured: three mounts, one device number, three inode numbers).
"""

from __future__ import annotations

import os


def appearance_of(device: str) -> str:
    """For a device number "MAJ:MIN" of the mount table; "" where the system does not tell.

    Where neither is there, the boot alone tells: after the next one the volume has come back.
    """
    boot = _line("/proc/sys/kernel/random/boot_id")
    if not boot:
        return ""
    here = f"/sys/dev/block/{device}"
    number = _line(f"{here}/diskseq") or _line(f"{here}/../diskseq")  # a partition: its disk's
    if number:
        return f"{boot} disk {number}"
    try:
        return f"{boot} mount {os.lstat(f'/sys/class/bdi/{device}').st_ino}"
    except OSError:
        return boot


def _line(path: str) -> str:
    try:
        with open(path, encoding="ascii") as file:
            return file.read().strip()
    except (OSError, ValueError):
        return ""
