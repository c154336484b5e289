"""Reads that differ of a file that no card shows any more: no further read can settle them (P8).

Which of them is right was not shown, and never will be. While the card may come back the day stays
on hold. Once the file is gone from it, or the card is away for long, a person decides; the manifest
then says READY together with what a person decided on and nobody showed. Should the file come back,
it holds its day again and is read; a decision covers just the reads that it was given for.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping

from takehold.decide.noticed import finding
from takehold.decide.reads import DIFFER, UNSETTLED, Reads, reads_of
from takehold.formats.names import display
from takehold.model.facts import Acked, Trouble
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording

UNSETTLED_SAYS = "; it is on its card no more: which of them is right cannot be shown any more."
DECIDED = " Not confirmed: a person decided on it."
UNSETTLED_DO = (
    "Put its card in, if it is on another one or may come back. If not, listen to the copy from "
    "end to end, then decide, and tell post: the copies hold the first of these reads."
)


def differing(ledger: Ledger) -> Iterator[tuple[Recording, Reads]]:
    """Files of which a later read gave other bytes; not their earlier versions."""
    for rid in sorted(ledger.differing):
        recording = ledger.recordings[rid]
        if ledger.current(recording.load, recording.path) is recording:
            yield recording, reads_of(recording)


def disputed(ledger: Ledger) -> Iterator[Recording]:
    """Those of which no read has the most on its side."""
    return (recording for recording, reads in differing(ledger) if reads is Reads.DISPUTED)


def is_unsettled(trouble: Trouble | None) -> bool:
    """Whether it tells of reads that differ, of a file that is on its card no more."""
    return trouble is not None and trouble.code == UNSETTLED


def awaited(ledger: Ledger, load: int) -> bool:
    """Whether a card has a file that only a further read of it can settle."""
    return any(recording.load == load for recording in disputed(ledger))


def dispute(recording: Recording, severity: Severity, says: str = "", do: str = "") -> Finding:
    """The finding; a decision covers just these reads: one more, and it is asked for anew."""
    reads = "\n".join(reading.digests.sha256 for reading in recording.readings)
    covers = hashlib.sha256(reads.encode()).hexdigest()
    return finding(
        DIFFER, severity, display(recording.place), says, do, recording.id, covers=covers
    )


def decided_on(found: Iterable[Finding], acks: Mapping[str, Acked]) -> tuple[str, ...]:
    """What is said beside READY: each file that a person decided on and no read confirmed."""
    mine = [f for f in found if f.code == DIFFER and f.severity is Severity.LOOK and f.id in acks]
    return tuple(f"{f.says}{DECIDED}" for f in mine)
