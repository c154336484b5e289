"""Making findings."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from takehold.decide.backup_words import full_name
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display
from takehold.model.finding import Counterpart, Finding, Relation, Severity
from takehold.model.recording import Recording
from takehold.model.settings import Role

KEEP = "Keep the card as it is."


def many_files(count: int) -> str:
    """`1 file`, `2 files`."""
    return "1 file" if count == 1 else f"{count} files"


def finding(
    code: str,
    severity: Severity,
    subject: str,
    says: str,
    do: str = "",
    recording: int | None = None,
    load: int | None = None,
    covers: str = "",
) -> Finding:
    """A finding; the check gives it its id once it knows the whole day."""
    return Finding("", code, severity, subject, says, do, recording, load, covers)


def of_file(
    standing: Standing, code: str, severity: Severity, says: str, do: str = "", at: str = ""
) -> Finding:
    """A finding on one file; `at` names the destination where only one copy is meant."""
    subject = display(standing.recording.place) + (f" @ {at}" if at else "")
    return finding(
        code, severity, subject, f"{full_name(standing)}: {says}.", do, standing.recording.id
    )


def decided_on(standing: Standing, view: DayStanding) -> Standing | None:
    """The primary's file that a backup's is to the byte: what is odd about both is decided there.

    None where the primary card has none of that day any more.
    """
    answer = standing.answer
    if standing.load.role is not Role.BACKUP or answer is None:
        return None
    if answer.relation is not Relation.IDENTICAL:
        return None
    mates = (mate for mate in map(view.of, answer.others) if mate is not None and mate.current)
    return next((mate for mate in mates if mate.recording.day == view.day), None)


def content_of(recording: Recording) -> str:
    """Which bytes: their checksum, or before they were read what the card shows of the file."""
    read, stamp = recording.digests, recording.stamp
    return read.sha256 if read else f"{stamp.size} {stamp.mtime_ns}"


def these(recordings: Iterable[Recording]) -> str:
    """What a finding covers that is about just these files: one more, and it is another finding."""
    told = sorted(f"{content_of(recording)} {recording.place.hex()}" for recording in recordings)
    return hashlib.sha256("\n".join(told).encode()).hexdigest()


def answered(answer: Counterpart | None, others: Iterable[Recording]) -> str:
    """What a finding covers that is about an answer: how, of how much, and by which bytes."""
    if answer is None:
        return ""
    how = (answer.relation, answer.frames, answer.since, answer.channels, answer.alone)
    return "\n".join([*map(str, how), *sorted(map(content_of, others))])
