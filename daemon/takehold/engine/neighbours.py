"""Days that files of other days say something of: a backup's date may be off (decide/astray)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from takehold.decide.astray import beyond, reach
from takehold.decide.sides import sides
from takehold.model.facts import Fact, Inventoried, WasMeasured, WasRead
from takehold.model.finding import Counterpart
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings

# Days that are looked at when the program starts. Chosen, no source.
RECENT_DAYS = 8


class Neighbours:
    """Remembers what other days answer of each closed day, to see when that changes."""

    def __init__(self) -> None:
        self._told: dict[str, frozenset[Counterpart]] = {}

    def remember(self, ledger: Ledger, settings: Settings) -> set[str]:
        """The newest closed days of which something was read since their manifest was written."""
        found: set[str] = set()
        for day in sorted(ledger.of_day)[-RECENT_DAYS:]:
            newest = ledger.newest(day)
            if newest is None:
                continue
            other, _ = beyond(ledger, day, settings)
            self._told[day] = frozenset(other.told())
            newer = sides(ledger, day, settings).departed.renamed.values()
            files = (*other.files, *newer)
            reads = (file.readings[0].at for file in files if file.readings)
            found |= {day} if max(reads, default=-1) >= newest.at else set()
        return found

    def touched(self, ledger: Ledger, settings: Settings, facts: Iterable[Fact]) -> Iterator[str]:
        """The closed days of which new facts say something else than before.

        One by one: a day that was told is not told again, whatever is raised at the next.
        """
        numbers: set[int] = set()
        for fact in facts if ledger.revisions else ():
            match fact:
                case Inventoried(recording):
                    numbers.add(recording.id)
                case WasRead(recording=number) | WasMeasured(recording=number):
                    numbers.add(number)
                case _:
                    pass
        known = list(filter(None, map(ledger.recordings.get, numbers)))
        first = {(recording.load, recording.day): recording for recording in known}
        days = {day for recording in first.values() for day in reach(ledger, recording, settings)}
        later = (r for r in known if r.version > 1)
        of_path = (v for r in later for v in ledger.versions(r.load, r.path) if v.day != r.day)
        before = {version.day for version in of_path if ledger.newest(version.day) is not None}
        for day in sorted(days | before):
            if self._changed(ledger, settings, day) or day in before:
                yield day

    def _changed(self, ledger: Ledger, settings: Settings, day: str) -> bool:
        if ledger.newest(day) is None:
            return False
        told = frozenset(beyond(ledger, day, settings)[0].told())
        before = self._told.get(day, frozenset())
        self._told[day] = told
        return told != before
