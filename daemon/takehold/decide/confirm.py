"""Which recordings need a second read of their card now (P8)?

It costs the person no waiting: while a backup card may still answer, it is waited for; when the
day is closed, or no backup can come, the card is read.

A day is matched for it once for each change of its files: not while another card that may answer is
being read, where each read would be one, and not anew for a further read that agrees.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from functools import lru_cache
from typing import NamedTuple

from takehold.decide.backoff import came_anew, due
from takehold.decide.keys import rec_key
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


class _Alone(NamedTuple):
    """What no other card confirms of a day, and what of it was `found` there in other bytes.

    `answered` are the roles whose recordings no card can answer any more.
    """

    recordings: frozenset[int]
    found: frozenset[int]
    answered: frozenset[Role]


def second_reads(
    ledger: Ledger,
    here: Iterable[Recording],
    settings: Settings,
    closing: Closing,
    now: int,
    busy: AbstractSet[int] = frozenset(),
) -> list[Recording]:
    """Those of the recordings lying there that must be read again, in order.

    `busy` are recordings at work now.
    """
    awaited = frozenset(_first_read(ledger, busy))
    wanted: list[Recording] = []
    for recording in here:
        known = ledger.troubles.get(rec_key(recording.id))
        if not recording.readings or not due(known, now):
            continue
        reads = reads_of(recording)
        once_more = len(recording.readings) < MOST_READS or came_anew(known)
        if (
            (once_more and is_in_doubt(recording, reads))
            or _is_asked_for(recording, settings, closing, now)
            or (reads is Reads.ONCE and _is_alone(ledger, recording, settings, closing, awaited))
        ):
            wanted.append(recording)
    return wanted


def _first_read(ledger: Ledger, busy: AbstractSet[int]) -> Iterator[Role]:
    """Whose cards are being read for the first time; what failed before is waited for no more."""
    fresh = (n for n in busy if n in ledger.recordings and rec_key(n) not in ledger.troubles)
    known = map(ledger.recordings.__getitem__, fresh)
    return (ledger.loads[r.load].role for r in known if not r.readings)


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
    ledger: Ledger,
    recording: Recording,
    settings: Settings,
    closing: Closing,
    awaited: frozenset[Role],
) -> bool:
    """Whether no other card confirms its one read, and none is waited for."""
    role, closed = ledger.loads[recording.load].role, recording.day in closing
    if ANSWERS.get(role) in awaited and not closed:
        return False
    files = sum(ledger.news.values()), len(ledger.comparisons)
    alone = _alone(ledger, files, recording.day, settings)
    if recording.id not in alone.recordings:
        return False
    asked = closed or recording.id in alone.found
    return asked or not settings.has_backup() or role in alone.answered


@lru_cache(maxsize=8)  # asked at each look, of the days of the cards that are in
def _alone(ledger: Ledger, _files: tuple[int, int], day: str, settings: Settings) -> _Alone:
    """By what is known of the files of all days, and by what was compared."""
    view = day_standing(ledger, day, settings)
    alone = {s.recording.id: s.answer for s in view.index.values() if not s.confirmed}
    # The same audio in other bytes confirms nothing of what stands around it; nothing else will.
    found = (number for number, its in alone.items() if its and its.relation in UNCONFIRMING)
    return _Alone(frozenset(alone), frozenset(found), _answered(view))


def _answered(view: DayStanding) -> frozenset[Role]:
    """Whose recordings no card can answer any more: it was seen and read to its end, or is none.

    Asked once for all of a day: each file weighed by each would be its square.
    """
    seen = {s.load.role for s in view.files if s.current}
    unread = {s.load.role for s in view.files if s.current and s.reads is Reads.NONE}
    return frozenset(r for r in Role if ANSWERS.get(r) is None or ANSWERS[r] in seen - unread)
