"""Is a known card that came in anew the one that it is taken for?

Two cards may have one serial number, and files of one name, size and time: a recorder whose clock
stands still gives all its files one. So some files are looked into once, each time that a card
comes in, before any is trusted by its stamp. A difference: it is another card, and a load of its
own.
"""

from __future__ import annotations

from collections.abc import Iterable

from takehold.decide.reads import Reads, reads_of
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording, Stamp
from takehold.model.sound import Description, Kind, Span

FILES = 16  # spread over the card; chosen, no source
DIGEST_BYTES = 8


def sample(
    ledger: Ledger, load: int, files: Iterable[tuple[bytes, Stamp]]
) -> tuple[Recording, ...]:
    """What is looked into: recordings that lie there by their stamps, and can be told apart.

    Of an opaque file nothing is kept that a short look could be compared with.
    """
    known = [
        r
        for path, stamp in files
        if (r := ledger.current(load, path)) is not None
        and r.stamp == stamp
        and r.description.kind is not Kind.OTHER
        and reads_of(r) is not Reads.FIRST_WRONG
    ]
    if len(known) <= FILES:
        return tuple(known)
    return tuple(known[n * (len(known) - 1) // (FILES - 1)] for n in range(FILES))


def same_header(known: Description, now: Description) -> bool:
    """Whether a header tells the same recording: its form, its payload, its moment.

    What a later version of the program reads out of a header besides makes no other card of it.
    What is known from a manifest alone tells no place of the payload: then only its start counts.
    """
    if known.data is None:
        start = known.metadata.time_reference
        return start is None or start == now.metadata.time_reference
    return _of_header(known) == _of_header(now)


def _of_header(said: Description) -> tuple[object, ...]:
    by = said.metadata
    moment = (by.date, by.time, by.time_reference, by.file_uid)
    return (said.kind, said.format, said.data, said.frames, *moment)


def last_block(recording: Recording) -> tuple[Span, bytes] | None:
    """The last whole block of a recording's audio, or its only one, and the XXH3-64 that it had.

    None where no audio was measured.
    """
    said, sound = recording.description, recording.sound
    if said.format is None or said.data is None or sound is None or not sound.blocks:
        return None
    number = max(sound.frames // sound.block_frames - 1, 0)
    first = number * sound.block_frames
    frames = min(sound.block_frames, sound.frames - first)
    digest = sound.blocks[number * DIGEST_BYTES :][:DIGEST_BYTES]
    align = said.format.block_align
    return Span(said.data.offset + first * align, frames * align), digest
