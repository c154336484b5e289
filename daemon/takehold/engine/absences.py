"""What is not there, or cannot be looked at: said, never forgotten, and ended once it is there."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping

from takehold.decide.keys import AWAY, OF_A_DAY, away_key
from takehold.decide.reads import DISPUTES
from takehold.decide.standing import day_standing
from takehold.engine.endings import left
from takehold.formats.names import display, shown
from takehold.model.errors import TakeholdError
from takehold.model.facts import Fact, Trouble, TroubleOver
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings
from takehold.model.situation import Sight, Situation
from takehold.model.volume import Root, Volume

Failed = Callable[[str, TakeholdError], Trouble]
_OF_A_DAY = tuple(f"{word} " for word in OF_A_DAY)


def unlisted(
    ledger: Ledger,
    today: str,
    listed: Iterable[Root],
    alarms: Mapping[str, Trouble],
    before: Mapping[str, Trouble],
) -> list[Fact]:
    """A card that is in and cannot be looked at is remembered, by day, until it was `listed`.

    `before` are the alarms of the last look: one that does not answer, and did not lie there then,
    may be another one of that name.
    """
    names = {name for root in listed for name in (root.identity, where(root.volume))}
    known = [key.split(" ", 2) for key in ledger.troubles if key.startswith(_OF_A_DAY)]
    facts: list[Fact] = [TroubleOver(" ".join(key)) for key in known if key[2] in names]
    for key, alarm in alarms.items():
        word, _, name = key.partition(" ")
        mine = f"{word} {today} {name}"
        another = word == "mute" and key not in before
        if word in OF_A_DAY and (another or mine not in ledger.troubles):
            facts.append(alarm._replace(key=mine))
    return facts


def where(volume: Volume) -> str:
    """A volume by label and place: all that is known of one that does not answer."""
    return f"{shown(volume.label)} at {display(volume.mount)}"


def away(
    ledger: Ledger,
    settings: Settings,
    closing: Iterable[str],
    now: Situation,
    alarms: Mapping[str, Trouble],
) -> list[Fact]:
    """Watch folders that days are closed without, until they are there again.

    Of one of which nothing was seen that day, that is said by itself.
    """
    here = {ledger.loads[sight.load].source for sight in now.sights}
    known = [key for key in ledger.troubles if key.startswith(f"{AWAY} ")]
    facts: list[Fact] = [TroubleOver(key) for key in known if key.split(" ", 2)[2] in here]
    for source in settings.sources:
        alarm = alarms.get(f"source {source.name}")
        for day in closing if alarm else ():
            key = away_key(day, source.name)
            seen = any(ledger.loads[r.load].source == source.name for r in ledger.day(day))
            if alarm and seen and key not in ledger.troubles:
                facts.append(alarm._replace(key=key))
    return facts


def confirmed_since(
    ledger: Ledger, settings: Settings, closing: Container[str], now: Situation
) -> list[Fact]:
    """Second reads that failed and are owed no more: another card has shown the same bytes.

    While a drive that is there lacks the file its card may still be read for it, and a read that
    fails must wait longer each time.
    """
    facts: list[Fact] = []
    here = {target.root.identity for target in now.targets}
    for key, trouble in ledger.troubles.items():
        word, number, *_ = (*key.split(), "")
        recording = ledger.recordings.get(int(number)) if word == "rec" else None
        if recording is None or not recording.readings or trouble.code in DISPUTES:
            continue
        asked = recording.day in closing and settings.recheck_cards_at_wrap
        standing = day_standing(ledger, recording.day, settings).of(recording.id)
        if standing is None or not standing.confirmed or not standing.copies or asked:
            continue
        if here <= {copy.root for copy in standing.copies}:
            facts.append(TroubleOver(key))
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
