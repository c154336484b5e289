"""What surrounds the sound of files that were described: the same bytes say the same again.

A card's header is read twice, at its inventory and in the bytes that are copied (P8). Taking it
apart costs ten times as much as comparing it, and is needed only where it differs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable

from takehold.formats.describe import describe
from takehold.model.recording import Recording, Stamp
from takehold.model.sound import Description, Kind, Span

# Bytes before the sound, and as many behind it; of more than that nothing is noted.
MOST = 1 << 16
Read = Callable[[int, int], bytes]
_Key = tuple[int, bytes, Stamp]


class Heads:
    """Of each file one digest, until its bytes come again; threads take turns by themselves."""

    def __init__(self) -> None:
        self._noted: dict[_Key, bytes] = {}

    def describe(self, read: Read, load: int, path: bytes, stamp: Stamp) -> Description:
        """Describe a file of a load, and note what that was read from."""
        said = describe(read, stamp.size)
        self._noted.pop((load, path, stamp), None)
        if said.kind is Kind.WAVE and said.data is not None and not said.complaints:
            digest = _around(read, stamp.size, said.data)
            if digest is not None:
                self._noted[(load, path, stamp)] = digest
        return said

    def again(self, read: Read, known: Recording) -> bool:
        """Whether what was noted of it came again, byte by byte; it is forgotten then."""
        noted = self._noted.pop((known.load, known.path, known.stamp), None)
        data = known.description.data
        if noted is None or data is None:
            return False
        return noted == _around(read, known.stamp.size, data)


def _around(read: Read, size: int, data: Span) -> bytes | None:
    """SHA-256 of what stands before the sound and behind it; None where that is too much.

    The description of a WAVE with nothing odd about it rests on nothing else.
    """
    begin, end = data.offset, data.offset + data.length
    if max(begin, size - end) > MOST:
        return None
    digest = hashlib.sha256(b"%d %d %d " % (size, begin, end))
    digest.update(read(0, begin))
    digest.update(read(end, size - end) if end < size else b"")
    return digest.digest()
