"""The checks of how one recording stands beside the other cards."""

from __future__ import annotations

from collections.abc import Iterator

from takehold.decide.backup_words import (
    around,
    displaced,
    from_there,
    full_name,
    further,
    lacks,
    on_tracks,
    other_audio,
    told_by,
    tracks,
    undecoded,
)
from takehold.decide.held_twice import its_twin
from takehold.decide.layouts import heard
from takehold.decide.litter import holds_audio
from takehold.decide.noticed import KEEP, answered, of_file
from takehold.decide.over_it import lying_over
from takehold.decide.reads import Reads
from takehold.decide.sparse_sets import told_by_card
from takehold.decide.standing import DayStanding, Standing, container
from takehold.model.finding import Counterpart, Finding, Relation, Severity
from takehold.model.settings import Role
from takehold.model.sound import Kind

HOLD, LOOK = Severity.HOLD, Severity.LOOK


def backup_findings(standing: Standing, view: DayStanding) -> Iterator[Finding]:
    """How it stands beside the other cards: what is decided holds for just that.

    What is held at a lower quality, or some tracks of it only, is told by decide/check_reduced, a
    further copy by decide/check_spare, tracks that it never has by decide/sparse_sets.
    """
    answer = standing.answer
    others = map(view.of, answer.others if answer else ())
    covers = answered(answer, (its.recording for its in others if its is not None))
    yield from (found._replace(covers=covers) for found in _backup(standing, view))


def _backup(standing: Standing, view: DayStanding) -> Iterator[Finding]:
    answer = standing.answer
    if answer is None:
        return
    if standing.load.role is Role.BACKUP:
        alone = answer.relation is Relation.MISSING and _is_audio(standing)
        if alone and not standing.deleted and standing.recording.id not in view.beside_opaque:
            says = "it is on the backup card only"
            says += ", as far as the primary cards can be looked into" if view.opaque else ""
            yield of_file(
                standing, "only-on-backup", LOOK, says, "Look for it on the primary card."
            )
        yield from _tracks_alone(standing, answer.alone)
        return
    if answer.relation is Relation.MISSING and _is_audio(standing) and view.backup_seen:
        opaque = standing.load.id in view.opaque and container(standing.recording)
        if not opaque and standing.recording.id not in told_by_card(view):
            yield _missing(standing, view)
    elif answer.relation is Relation.UNREAD and standing.reads is not Reads.NONE:
        yield of_file(standing, "backup-unread", HOLD, "its backup was not read yet", KEEP)
    else:
        yield from _unlike(standing, answer, view)


def _missing(standing: Standing, view: DayStanding) -> Finding:
    says, do = "the backup card has no such recording", KEEP + " Look at the backup card."
    if twin := its_twin(standing, view):
        says = f"the backup card has it once, and this card twice: {full_name(twin)}"
        do = "If it is a copy of that one, it needs no backup of its own."
    elif over := lying_over(standing, view):
        says += f"; {full_name(over)} lies over it by timecode, and was not compared with it"
        do = f"{KEEP} Listen to that file: it may hold this take among others."
    return of_file(standing, "backup-missing", _sure(standing), says, do)


def _tracks_alone(standing: Standing, alone: tuple[int, ...]) -> Iterator[Finding]:
    """Channels of a backup's file that hold something, and nothing of the primary's."""
    if alone:
        says = f"{tracks(standing, alone)} {'is' if len(alone) == 1 else 'are'} on the backup card"
        do = "See which tracks the primary card records, and keep the backup card's file."
        yield of_file(standing, "only-on-backup", LOOK, f"{says} only", do)


def _sure(standing: Standing) -> Severity:
    """A card that gave the same bytes twice is sure of itself: then a person may decide."""
    return LOOK if standing.reads is Reads.AGREED else HOLD


def _unlike(standing: Standing, answer: Counterpart, view: DayStanding) -> Iterator[Finding]:
    """A backup that was found, and does not hold the audio as it is."""
    severity = _sure(standing)
    if answer.relation is Relation.LONGER:
        says = further(standing, answer, view) + displaced(standing, answer)
        do = "Take the backup's file. Keep both cards as they are."
        yield of_file(standing, "primary-short", severity, says, do)
    elif answer.relation is Relation.SHORT:
        says, do = lacks(standing, answer) + displaced(standing, answer), KEEP
        if more := around(standing, answer):
            says += f"; and it holds {more}, which this file lacks"
            do = "Keep both cards as they are: neither file is whole."
        yield of_file(standing, "backup-short", severity, says, do)
    elif answer.relation is Relation.DIFFERENT and _is_audio(standing):
        says, do = _no_audio(standing, answer, view)
        says, do = says or _differs(standing, answer, view), do or KEEP + " Listen to both."
        yield of_file(standing, "backup-different", severity, says, do)
    elif answer.relation is Relation.UNDECODED:
        says = f"it cannot be compared with the backup's: {undecoded(standing, answer, view)}"
        do = KEEP + " Listen to both."
        yield of_file(standing, "backup-not-comparable", severity, says, do)


def _no_audio(standing: Standing, answer: Counterpart, view: DayStanding) -> tuple[str, str]:
    """What to say and to do where one of both files is no recording; nothing where both are."""
    its = view.of(answer.others[0]) if answer.others else None
    files = [one.recording.description.kind is Kind.OTHER for one in (standing, its) if one]
    if files == [True, False] and its is not None:
        says = f"it holds no audio that can be read; {full_name(its)} on the backup card does"
        return says, "Keep both cards as they are. Give post the backup's file."
    if files == [False, True]:
        return "the backup's file of that name holds no audio that can be read", KEEP
    return "", ""


def _differs(standing: Standing, answer: Counterpart, view: DayStanding) -> str:
    """Where the backup's samples are others; or are some, where this file has none."""
    where = from_there(standing, answer.frames) + on_tracks(standing, answer.channels)
    its = view.of(answer.others[0]) if answer.others else None
    says = f"the backup's recording of it {other_audio(standing, its, where)}"
    mine = heard(standing.recording)
    if answer.channels and mine and not any(mine[n - 1] for n in answer.channels):
        says = f"the backup's recording of it has sound{where}, where this file has none"
    if mate := told_by(answer, view):
        says = f"the backup's recording of it may hold other audio, too{where}: "
        says += f"the comparison ended at what is told of {mate}"
    if answer.since is not None:
        says += f"; and some of it is missing there{from_there(standing, answer.since)}"
    return says


def _is_audio(standing: Standing) -> bool:
    recording = standing.recording
    return recording.description.kind is not Kind.OTHER or holds_audio(recording.path)
