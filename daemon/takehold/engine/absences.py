"""What is not there, or cannot be looked at: said, never forgotten, and ended once it is there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from takehold.engine.endings import left
from takehold.formats.names import display
from takehold.model.errors import TakeholdError
from takehold.model.facts import Fact, Trouble, TroubleOver
from takehold.model.ledger import Ledger
from takehold.model.situation import Sight

Failed = Callable[[str, TakeholdError], Trouble]


def unlisted(
    ledger: Ledger, today: str, listed: set[str], alarms: Mapping[str, Trouble]
) -> list[Fact]:
    """A card that is in and cannot be listed is remembered, by day, until it could be.

    `listed` are the identities of those that could be.
    """
    known = [k for k in ledger.troubles if k.startswith("list ")]
    facts: list[Fact] = [TroubleOver(k) for k in known if k.split(" ", 2)[2] in listed]
    for key, alarm in alarms.items():
        mine = f"list {today} {key.removeprefix('list ')}"
        if key.startswith("list ") and mine not in ledger.troubles:
            facts.append(replace(alarm, key=mine))
    return facts


def gone_unread(ledger: Ledger, sights: Iterable[Sight], failed: Failed) -> list[Fact]:
    """Files that were inventoried, never read, and left their card."""
    facts: list[Fact] = []
    for sight in sights:
        if not sight.complete:
            continue
        facts += [TroubleOver(key) for key in sorted(left(ledger, sight))]
        here = {file.path for file in sight.files}
        for path, ids in ledger.of_load.get(sight.load, {}).items():
            recording = ledger.recordings[ids[-1]]
            if recording.readings:
                continue
            key = f"rec {recording.id}"
            known = ledger.troubles.get(key)
            vanished = known is not None and known.code == "file-vanished"
            if path not in here and not vanished:
                facts.append(failed(key, _vanished(path)))
            elif path in here and vanished:
                facts.append(TroubleOver(key))
    return facts


def _vanished(path: bytes) -> TakeholdError:
    says = f"{display(path)} left its card before it was copied."
    return TakeholdError(says, "Look for it in the recorder.", code="file-vanished")
