"""A second card whose date is a day off: what it holds is on both cards of the day beside already.

Only the same audio with sound counts, as between days at all (decide/astray). It takes nothing from
what the day beside has: a second primary card is answered by the same backup, and a second backup
card holds what is answered.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence

from takehold.decide.board import as_well
from takehold.decide.by_digest import same_audio
from takehold.decide.layouts import silent
from takehold.decide.sides import same_disk
from takehold.decide.twins import Twins
from takehold.model.finding import Counterpart
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


def second_backups(theirs: Iterable[Recording], held: Sequence[Held]) -> dict[int, Counterpart]:
    """Which primary recordings hold what these do, by channels."""
    sounding = [recording for recording in theirs if not silent(recording)]
    if not sounding or not held:
        return {}
    twins = Twins(recording for recording, _ in held if not silent(recording))
    answers = filter(None, map(twins.of, sounding))
    return {answer.recording: answer for answer in answers}
