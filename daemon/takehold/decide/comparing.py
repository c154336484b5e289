"""Which samples should be compared now, and from which drive?

1. Only what the digests left open (decide/match) is compared, from proven copies of both sides
   that stand on one drive: the cards may be gone.
2. While a card is being read, or waits for it, nothing is compared: copies and second reads come
   first. A drive that has other work does that first, but for the proofs that only became old.
3. A day is weighed while something of it is new, or while it is being closed: then it costs
   nothing to have months of days.
4. What a comparison tells seldom changes what else is asked for: a day is matched again when all
   that the days asked for is done, or files changed. So comparisons cost no match each.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from collections.abc import Set as AbstractSet
from dataclasses import replace
from functools import lru_cache

from takehold.decide.alone import alone
from takehold.decide.backoff import due
from takehold.decide.confirm import Closing
from takehold.decide.keys import compare_key, prove_key
from takehold.decide.standing import day_standing
from takehold.model.comparison import Side
from takehold.model.ledger import Ledger
from takehold.model.recording import Copy, Recording
from takehold.model.settings import Role, Settings
from takehold.model.situation import Target
from takehold.model.step import Compare, Confirm, Recognise, Step, TakeStock, Transfer

Pair = tuple[Side, Side]

# Seconds after which a day that is not asked for is left as it is. Chosen, no source.
NEW_S = 14 * 86_400
# Of small files many are compared in one go: some seconds of work. Chosen, no source.
BATCH_BYTES, BATCH_PAIRS = 256 * 2**20, 100


def cards_at_work(steps: Iterable[Step], lanes: AbstractSet[str]) -> bool:
    """Whether a card is being read, or is to be read now."""
    due_now = any(isinstance(step, Recognise | TakeStock | Transfer | Confirm) for step in steps)
    return due_now or any(name.startswith("card ") for name in lanes)


def open_pairs(ledger: Ledger, settings: Settings, closing: Closing, now: int) -> tuple[Pair, ...]:
    """The pairs of sides that may be compared now, day after day; `now` in seconds since 1970."""
    days = at_hand(ledger, closing, now)
    found = _due(ledger, (pair for day in days for pair in _asked(ledger, day, settings)), now)
    if found:
        return found
    memory = _memory(ledger)
    for day in days:
        memory.pop(day, None)
    return _due(ledger, (pair for day in days for pair in _asked(ledger, day, settings)), now)


def _due(ledger: Ledger, pairs: Iterable[Pair], now: int) -> tuple[Pair, ...]:
    return tuple(pair for pair in pairs if due(ledger.troubles.get(compare_key(*pair)), now))


def _asked(ledger: Ledger, day: str, settings: Settings) -> list[Pair]:
    """What a day asked for when it was matched last, and nobody compared since."""
    memory = _memory(ledger)
    files = sum(ledger.news.values())
    known = memory.get(day)
    if known is None or known[:2] != (files, settings):
        pairs = day_standing(ledger, day, settings).uncompared if _is_open(ledger, day) else ()
        known = memory[day] = files, settings, pairs
    return [pair for pair in known[2] if pair not in ledger.comparisons]


@lru_cache(maxsize=4)
def _memory(_ledger: Ledger) -> dict[str, tuple[int, Settings, tuple[Pair, ...]]]:
    """Of each day: how many facts of files there were, the config, and the pairs."""
    return {}


def at_hand(ledger: Ledger, closing: Closing, now: int) -> list[str]:
    """The days of which something is new, and those being closed."""
    return sorted(day for day in ledger.of_day if day in closing or _is_new(ledger, day, now))


def _is_new(ledger: Ledger, day: str, now: int) -> bool:
    # What is dated ahead was seen before the clock was set back.
    seen = ledger.seen_last(day)
    return seen is not None and now - seen < NEW_S


def _is_open(ledger: Ledger, day: str) -> bool:
    """Whether the cards of a day do not hold the same bytes: it costs little to see that."""
    # The other card's files may lie on another day (decide/astray).
    backed = any(load.role is Role.BACKUP for load in ledger.loads.values())
    return backed and alone(ledger, day).differs


def comparison(
    ledger: Ledger,
    target: Target,
    pairs: Iterable[Pair],
    taken: AbstractSet[int],
) -> Iterator[Compare]:
    """The first of these pairs that a drive holds whole, and small ones behind it; none in `taken`.

    So a turn of the loop is no cost of each of many small files, and a card waits for seconds.
    """
    batch: list[Compare] = []
    total = 0
    for ours, theirs in pairs:
        if taken.isdisjoint((*ours, *theirs)):
            mine, its = _copies(ledger, target, ours), _copies(ledger, target, theirs)
            if mine and its:
                step = Compare(target, mine, its)
                total += sum(recording.stamp.size for recording, _ in step.pairs)
                if batch and total > BATCH_BYTES:
                    break
                batch.append(step)
                if len(batch) == BATCH_PAIRS:
                    break
    if batch:
        yield replace(batch[0], then=tuple(batch[1:]))


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
