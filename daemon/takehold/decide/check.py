"""The day's checks: what a careful person would notice, each with what to do.

Every code is explained in docs/problems.md. `hold` says do not hand over; `look` waits for a
person's decision; `note` is good to know.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from takehold.decide.check_file import file_findings
from takehold.decide.litter import matters
from takehold.decide.noticed import finding
from takehold.decide.standing import DayStanding
from takehold.formats.names import display, shown
from takehold.model.facts import Acked, Trouble
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.ledger import Ledger
from takehold.model.recording import Load
from takehold.model.settings import Role, Settings

HOLD, LOOK, NOTE = Severity.HOLD, Severity.LOOK, Severity.NOTE
ORDER = {HOLD: 0, LOOK: 1, NOTE: 2}


@dataclass(frozen=True, slots=True)
class Around:
    """What is so at this moment only.

    Destinations that are not there, files not settled yet, sources that cannot be listed.
    """

    absent: tuple[str, ...] = ()
    unsettled: tuple[str, ...] = ()
    unlisted: tuple[Trouble, ...] = ()


def check(
    view: DayStanding, ledger: Ledger, settings: Settings, around: Around
) -> tuple[Finding, ...]:
    """All findings of a day, the gravest first."""
    found: list[Finding] = []
    for standing in view.files:
        recording = standing.recording
        trouble = ledger.troubles.get(f"rec {recording.id}") or ledger.troubles.get(
            f"stock {recording.load} {recording.path.hex()}"
        )
        found += file_findings(standing, view, settings, trouble)
        found += _broken(ledger, standing.recording.id, display(standing.recording.place))
    found += _loads(view, ledger)
    for load in view.loads:
        found += _not_taken_in(view, ledger, settings, load)
    found += _day(view, settings)
    found += _around(view, around)
    return tuple(sorted(found, key=lambda f: (ORDER[f.severity], f.code, f.subject)))


def verdict(found: tuple[Finding, ...], acks: dict[str, Acked]) -> tuple[Verdict, tuple[str, ...]]:
    """READY only when nothing holds and every `look` has a person's decision; else the reasons."""
    holds = [f for f in found if f.severity is HOLD]
    open_looks = [f for f in found if f.severity is LOOK and f.id not in acks]
    reasons = [f.says for f in holds]
    reasons += [f"{f.says} A decision is wanted: takehold ack {f.id}" for f in open_looks]
    return (Verdict.HOLD, tuple(reasons)) if reasons else (Verdict.READY, ())


def _broken(ledger: Ledger, recording: int, name: str) -> Iterator[Finding]:
    for fact in ledger.broken.get(recording, ()):
        where = f"{shown(fact.destination)}: {display(fact.path)}"
        if fact.why == "altered":
            yield finding(
                "copy-altered",
                LOOK,
                where,
                f"{where} held a proven copy and has other bytes now.",
                "The altered file is left as it is and a new copy is made beside it. Find out what "
                "wrote there; a drive that alters files should not be trusted with more.",
                recording,
            )
        else:
            yield finding(
                "copy-lost",
                NOTE,
                where,
                f"{where} held a proven copy of {name} and the file is gone.",
                "It is copied again.",
                recording,
            )


def _loads(view: DayStanding, ledger: Ledger) -> Iterator[Finding]:
    for load in view.loads:
        listed = ledger.listings.get(load.id)
        name = shown(load.label)
        for skip in listed.skipped if listed else ():
            subject = f"{name}: {display(skip.path)}"
            if skip.why == "audio in a litter folder":
                says = f"{subject} is an audio file inside a system folder; it is not copied."
                yield finding("litter-holds-audio", LOOK, subject, says, "Look at it in the card.")
            elif skip.why.startswith("unreadable") and matters(skip):
                says = f"{subject} cannot be listed, so it is not known what is in it."
                do = "Try another reader or cable; keep the card."
                yield finding("listing-incomplete", HOLD, subject, says, do)
            elif matters(skip):
                says = f"{subject} is no file ({skip.why}) and is not copied."
                yield finding("entry-skipped", LOOK, subject, says, "Check that it holds nothing.")
        count = sum(n for _, n in listed.litter) if listed else 0
        if listed and count:
            kinds = ", ".join(f"{shown(pattern)} ({n})" for pattern, n in listed.litter)
            yield finding("litter", NOTE, name, f"{name}: {count} system files ignored: {kinds}.")
        yield from _trouble(ledger.troubles.get(f"load {load.id}"), name)


def _not_taken_in(
    view: DayStanding, ledger: Ledger, settings: Settings, load: Load
) -> Iterator[Finding]:
    """Files that were listed and not described: of a day nobody knows (P7).

    In a watch folder they are new, so that days before its newest one are not held up.
    """
    source, listed = settings.source(load.source), ledger.listings.get(load.id)
    paths = ledger.of_load.get(load.id, {})
    lacking = listed.untaken if listed else 0
    if source is not None and source.path is not None:
        newest = max((ledger.recordings[i].day for ids in paths.values() for i in ids), default="")
        lacking = lacking if view.day >= newest else 0
    if listed and lacking > 0:
        name = shown(load.label)
        says = f"{name}: {lacking} of its {listed.files} files were not looked at yet."
        do = "Leave the card in, or put it in again."
        yield finding("inventory-incomplete", HOLD, name, says, do)


def _trouble(trouble: Trouble | None, subject: str) -> Iterator[Finding]:
    if trouble is not None:
        yield finding(trouble.code, HOLD, subject, trouble.says, trouble.do)


def _day(view: DayStanding, settings: Settings) -> Iterator[Finding]:
    if not view.files:
        yield finding(
            "nothing-seen",
            HOLD,
            view.day,
            f"No recording of {view.day} was seen.",
            "Put the day's cards in.",
        )
        return
    for role, code in ((Role.PRIMARY, "primary-not-seen"), (Role.BACKUP, "backup-not-seen")):
        expected = [s for s in settings.sources if s.role is role]
        if expected and not any(has_files(view, load) for load in view.loads if load.role is role):
            names = ", ".join(shown(s.name) for s in expected)
            yield finding(
                code,
                HOLD,
                names,
                f"No {role} card of {view.day} was seen ({names}).",
                f"Put the {role} card in.",
            )


def has_files(view: DayStanding, load: Load) -> bool:
    """Whether a load holds a file of that day."""
    return any(s.load.id == load.id for s in view.files)


def _around(view: DayStanding, around: Around) -> Iterator[Finding]:
    for name in around.unsettled:
        says = f"{name} is still being written."
        yield finding("still-written", HOLD, name, says, "Wait until the recorder has closed it.")
    for trouble in around.unlisted:
        yield from _trouble(trouble, trouble.says)
    for name in around.absent:
        lacking = [
            s for s in view.files if s.owes_copies and all(c.destination != name for c in s.copies)
        ]
        if lacking:
            yield finding(
                "destination-absent",
                LOOK,
                shown(name),
                f"The destination {shown(name)} is not there; {len(lacking)} files are not on it.",
                "Connect it: what it lacks is copied by itself.",
            )
