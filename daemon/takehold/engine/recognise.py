"""Looking into some files of a card that came in anew (decide/recognise)."""

from __future__ import annotations

from collections.abc import Callable

import xxhash

from takehold.decide.recognise import last_block, same_header
from takehold.formats.describe import describe
from takehold.model.errors import TakeholdError, VolumeGone
from takehold.model.recording import Recording
from takehold.model.step import Recognise
from takehold.ports.disk import Reader, SourceTree


def is_known(step: Recognise, tree: SourceTree, read: Callable[[], None]) -> bool:
    """Whether nothing in these files speaks against it; one that cannot be read says nothing.

    `read` is called after each file, and may raise to end it there.
    """
    for recording in step.recordings:
        try:
            with tree.open(recording.path) as reader:
                if reader.stamp() == recording.stamp and not _is_same(reader, recording):
                    return False
        except VolumeGone:
            raise
        except TakeholdError:
            pass
        read()
    return True


def _is_same(reader: Reader, recording: Recording) -> bool:
    if not same_header(recording.description, describe(reader.read_at, recording.stamp.size)):
        return False
    block = last_block(recording)
    if block is None:
        return True
    span, digest = block
    return _digest(reader, span.offset, span.length) == digest


def _digest(reader: Reader, offset: int, length: int) -> bytes:
    """The XXH3-64 of these bytes, or of those that are there."""
    found = xxhash.xxh3_64()
    while length and (piece := reader.read_at(offset, length)):
        found.update(piece)
        offset += len(piece)
        length -= len(piece)
    return found.digest()
