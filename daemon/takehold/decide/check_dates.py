"""Cards whose files say something of their dates: said once for each."""

from __future__ import annotations

from collections.abc import Iterator

from takehold.decide.day import CLOCK_AHEAD
from takehold.decide.noticed import finding
from takehold.decide.standing import DayStanding
from takehold.formats.names import shown
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings


def clock_findings(view: DayStanding) -> Iterator[Finding]:
    """Recorders whose clock is ahead of the laptop's, of files that went to their right day.

    What went to a day that had not begun is said of each file.
    """
    for load in view.loads:
        told = [
            complaint.detail
            for standing in view.files
            if standing.current and standing.load.id == load.id
            for complaint in standing.recording.description.complaints
            if complaint.code == CLOCK_AHEAD
        ]
        if told:
            name = shown(load.label)
            files = "1 file was" if len(told) == 1 else f"{len(told)} files were"
            says = (
                f"{name}: by the recorder's clock {files} recorded later than seen here, as one "
                f"where {shown(told[0])}."
            )
            do = "Compare the recorder's clock with the laptop's, and their time zones."
            yield finding("clock-ahead", Severity.NOTE, name, says, do, load=load.id)


def uncleared_findings(view: DayStanding, ledger: Ledger, settings: Settings) -> Iterator[Finding]:
    """Cards that were known with an earlier day's files, and were not formatted before this day.

    The newest of those days is told: those before it were, in its own findings.
    """
    for load in view.loads:
        source = settings.source(load.source)
        mine = [s.recording.seen_at for s in view.files if s.load.id == load.id]
        if not mine or source is None or source.path is not None:  # no folder is ever formatted
            continue
        ids = (versions[-1] for versions in ledger.of_load.get(load.id, {}).values())
        files = (ledger.recordings[number] for number in ids)
        before = [r.day for r in files if r.day < view.day and r.seen_at < min(mine)]
        if before:
            name, last = shown(load.label), max(before)
            count = before.count(last)
            were = "1 file of that day was" if count == 1 else f"{count} files of that day were"
            says = f"{name} was not formatted since {last}: {were} on it before."
            yield finding("card-not-cleared", Severity.NOTE, name, says, load=load.id)
