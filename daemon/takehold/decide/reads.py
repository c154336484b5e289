"""What the reads of one recording come to (P8).

A card that is misread once gives matching checksums and a wrong copy. Two reads that agree settle
it; while they differ, the card is read again, and two against one decide.
"""

from __future__ import annotations

from collections import Counter
from enum import Enum

from takehold.model.recording import Digests, Recording

MOST_READS = 5


class Reads(Enum):
    """NONE: not read. ONCE: not confirmed. AGREED: confirmed. DISPUTED: no two agree.

    FIRST_WRONG: two later reads agree with each other and not with the read that made the copies.
    """

    NONE = "none"
    ONCE = "once"
    AGREED = "agreed"
    DISPUTED = "disputed"
    FIRST_WRONG = "first wrong"


def reads_of(recording: Recording) -> Reads:
    """Weigh the reads of one recording."""
    if not recording.readings:
        return Reads.NONE
    votes = Counter(reading.digests for reading in recording.readings)
    if len(recording.readings) == 1:
        return Reads.ONCE
    settled = [digests for digests, count in votes.items() if count >= 2]
    if not settled:
        return Reads.DISPUTED
    if recording.digests in settled:
        return Reads.AGREED
    return Reads.FIRST_WRONG


def other_digests(recording: Recording) -> Digests | None:
    """The first read result that differs from the one that made the copies."""
    return next((r.digests for r in recording.readings if r.digests != recording.digests), None)
