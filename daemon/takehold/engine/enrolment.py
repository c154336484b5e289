"""Which load lies under which mount, remembered while it is there."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from takehold.decide.enrol import load_of, new_load
from takehold.decide.listing import listing, worth_keeping
from takehold.decide.recognise import sample
from takehold.decide.unsettled import awaited
from takehold.engine.observe import Found
from takehold.engine.outcome import Recognised
from takehold.model.facts import Fact, Listed, LoadSeen
from takehold.model.ledger import Ledger
from takehold.model.recording import Load
from takehold.model.volume import Root

Record = Callable[[Iterable[Fact]], None]
# The mount's id and the root's identity.
Place = tuple[str, str]


class Enrolment:
    """Puts each card that is there under a load."""

    def __init__(self, ledger: Ledger, record: Record) -> None:
        self._ledger = ledger
        self._record = record
        self._loads: dict[Place, int] = {}
        # Known cards that came in and were not looked into yet, with their listing of before.
        self._anew: dict[Place, Listed | None] = {}
        self._not: dict[Place, set[int]] = {}

    def forget(self) -> None:
        """Each mount is taken for one that has just come."""
        self._loads.clear()
        self._anew.clear()
        self._not.clear()

    def keep(self, mounts: set[str]) -> None:
        """Forget those of mounts that are no more."""
        for kept in (self._loads, self._anew, self._not):
            for place in [place for place in kept if place[0] not in mounts]:
                del kept[place]

    def enrol(self, found: Found, claimed: set[int], now: int, today: str) -> tuple[Load, bool]:
        """The load that lies there, and whether it is a known one that came in anew.

        `claimed` are loads that other live volumes are.
        """
        arrival, place = found.arrival, _place(found.arrival.root)
        others = claimed | self._not.get(place, set())
        load = load_of(self._ledger, arrival, others, self._loads.get(place))
        if load is None:
            load = new_load(self._ledger, arrival, now, today)
            self._record([LoadSeen(load)])
        elif self._came(found) and sample(self._ledger, load.id, arrival.files):
            self._anew[place] = self._ledger.listings.get(load.id)
        self._loads[place] = load.id
        disks = arrival.root.volume.disks or load.disks
        known_as = replace(load, source=arrival.source.name, role=arrival.source.role, disks=disks)
        if known_as != load:
            self._record([LoadSeen(known_as)])
        self._list(found, known_as, now, today)
        return known_as, place in self._anew

    def _came(self, found: Found) -> bool:
        """Whether it is a card that was not there a moment ago."""
        return _place(found.arrival.root) not in self._loads and not found.watched

    def _list(self, found: Found, load: Load, now: int, today: str) -> None:
        seen = (found.arrival.files, found.litter, found.skipped)
        anew = _place(found.arrival.root) in self._anew
        listed = listing(self._ledger, load.id, now, today, *seen, found.arrival.complete, anew)
        known, waits = self._ledger.listings.get(load.id), awaited(self._ledger, load.id)
        if worth_keeping(known, listed, awaited=waits, watched=found.watched):
            self._record([listed])

    def recognised(self, told: Recognised) -> list[Fact]:
        """A card was looked into: what it changes. Another card's listing is not its load's."""
        before = self._anew[_place(told.root)] if self._waits(told) and not told.same else None
        return [before] if before is not None else []

    def note(self, told: Recognised) -> None:
        """The same, once that is recorded: under which load it is from now on."""
        if not self._waits(told):
            return
        place = _place(told.root)
        del self._anew[place]
        if not told.same:
            del self._loads[place]
            self._not.setdefault(place, set()).add(told.load)

    def _waits(self, told: Recognised) -> bool:
        """Whether that was asked of the card that is there now."""
        place = _place(told.root)
        return place in self._anew and self._loads.get(place) == told.load


def _place(root: Root) -> Place:
    return root.volume.mount_id, root.identity
