"""The C library, for calls that Python does not have."""

from __future__ import annotations

import ctypes
from functools import cache


@cache
def libc() -> ctypes.CDLL:
    """Opened once; `ctypes.get_errno()` has its errors."""
    return ctypes.CDLL(None, use_errno=True)
