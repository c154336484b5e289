"""Flushing a part piece by piece, and several at once: the real file systems and the fake alike."""

from __future__ import annotations

import threading

import pytest
from test_disk import BLOCK, Site, buffer, content, read_whole, shuttle, site

from takehold.model.errors import WorldError
from takehold.ports.disk import DestinationTree, Part

__all__ = ["buffer", "shuttle", "site"]


def write(part: Part, data: bytes, start: int, end: int, view: memoryview) -> None:
    for offset in range(start, end, BLOCK):
        piece = data[offset : min(offset + BLOCK, end)]
        view[: len(piece)] = piece
        part.write(view[: len(piece)], offset)


@pytest.mark.parametrize("rest", [1, BLOCK, 3 * BLOCK + 17])
def test_a_piece_is_read_back_while_the_rest_is_written(
    site: Site,  # the fixtures of the contract
    shuttle: DestinationTree,
    buffer: memoryview,
    rest: int,
) -> None:
    """By a second thread, which gets the bytes of the piece; the whole is right afterwards."""
    data = content(8 * BLOCK + rest)
    part = shuttle.part(b"day")
    part.reserve(len(data))
    write(part, data, 0, 8 * BLOCK, buffer)
    found: list[bytes] = []

    def read_back() -> None:
        view = memoryview(bytearray(BLOCK))
        if part.flush_piece():
            with part.reader() as reader:
                for offset in range(0, 8 * BLOCK, BLOCK):
                    assert reader.read_into(view, offset) == BLOCK
                    found.append(bytes(view))

    thread = threading.Thread(target=read_back)
    thread.start()
    write(part, data, 8 * BLOCK, len(data), buffer)
    thread.join(60)
    assert not found or b"".join(found) == data[: 8 * BLOCK]
    part.flush(len(data))
    with part.reader() as reader:
        assert read_whole(reader, buffer) == data
    part.keep(b"day/T.wav")
    assert site.get(b"day/T.wav") == data


def test_a_part_whose_piece_was_flushed_is_not_named_before_the_whole_is(
    shuttle: DestinationTree,
    buffer: memoryview,
) -> None:
    """P3: a piece is no promise for the rest."""
    part = shuttle.part(b"")
    part.reserve(8 * BLOCK)
    write(part, content(8 * BLOCK), 0, 8 * BLOCK, buffer)
    part.flush_piece()
    with pytest.raises(WorldError):
        part.keep(b"T.wav")
    part.drop()


@pytest.mark.parametrize("size", [0, 1, 50_000, 2 * BLOCK + 5])
def test_parts_that_were_flushed_together_are_whole(
    site: Site,
    shuttle: DestinationTree,
    buffer: memoryview,
    size: int,
) -> None:
    """Each is flushed by itself then, has its own length and bytes, and gets its name."""
    parts = [shuttle.part(b"day") for _ in range(5)]
    for number, part in enumerate(parts):
        part.reserve(size + number)
        write(part, content(size + number, number), 0, size + number, buffer)
    shuttle.flush_together(parts)
    with pytest.raises(WorldError):
        parts[0].keep(b"day/0.wav")
    for number, part in enumerate(parts):
        part.flush(size + number)
        part.keep(b"day/%d.wav" % number)
        assert site.get(b"day/%d.wav" % number) == content(size + number, number)


def test_what_is_written_after_a_flush_together_is_flushed_too(
    site: Site,
    shuttle: DestinationTree,
    buffer: memoryview,
) -> None:
    """The earlier flush does not stand for it."""
    parts = [shuttle.part(b"") for _ in range(2)]
    for part in parts:
        write(part, content(4096), 0, 4096, buffer)
    shuttle.flush_together(parts)
    write(parts[0], content(9000, 1), 0, 9000, buffer)
    parts[0].flush(9000)
    parts[0].keep(b"T.wav")
    parts[1].drop()
    assert site.get(b"T.wav") == content(9000, 1)
