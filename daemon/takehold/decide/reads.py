"""What the reads of one recording come to (P8).

A card that is misread once gives matching checksums and a wrong copy. Two reads that agree settle
it; while they differ, the card is read again, and two against one decide; two against two do not.
"""

from __future__ import annotations

from collections import Counter
from enum import Enum

from takehold.model.recording import Digests, Recording

# While the card lies there; once more each time that it is put in.
MOST_READS = 5
# Codes: reads differ, and a further one may settle them; and none can come (see unsettled.py).
DIFFER, UNSETTLED = "reads-differ", "reads-unsettled"
DISPUTES = frozenset({DIFFER, UNSETTLED})


class Reads(Enum):
    """NONE: not read. ONCE: not confirmed. AGREED: confirmed. DISPUTED: no result has the most.

    FIRST_WRONG: more later reads agree with each other than with the read that made the copies.
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
    if len(recording.readings) == 1:
        return Reads.ONCE
    if all(reading.digests == recording.digests for reading in recording.readings):
        return Reads.AGREED
    votes = Counter(reading.digests for reading in recording.readings).most_common(2)
    (winner, most), next_most = votes[0], votes[1][1] if len(votes) > 1 else 0
    if most < 2 or most == next_most:
        return Reads.DISPUTED
    return Reads.AGREED if winner == recording.digests else Reads.FIRST_WRONG


def other_digests(recording: Recording) -> Digests | None:
    """The first read result that differs from the one that made the copies."""
    return next((r.digests for r in recording.readings if r.digests != recording.digests), None)
