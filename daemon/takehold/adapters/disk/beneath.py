"""Opening what lies below an open folder by its whole path, and following no link on the way."""

from __future__ import annotations

import ctypes
import os
import sys

from takehold.adapters.disk.libc import libc

# openat2(2), since Linux 5.6. All architectures that Python has a tier for give it this number.
_OPENAT2 = 437
_NO_SYMLINKS = 0x04  # RESOLVE_NO_SYMLINKS of linux/openat2.h


class _How(ctypes.Structure):
    """struct open_how of linux/openat2.h."""

    _fields_ = (
        ("flags", ctypes.c_uint64),
        ("mode", ctypes.c_uint64),
        ("resolve", ctypes.c_uint64),
    )


def open_beneath(above: int, path: bytes, flags: int) -> int | None:
    """A descriptor, by one call of the system instead of two a folder; None for any refusal.

    Then it is to be opened part by part, which tells why. `path` has no `..`, and is no absolute
    one.
    """
    if sys.platform != "linux":
        return None
    how = _How(flags | os.O_CLOEXEC, 0, _NO_SYMLINKS)
    fd: int = libc().syscall(
        ctypes.c_long(_OPENAT2),
        ctypes.c_int(above),
        path,
        ctypes.byref(how),
        ctypes.c_size_t(ctypes.sizeof(how)),
    )
    return fd if fd >= 0 else None
