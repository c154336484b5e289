"""Does a sound report on a card list what is on that card, and nothing else?

Which recordings a report means, decide/reports tells.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

from takehold.decide.noticed import finding
from takehold.decide.reports import Card, Report, Reports
from takehold.decide.standing import DayStanding
from takehold.formats.names import display, shown
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.settings import Role

REPORT_CODES = frozenset({"report-names-missing", "report-agrees", "report-of-other-day"})
"""What is said of a report itself, one of them in the day of its file."""

NAMED = 5
"""Names that are told; more are counted."""


def report_findings(view: DayStanding, ledger: Ledger, found: Reports) -> Iterator[Finding]:
    """Each report is told of in its newest day, and in its own that it is."""
    listed: dict[Role, set[int]] = defaultdict(set)
    for load in view.loads:
        for report in found.get(load.id, ()):
            listed[load.role] |= {r.id for r in (*report.lists, *report.beside)}
            if report.day == view.day:
                yield from _compared(load, report, ledger)
            elif report.file.day == view.day:
                yield _elsewhere(load, report)
    for load in view.loads:
        if load.id in found and listed[load.role]:
            today = [r for r in Card.of(ledger, load).audio() if r.day == view.day]
            omitted = [recording for recording in today if recording.id not in listed[load.role]]
            if omitted and len(omitted) < len(today):
                yield _omits(load, omitted)


def _compared(load: Load, report: Report, ledger: Ledger) -> Iterator[Finding]:
    """What is said of a report in the newest day that it lists something of."""
    others = (r.load for r in report.named if r.load != load.id)
    on = Counter(ledger.loads[number].label for number in others)
    cards = ", ".join(f"{count} on {shown(label)}" for label, count in sorted(on.items()))
    yield _missing(load, report, cards) if report.missing else _agrees(load, report, cards)


def _agrees(load: Load, report: Report, cards: str) -> Finding:
    name = f"{shown(load.label)}/{display(report.file.path)}"
    count = len(report.named)
    what = {0: "none of what it names is", 1: "the recording that it names is"}
    what_is = what.get(count, f"all {count} recordings it names are") + " there"
    what_is += f", of them {cards}" if cards else ""
    whose = "the day's cards" if cards else "its card"
    says = f"{name} is a sound report and was compared with {whose}: {what_is}.{_left(report)}"
    place = display(report.file.place)
    return finding("report-agrees", Severity.NOTE, place, says, "", report.file.id)


def _left(report: Report) -> str:
    """What it names and the card has no more: the day has it all the same."""
    names = sorted(display(recording.path) for recording in report.left)
    if not names:
        return ""
    what = "a recording that was" if len(names) == 1 else f"{len(names)} recordings that were"
    told = _some(names, escaped=True)
    return f" It names {what} renamed or deleted on its card after being copied: {told}."


def _elsewhere(load: Load, report: Report) -> Finding:
    name = f"{shown(load.label)}/{display(report.file.path)}"
    says = f"{name} is a sound report of {report.day}: what it names is compared in that day."
    place = display(report.file.place)
    return finding("report-of-other-day", Severity.NOTE, place, says, "", report.file.id)


def _missing(load: Load, report: Report, cards: str) -> Finding:
    name = f"{shown(load.label)}/{display(report.file.path)}"
    count = len(report.missing)
    files = "a file that is" if count == 1 else f"{count} files that are"
    says = f"{name} is a sound report and names {files} not on that card: {_some(report.missing)}"
    says += f"; of others that it names are {cards}." if cards else "."
    says += _left(report)
    do = "Was it deleted, renamed, or is it on another card? Tell post, or correct the report."
    covers = "\n".join(sorted(report.missing))
    return finding(
        "report-names-missing",
        Severity.LOOK,
        display(report.file.place),
        says,
        do,
        report.file.id,
        covers=covers,
    )


def _omits(load: Load, omitted: list[Recording]) -> Finding:
    names = sorted(display(recording.path) for recording in omitted)
    count = "1 recording is" if len(names) == 1 else f"{len(names)} recordings are"
    label = shown(load.label)
    says = f"{label}: {count} in no sound report: {_some(names, escaped=True)}."
    do = "Correct the report, or tell post of them."
    covers = "\n".join(names)
    return finding("report-omits", Severity.LOOK, label, says, do, load=load.id, covers=covers)


def _some(names: Iterable[str], *, escaped: bool = False) -> str:
    told = [name if escaped else shown(name) for name in names]
    more = f" and {len(told) - NAMED} more" if len(told) > NAMED else ""
    return ", ".join(told[:NAMED]) + more
