"""A file of a backup card that answers nothing, and is another copy of what is answered already."""

from __future__ import annotations

from collections.abc import Iterator

from takehold.decide.backup_words import (
    cut_peaks,
    displaced,
    from_there,
    full_name,
    lacks,
    lower_quality,
    on_tracks,
    other_audio,
    quality,
    seconds,
    tracks,
    undecoded,
)
from takehold.decide.beside_better import spare_beside_better
from takehold.decide.by_digest import WHOLE
from takehold.decide.noticed import finding
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display
from takehold.model.finding import Counterpart, Finding, Relation, Severity

LOOK, NOTE = Severity.LOOK, Severity.NOTE
LISTEN = "Listen to it: it may be a recording that no primary card holds."


def spare_findings(standing: Standing, view: DayStanding) -> Iterator[Finding]:
    """How a backup's file that answers nothing differs from what it is a further copy of.

    Nothing is lost where it holds less and another file all of it; else a person looks. Of an MP3
    beside that file nothing is said.
    """
    answer = standing.answer
    mine = None if answer is None or answer.other is None else view.of(answer.other)
    if answer is None or mine is None or mine.answer is None:
        return
    if standing.recording.id in mine.answer.others or spare_beside_better(standing, mine, view):
        return
    severity, says, do = _told(standing, mine, answer, view)
    if mine.answer.relation not in WHOLE:
        severity = LOOK
    if says:
        subject, name = display(standing.recording.place), full_name(standing)
        answered = f"{full_name(mine)} is answered by another file of a backup card"
        if mine.answer.relation is Relation.DIFFERENT:
            answered = f"another file was taken for {full_name(mine)} and holds other audio"
        whole = f"{name}: {answered}; {says}."
        yield finding("backup-spare", severity, subject, whole, do, standing.recording.id)


def _told(
    standing: Standing, mine: Standing, answer: Counterpart, view: DayStanding
) -> tuple[Severity, str, str]:
    """How grave it is, what of the recording this file holds ("" for all), and what to do."""
    severity, says, do = LOOK, "", LISTEN
    match answer.relation:
        case Relation.SHORT:
            says = lacks(mine, answer, "this one") + displaced(mine, answer)
            severity, do = NOTE, ""
        case Relation.REDUCED:
            says = "this one holds " + " and ".join(_less(mine, standing, answer))
            severity, do = NOTE, ""
        case Relation.LONGER:
            says = f"this one holds {seconds(mine, answer.frames)} more" + displaced(mine, answer)
            do = "Listen to its end: the primary's file may be cut."
        case Relation.DIFFERENT:
            where = from_there(mine, answer.frames) + on_tracks(mine, answer.channels)
            says = f"this one {other_audio(mine, standing, where)}"
        case Relation.UNDECODED:
            says = f"this one cannot be compared with it: {undecoded(mine, answer, view)}"
        case Relation.UNCOMPARED:
            says = "how this one differs from it is being looked at"
            do = "Leave the drive connected, or connect one that has both cards' files."
        case _:
            pass
    return severity, says, do


def _less(mine: Standing, its: Standing, answer: Counterpart) -> Iterator[str]:
    if figures := lower_quality(mine, answer):
        yield f"it at {quality(mine, its)} quality: {figures}{cut_peaks(mine, its, answer)}"
    if answer.channels:
        yield f"other tracks of it only than {tracks(mine, answer.channels)}"
    elif not figures:
        yield "some of it, or it at another quality"
