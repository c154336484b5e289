"""Cards whose files say something of their dates: said once for each."""

from __future__ import annotations

from collections.abc import Iterator

from takehold.decide.day import CLOCK_AHEAD
from takehold.decide.noticed import finding, these
from takehold.decide.standing import DayStanding
from takehold.formats.names import display, shown
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.settings import Settings

NAMED = 3
"""Files that are named with their dates; more are counted."""

# What is so of a card's files, and what to do.
ODD_DATES = {
    "date-wrong": (
        "a recording date or time that cannot be right",
        "See that both clocks are right, the recorder's and the laptop's.",
    ),
    "date-ahead": (
        "the date of a day that had not begun here",
        "See which day that is, and that both clocks and their time zones are right.",
    ),
    "date-old": ("a recording date of long ago", "See which day that is."),
    "date-doubtful": (
        "no date, and a time on the card that is of another day",
        "See which day they belong to, and that both clocks are right.",
    ),
}


def date_findings(view: DayStanding) -> Iterator[Finding]:
    """What is odd about the dates of a card's files, and how its recorder's clock stands."""
    for load in view.loads:
        for code, (what, do) in ODD_DATES.items():
            odd = _with(view, load, code)
            if odd:
                name, files = shown(load.label), [recording for recording, _ in odd]
                have = "1 file has" if len(odd) == 1 else f"{len(odd)} files have"
                says = f"{name}: {have} {what}: {_some(odd)}."
                about = these(files)
                yield finding(code, Severity.LOOK, name, says, do, load=load.id, covers=about)
        # Of files that went to their right day.
        told = [detail for _, detail in _with(view, load, CLOCK_AHEAD)]
        if told:
            name = shown(load.label)
            were = "1 file was" if len(told) == 1 else f"{len(told)} files were"
            says = (
                f"{name}: by the recorder's clock {were} recorded later than seen here, as one "
                f"where {shown(told[0])}."
            )
            do = "Compare the recorder's clock with the laptop's, and their time zones."
            yield finding("clock-ahead", Severity.NOTE, name, says, do, load=load.id)


def _with(view: DayStanding, load: Load, code: str) -> list[tuple[Recording, str]]:
    """The files of a card of which that is so, with their figures."""
    return [
        (standing.recording, complaint.detail)
        for standing in view.files
        if standing.current and standing.load.id == load.id
        for complaint in standing.recording.description.complaints
        if complaint.code == code
    ]


def _some(odd: list[tuple[Recording, str]]) -> str:
    told = [f"{display(file.path)} ({shown(detail)})" for file, detail in odd[:NAMED]]
    more = f" and {len(odd) - NAMED} more" if len(odd) > NAMED else ""
    return ", ".join(told) + more


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
