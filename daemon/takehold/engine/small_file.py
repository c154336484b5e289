"""Landing a small file of our own (a manifest, a list) on a destination, as proven as a copy."""

from __future__ import annotations

from collections.abc import Callable

from takehold.engine.proving import folder_of
from takehold.engine.reading import read_up
from takehold.engine.ring import Buffer
from takehold.formats.names import display
from takehold.model.errors import CopyDiffers, NameTaken, TakeholdError
from takehold.ports.disk import DestinationTree

SIZE = 1 << 20


def land_bytes(
    tree: DestinationTree, path: bytes, data: bytes, may_name: Callable[[], None]
) -> None:
    """Write, flush, read back, name, flush the folder.

    `may_name` is asked last before the name is given, and raises where it must not be.
    A file of that name with the same bytes is fine. Raises NameTaken if it has other bytes,
    CopyDiffers if the medium gave back something else, and what the disk raises.
    """
    there = tree.stamp_of(path)
    if there is not None:
        if there.size != len(data) or not _holds(tree, path, data):
            says = f"{display(path)} is there already, with other bytes; it is left alone."
            raise NameTaken(says, "Look who wrote it; takehold never replaces a file.")
        tree.settle(folder_of(path))
        return
    part = tree.part(folder_of(path))
    try:
        part.reserve(len(data))
        buffer = Buffer(SIZE)
        for offset in range(0, len(data), SIZE):
            piece = data[offset : offset + SIZE]
            buffer.view[: len(piece)] = piece
            part.write(buffer.view[: len(piece)], offset)
        part.flush(len(data))
        with part.reader() as reader:
            if read_up(reader, len(data)) != data:
                raise CopyDiffers(f"{display(path)} was read back with other bytes.")
        may_name()
        part.keep(path)
    except TakeholdError:
        part.drop()
        raise
    tree.settle(folder_of(path))


def _holds(tree: DestinationTree, path: bytes, data: bytes) -> bool:
    with tree.open(path) as reader:
        return read_up(reader, len(data)) == data
