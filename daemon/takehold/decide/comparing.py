"""Which samples should be compared now, and from which drive?

1. Only what the digests left open (decide/match) is compared, from proven copies of both sides
   that stand on one drive: the cards may be gone.
2. While a card is being read, or waits for it, nothing is compared: copies and second reads come
   first. A drive that has other work does that first, but for the proofs that only became old.
3. A day is weighed while something of it is new, or while it is being closed: then it costs
   nothing to have months of days.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from collections.abc import Set as AbstractSet

from takehold.decide.backoff import due
from takehold.decide.confirm import Closing
from takehold.decide.keys import compare_key, prove_key
from takehold.decide.standing import day_standing
from takehold.model.comparison import Side
from takehold.model.ledger import Ledger
from takehold.model.recording import Copy, Digests, Recording
from takehold.model.settings import Role, Settings
from takehold.model.situation import Target
from takehold.model.step import Compare, Confirm, Recognise, Step, TakeStock, Transfer

# Seconds after which a day that is not asked for is left as it is. Chosen, no source.
NEW_S = 14 * 86_400


def cards_at_work(steps: Iterable[Step], lanes: AbstractSet[str]) -> bool:
    """Whether a card is being read, or is to be read now."""
    due_now = any(isinstance(step, Recognise | TakeStock | Transfer | Confirm) for step in steps)
    return due_now or any(name.startswith("card ") for name in lanes)


def open_pairs(
    ledger: Ledger, settings: Settings, closing: Closing, now: int
) -> tuple[tuple[Side, Side], ...]:
    """The pairs of sides that may be compared now, day after day; `now` in seconds since 1970."""
    left = [day for day in at_hand(ledger, closing, now) if _is_open(ledger, day)]
    found = (pair for day in left for pair in day_standing(ledger, day, settings).uncompared)
    return tuple(pair for pair in found if due(ledger.troubles.get(compare_key(*pair)), now))


def at_hand(ledger: Ledger, closing: Closing, now: int) -> list[str]:
    """The days of which something is new, and those being closed."""
    return sorted(day for day in ledger.of_day if day in closing or _is_new(ledger, day, now))


def _is_new(ledger: Ledger, day: str, now: int) -> bool:
    # What is dated ahead was seen before the clock was set back.
    return any(now - ledger.recordings[number].seen_at < NEW_S for number in ledger.of_day[day])


def _is_open(ledger: Ledger, day: str) -> bool:
    """Whether the cards of a day do not hold the same bytes: it costs little to see that."""
    held: dict[Role, set[Digests]] = {role: set() for role in Role}
    for recording in ledger.day(day):
        if recording.digests is not None:
            held[ledger.loads[recording.load].role].add(recording.digests)
    # The backup's files may lie on another day (decide/astray).
    backed = any(load.role is Role.BACKUP for load in ledger.loads.values())
    return backed and bool(held[Role.PRIMARY]) and held[Role.PRIMARY] != held[Role.BACKUP]


def comparison(
    ledger: Ledger,
    target: Target,
    pairs: Iterable[tuple[Side, Side]],
    taken: AbstractSet[int],
) -> Iterator[Compare]:
    """The first of these pairs that a drive holds whole; none of it in `taken`."""
    for ours, theirs in pairs:
        if taken.isdisjoint((*ours, *theirs)):
            mine, its = _copies(ledger, target, ours), _copies(ledger, target, theirs)
            if mine and its:
                yield Compare(target, mine, its)
                return


def readable(ledger: Ledger, target: Target, recording: int) -> Copy | None:
    """A drive's copy of a recording, None where there is none or it could not be read."""
    held = (copy for copy in ledger.copies_of(recording) if copy.root == target.root.identity)
    return next((copy for copy in held if prove_key(copy) not in ledger.troubles), None)


def _copies(ledger: Ledger, target: Target, side: Side) -> tuple[tuple[Recording, Copy], ...]:
    """A copy of each recording of a side, none where one is not there or could not be read."""
    found: list[tuple[Recording, Copy]] = []
    for number in side:
        copy = readable(ledger, target, number)
        if copy is None:
            return ()
        found.append((ledger.recordings[number], copy))
    return tuple(found)
