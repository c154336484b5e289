"""Which compressed recordings should be measured now, and from which drive?

What is no PCM cannot be measured while it streams by: it is decoded from a proven copy, and the
card may be gone. As with comparisons (decide/comparing), cards, copies and second reads come first,
and only days that are new or being closed are looked through.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from collections.abc import Set as AbstractSet

from takehold.decide.alone import alone
from takehold.decide.comparing import at_hand, readable
from takehold.decide.confirm import Closing
from takehold.decide.sides import production_folder
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Settings
from takehold.model.situation import Target
from takehold.model.step import Measure


def to_measure(
    ledger: Ledger, settings: Settings, closing: Closing, now: int
) -> tuple[Recording, ...]:
    """The production's recordings that may be measured now; `now` in seconds since 1970."""
    ours = production_folder(settings)
    days = at_hand(ledger, closing, now)
    found = (r for day in days for r in alone(ledger, day).unmeasured)
    return tuple(r for r in found if r.place.startswith(ours))


def measurement(
    ledger: Ledger, target: Target, wanted: Iterable[Recording], taken: AbstractSet[int]
) -> Iterator[Measure]:
    """The first of these that a drive holds a copy of; none in `taken`."""
    for recording in wanted:
        copy = readable(ledger, target, recording.id)
        if copy is not None and recording.id not in taken:
            yield Measure(target, recording, copy)
            return
