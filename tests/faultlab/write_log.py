"""What reached several disks, in the one order it reached them: a log that each server adds to.

Each record is appended by one call of a file opened with O_APPEND, before the request is answered:
whatever a program did after an answer, on any disk, comes later in the log (write(2), open(2)).
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

WRITE, FLUSH, NOTE = b"W", b"F", b"N"
_HEAD = struct.Struct("<BcIQ")  # disk, kind, bytes that follow, offset on the disk


@dataclass(frozen=True, slots=True)
class Record:
    """One request of a disk, or a note of whoever made the recording (`data` in UTF-8)."""

    disk: int
    kind: bytes
    offset: int = 0
    data: bytes = b""


class WriteLog:
    """An end of the log to add to."""

    def __init__(self, path: str | Path) -> None:
        self._fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)

    def add(self, record: Record) -> None:
        """Append; fails if there is no room for all of it."""
        head = _HEAD.pack(record.disk, record.kind, len(record.data), record.offset)
        done = os.writev(self._fd, [head, record.data])
        assert done == len(head) + len(record.data), "the log is torn"

    def close(self) -> None:
        """Add no more."""
        os.close(self._fd)


def records(path: Path) -> Iterator[Record]:
    """All of a log, from its beginning."""
    with path.open("rb") as file:
        while head := file.read(_HEAD.size):
            disk, kind, length, offset = _HEAD.unpack(head)
            yield Record(disk, kind, offset, file.read(length))
