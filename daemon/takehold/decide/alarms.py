"""Sentences that stand while their cause does, and end with it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from collections.abc import Set as AbstractSet
from datetime import datetime
from typing import TYPE_CHECKING

from takehold.decide.check import named
from takehold.decide.departed import gone_from
from takehold.decide.keys import AWAY, OF_A_DAY, rec_key, root_of
from takehold.decide.listing import all_unread, unread_words
from takehold.decide.noticed import many_files
from takehold.decide.schedule import unclosed
from takehold.decide.sides import is_card
from takehold.decide.unsettled import dispute, disputed, is_unsettled
from takehold.formats.names import shown
from takehold.model.facts import Trouble
from takehold.model.finding import Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.settings import Settings

if TYPE_CHECKING:
    from takehold.decide.standing import DayStanding
    from takehold.model.situation import Situation


def unclosed_alarms(ledger: Ledger, settings: Settings, here: datetime) -> dict[str, Trouble]:
    """Days that nobody wrapped: silence is never good news (P12)."""
    now = int(here.timestamp())
    alarms: dict[str, Trouble] = {}
    for day in unclosed(ledger, settings, here):
        key, says = f"unclosed {day}", f"The day {day} was not closed; it has no manifest."
        do = f"Run: takehold wrap {day}"
        alarms[key] = Trouble(key, "day-not-closed", says, do, now, 1, now)
    return alarms


def room_alarms(
    ledger: Ledger, now: Situation, settings: Settings, landing: AbstractSet[tuple[int, str]]
) -> dict[str, Trouble]:
    """Drives that lack files and have no room for them; `landing` as in `short_of_room`."""
    from takehold.decide.plan import short_of_room  # noqa: PLC0415 - `status` needs no plan

    alarms: dict[str, Trouble] = {}
    for target, count in short_of_room(ledger, now, settings, landing):
        says = (
            f"{shown(target.name)} has no room for {many_files(count)} that it lacks: "
            f"{target.free_bytes // 10**6} MB are free, {settings.reserve_megabytes} MB are kept "
            "in reserve."
        )
        do = "Make room on it, or put another drive in its place."
        key = f"room {target.name}"
        alarms[key] = Trouble(key, "volume-full", says, do, now.now, 1, now.now)
    return alarms


def left_early(
    view: DayStanding, ledger: Ledger, here: Collection[int], settings: Settings
) -> Iterator[tuple[str, str]]:
    """Of a day's cards that are not `here` and have what is on no drive: that, and what to do.

    Whatever day their files are of. One that was formatted and is in again has them no more.
    """
    there = [ledger.loads[number] for number in here if number in ledger.loads]
    for load in view.loads:
        again = any(load.label == one.label and load.disks & one.disks for one in there)
        owed = _on_no_drive(ledger, load) if is_card(load, settings) and not again else 0
        if owed:
            its = f"{many_files(owed)} of it {'is' if owed == 1 else 'are'} on no drive."
            says = f"{shown(load.label)} is not in, and {its}"
            yield says, "Put it in again. Keep it as it is until then."


def _on_no_drive(ledger: Ledger, load: Load) -> int:
    """How many files of a card have no copy; what was deleted there is told by itself."""
    listed = ledger.listings.get(load.id)
    gone = gone_from(listed)
    newest = {p: ids[-1] for p, ids in ledger.of_load.get(load.id, {}).items() if p not in gone}
    owed = [n for n in newest.values() if not ledger.copies_of(n)]
    lost = [t for n in owed if (t := ledger.troubles.get(rec_key(n))) and t.code == "file-vanished"]
    return len(owed) - len(lost) + (listed.untaken if listed else 0)


def unread_alarms(ledger: Ledger, now: Situation) -> dict[str, Trouble]:
    """Folders of cards that lie there and cannot be read: nobody knows what is in them (P7)."""
    alarms: dict[str, Trouble] = {}
    for load, skip in all_unread(ledger, (sight.load for sight in now.sights)):
        _, says, do = unread_words(load, skip)
        key = f"folder {load.id} {skip.path.hex()}"
        alarms[key] = Trouble(key, "listing-incomplete", says, do, now.now, 1, now.now)
    return alarms


def open_troubles(ledger: Ledger, today: str, roots: Collection[str]) -> list[Trouble]:
    """Those that somebody can mend: not of drives that are away, whose absence is said by itself.

    A card that could not be listed is said while it is in, and after that in its own day; of a
    watch folder that is away its alarm tells. What a person has decided on needs no hand.
    """
    today_only = tuple(f"{word} {today} " for word in OF_A_DAY)
    decided = {rec_key(r.id) for r in disputed(ledger) if _is_decided(ledger, r)}
    return [
        trouble
        for key, trouble in ledger.troubles.items()
        if root_of(key) in {None, *roots}
        and not (key in decided and is_unsettled(trouble))
        and (key.split(" ", 1)[0] not in (*OF_A_DAY, AWAY) or key.startswith(today_only))
    ]


def _is_decided(ledger: Ledger, recording: Recording) -> bool:
    return named(dispute(recording, Severity.LOOK), recording.day, ledger).id in ledger.acks
