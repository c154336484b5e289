"""Reading a whole file cold, for its checksums alone."""

from __future__ import annotations

import threading
from collections.abc import Callable

from takehold.engine.ring import Buffer
from takehold.formats.digest import FileDigest
from takehold.model.errors import FileMissing, TakeholdError, Unreadable, WorldError
from takehold.model.recording import Digests, Seen
from takehold.ports.disk import Reader

_mine = threading.local()


def read_whole(reader: Reader, size: int, moved: Callable[[], None]) -> tuple[Digests | None, Seen]:
    """The checksums of exactly `size` bytes and how they were read.

    None for the checksums if the file is shorter or longer. `moved` is told of every buffer.
    """
    buffer = _buffer()
    digest = FileDigest()
    offset = 0
    while True:
        count = reader.read_into(buffer.view, offset)
        if not count:
            break
        digest.update(buffer.view[:count])
        offset += count
        moved()
        if count < len(buffer.view) or offset > size:
            break
    return (digest.digests() if offset == size else None), reader.seen(size)


def as_unreadable(error: TakeholdError) -> TakeholdError:
    """A device's error, met while a card's file was read; any other error as it is."""
    if error.code != WorldError.code:
        return error
    do = "Keep the card and do not format it. Try another reader and another cable."
    return Unreadable(error.says, do)


def read_up(reader: Reader, cap: int) -> bytes:
    """A small file's bytes, cold; FileMissing if it is larger than `cap`."""
    buffer = _buffer()
    held = bytearray()
    while count := reader.read_into(buffer.view, len(held)):
        held += buffer.view[:count]
        if len(held) > cap:
            raise FileMissing(f"The file is larger than {cap} bytes.")
        if count < len(buffer.view):
            break
    return bytes(held)


def _buffer() -> Buffer:
    """This thread's own buffer, made once."""
    if not hasattr(_mine, "buffer"):
        _mine.buffer = Buffer()
    buffer: Buffer = _mine.buffer
    return buffer
