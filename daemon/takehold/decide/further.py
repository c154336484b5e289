"""A second card whose date is a day off: what it holds is on both cards of the day beside already.

Only the same audio with sound counts, as between days at all (decide/astray). It takes nothing from
what the day beside has: a second primary card is answered by the same backup, and a second backup
card holds what is answered.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence

from takehold.decide.board import as_well
from takehold.decide.by_digest import beginning, compare, same_audio
from takehold.decide.layouts import silent
from takehold.decide.sides import same_disk
from takehold.decide.twins import Twins
from takehold.decide.unit import Unit
from takehold.decide.weighing import Compared, mirror, weigh
from takehold.model.comparison import Side
from takehold.model.finding import Counterpart, Relation
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Settings

Held = tuple[Recording, Counterpart]
"""A primary recording, and how it is answered."""


def second_primaries(
    ours: Iterable[Recording], held: Sequence[Held], ledger: Ledger, settings: Settings
) -> dict[int, Counterpart]:
    """The answers for recordings with the payload of one of another card; one to one."""
    shelf: dict[Hashable, list[Held]] = defaultdict(list)
    for other, answer in held:
        if (audio := same_audio(other)) is not None:
            shelf[audio].append((other, answer))
    found: dict[int, Counterpart] = {}
    spent: set[tuple[int, int]] = set()
    for recording in ours:
        audio = same_audio(recording)
        for other, answer in shelf.get(audio, ()) if audio is not None else ():
            backup = ledger.recordings[answer.others[0]]
            loads = [ledger.loads[recording.load], ledger.loads[backup.load]]
            free = other.load != recording.load and (other.id, recording.load) not in spent
            if free and not same_disk(loads, settings):
                spent.add((other.id, recording.load))
                found[recording.id] = as_well(recording, answer, ledger.recordings)
                break
    return found


def of_the_same_date(
    ours: Iterable[Recording], answers: Sequence[Counterpart], ledger: Ledger
) -> dict[int, Counterpart]:
    """The answers for what is left, of cards whose date is known to be off by `answers`.

    A line-up tone is the same each day. That of the card's other day is taken for that day's own,
    though it is this day's, as all else of that card and date.
    """
    off = {(ledger.recordings[n].load, ledger.recordings[n].day) for a in answers for n in a.others}
    spent = {number for answer in answers for number in answer.others}
    shelf: dict[Hashable, list[Recording]] = defaultdict(list)
    for load, day in sorted(off):
        for number in sorted(ledger.of_day[day], reverse=True):
            backup = ledger.recordings[number]
            audio = same_audio(backup) if backup.load == load and number not in spent else None
            if audio is not None:
                shelf[audio].append(backup)
    found: dict[int, Counterpart] = {}
    for recording in ours if shelf else ():
        audio = same_audio(recording)
        if audio is not None and shelf.get(audio):
            found[recording.id] = compare(recording, shelf[audio].pop())
    return found


def second_backups(
    theirs: Iterable[Recording], held: Sequence[Held], compared: Compared
) -> tuple[dict[int, Counterpart], list[tuple[Side, Side]]]:
    """Which primary recordings hold what these do; and what must be compared to know it.

    By channels, else one that is the beginning of one of them.
    """
    sounding = [recording for recording in theirs if not silent(recording)]
    if not sounding or not held:
        return {}, []
    there = [recording for recording, _ in held if not silent(recording)]
    twins = Twins(there)
    begins = {key: recording for recording in there if (key := beginning(recording)) is not None}
    found: dict[int, Counterpart] = {}
    uncompared: list[tuple[Side, Side]] = []
    for recording in sounding:
        answer = twins.of(recording)
        other = begins.get(beginning(recording)) if answer is None else None
        if other is not None and compare(other, recording).relation is Relation.SHORT:
            [told], wanted = weigh(_alone(other), _alone(recording), compared)
            uncompared += [((other.id,), (recording.id,))] if wanted else []
            known = told.relation is Relation.SHORT and not wanted
            answer = mirror(recording, [told]) if known else None
        if answer is not None:
            found[recording.id] = answer
    return found, uncompared


def _alone(recording: Recording) -> Unit:
    return Unit(((recording,),))
