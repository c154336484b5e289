"""What a card held before: other versions of a file, and what is deleted on it."""

from __future__ import annotations

from collections.abc import Iterator

from takehold.decide.backup_words import full_name
from takehold.decide.noticed import of_file
from takehold.decide.reads import Reads
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display
from takehold.model.finding import Finding, Relation, Severity
from takehold.model.recording import Recording
from takehold.model.settings import Role
from takehold.model.sound import Kind

HOLD, LOOK, NOTE = Severity.HOLD, Severity.LOOK, Severity.NOTE


def version_findings(standing: Standing, view: DayStanding) -> Iterator[Finding]:
    """What became of it on its card since it was first seen there."""
    if standing.current:
        if standing.deleted and standing.copies:
            says = "it was deleted on its card since it was copied; its copies are proven"
            asks = _was_backup(standing, view)
            do = "Keep the primary card: the backup card does not hold it any more." if asks else ""
            if _was_sole(standing):
                asks, do = True, "Give post the drives' copy of it, and keep the cards as they are."
                says += "; it was on the backup card only, and is on no card any more"
            yield of_file(standing, "deleted-on-card", LOOK if asks else NOTE, says, do)
        return
    mine = standing.recording
    if standing.reads is Reads.NONE:  # another recording: one that only grew is replaced
        yield version_lost(standing, "listed")
        return
    if standing.reads is Reads.FIRST_WRONG:
        says = "its first read was refuted by later ones; what was copied then is kept apart"
        do = "Try another reader or cable before you trust this one again."
        yield of_file(standing, "first-read-wrong", LOOK, says, do)
        return
    if standing.renamed is not None:
        yield of_file(standing, "edited", NOTE, _is_now(standing.renamed, mine))
        return
    newer = next(
        (
            s.recording
            for s in view.files
            if s.current and s.load.id == standing.load.id and s.recording.path == mine.path
        ),
        None,
    )
    if newer is None or newer.sound is None or mine.sound is None:
        yield of_file(standing, "newer-version", NOTE, "a newer version exists; both are kept")
    elif newer.digests == mine.digests:
        says = "it was replaced, and its very bytes came back later; both are kept"
        yield of_file(standing, "newer-version", NOTE, says)
    elif newer.sound.digest == mine.sound.digest:
        says = "its metadata was edited later; both versions are kept"
        yield of_file(standing, "edited", NOTE, says)
    else:
        yield from _other_audio(standing, newer, view)


def _is_now(now: Recording, mine: Recording) -> str:
    if now.day != mine.day:
        says = "its date was changed on its card since it was copied, and it counts as a recording "
        return says + f"of {now.day}; both versions are kept"
    says = "it was renamed on its card since it was copied, and is "
    return says + f"{display(now.path)} there now; both are kept"


def _was_backup(standing: Standing, view: DayStanding) -> bool:
    """Whether it answers a file that is on its primary card still."""
    if standing.load.role is not Role.BACKUP or standing.answer is None:
        return False
    mates = [mate for mate in map(view.of, standing.answer.others) if mate is not None]
    return any(
        mate.current
        and not mate.deleted
        and mate.answer is not None
        and standing.recording.id in mate.answer.others
        for mate in mates
    )


def _was_sole(standing: Standing) -> bool:
    """Whether it is a backup's recording that no primary card has."""
    answer = standing.answer
    lone = answer is not None and answer.relation is Relation.MISSING
    recording = standing.recording.description.kind is not Kind.OTHER
    return lone and recording and standing.load.role is Role.BACKUP


def version_lost(standing: Standing, seen: str) -> Finding:
    """An earlier version of which there is no copy; `seen` says how far it was seen."""
    says = f"an earlier version of it was {seen}, never copied, and is not on its card any more"
    return of_file(standing, "version-lost", LOOK, says, "See whether the newer one is enough.")


def _other_audio(standing: Standing, newer: Recording, view: DayStanding) -> Iterator[Finding]:
    """An earlier take of that name; one that was read once waits for the backup card that is in.

    What is so on both cards is decided on the primary's.
    """
    says = "the same name holds other audio now; both are kept: on the drives the newer one is "
    says += f"{display(newer.place.rpartition(b'/')[2])}, and the first "
    says += display(standing.recording.place.rpartition(b"/")[2])
    severity, do = LOOK, "See that both takes are known."
    if (mate := _on_primary(standing, view)) is not None:
        severity, do = NOTE, f"{full_name(mate)} had the same bytes: decide on that one."
    elif not standing.confirmed:
        says += "; the first was read once only"
        if any(s.load.role is Role.BACKUP and s.reads is Reads.NONE for s in view.files):
            waits = "its first version was read once only, and the backup was not read yet"
            do = "Leave the backup card in: it may hold the first one."
            yield of_file(standing, "unconfirmed", HOLD, waits, do)
    yield of_file(standing, "other-audio", severity, says, do)


def _on_primary(standing: Standing, view: DayStanding) -> Standing | None:
    """The primary's earlier version with the bytes of this one, of a backup card."""
    if standing.load.role is not Role.BACKUP or standing.answer is None:
        return None
    mates = (view.of(number) for number in standing.answer.others)
    return next((mate for mate in mates if mate is not None and not mate.current), None)
