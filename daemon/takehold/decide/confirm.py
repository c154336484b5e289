"""Which recordings need a second read of their card now (P8)?

It costs the person no waiting: while a backup card may still answer, it is waited for; when the
day is closed, or no backup can come, the card is read.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from takehold.decide.backoff import came_anew, due
from takehold.decide.reads import MOST_READS, Reads, reads_of
from takehold.decide.standing import DayStanding, day_standing
from takehold.model.finding import Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings

# Days that a person or the clock wants closed, and since when (seconds since 1970).
Closing = Mapping[str, int]
# Whose card may confirm whose.
ANSWERS = {Role.PRIMARY: Role.BACKUP, Role.BACKUP: Role.PRIMARY}
# The backup was found, in other bytes.
UNCONFIRMING = frozenset({Relation.SAME_AUDIO, Relation.OTHER_LAYOUT, Relation.REDUCED})


def second_reads(
    ledger: Ledger, here: Iterable[Recording], settings: Settings, closing: Closing, now: int
) -> list[Recording]:
    """Those of the recordings lying there that must be read again, in order."""
    days: dict[str, tuple[DayStanding, frozenset[Role]]] = {}
    wanted: list[Recording] = []
    for recording in here:
        known = ledger.troubles.get(f"rec {recording.id}")
        if not recording.readings or not due(known, now):
            continue
        reads = reads_of(recording)
        once_more = len(recording.readings) < MOST_READS or came_anew(known)
        if (once_more and is_in_doubt(recording, reads)) or _is_asked_for(
            recording, settings, closing, now
        ):
            wanted.append(recording)
        elif reads is Reads.ONCE:
            if recording.day not in days:  # weighed only where it matters: each look asks here
                view = day_standing(ledger, recording.day, settings)
                days[recording.day] = view, _answered(view)
            if _is_alone(recording, *days[recording.day], settings, closing):
                wanted.append(recording)
    return wanted


def is_in_doubt(recording: Recording, reads: Reads) -> bool:
    """Whether a further read is wanted: none has the most, or the last one differs from those."""
    odd = recording.readings[-1].digests != recording.digests
    return reads is Reads.DISPUTED or (reads is Reads.AGREED and odd)


def _is_asked_for(recording: Recording, settings: Settings, closing: Closing, now: int) -> bool:
    """Whether the day is closed with all its cards read again, and this one was not since."""
    asked_at = closing.get(recording.day)
    # A read that is dated ahead was made before the clock was set back.
    last = recording.readings[-1].at
    return asked_at is not None and settings.recheck_cards_at_wrap and not asked_at <= last <= now


def _is_alone(
    recording: Recording,
    view: DayStanding,
    answered: frozenset[Role],
    settings: Settings,
    closing: Closing,
) -> bool:
    """Whether no other card confirms its one read, and none is waited for."""
    standing = view.of(recording.id)
    if standing is None or standing.confirmed:
        return False
    # The same audio in other bytes confirms nothing of what stands around it; nothing else will.
    found = standing.answer is not None and standing.answer.relation in UNCONFIRMING
    asked = found or recording.day in closing
    return asked or not settings.has_backup() or standing.load.role in answered


def _answered(view: DayStanding) -> frozenset[Role]:
    """Whose recordings no card can answer any more: it was seen and read to its end, or is none.

    Asked once for all of a day: each file weighed by each would be its square.
    """
    seen = {s.load.role for s in view.files if s.current}
    unread = {s.load.role for s in view.files if s.current and s.reads is Reads.NONE}
    return frozenset(r for r in Role if ANSWERS.get(r) is None or ANSWERS[r] in seen - unread)
