"""Cards and sources of which nothing was seen on a day: silence is never good news (P12)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import chain

from takehold.decide.check_beside import answered_elsewhere, packs_alone, undated
from takehold.decide.coverage import Extent, coverage
from takehold.decide.early import switched_on_early
from takehold.decide.litter import is_document
from takehold.decide.lost_card import Here
from takehold.decide.noticed import finding, these
from takehold.decide.reads import Reads
from takehold.decide.standing import DayStanding
from takehold.formats.names import shown
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings

HOLD, LOOK, NOTE = Severity.HOLD, Severity.LOOK, Severity.NOTE


def nothing_seen(view: DayStanding) -> Iterator[Finding]:
    """A day without a recording; documents alone may be of cards whose takes are of another day."""
    says, do = f"No recording of {view.day} was seen", "Put the day's cards in"
    if not view.files:
        do += ". If they are in, their recorder's date may be wrong: see the other days."
        yield finding("nothing-seen", HOLD, view.day, f"{says}.", do)
        return
    about = these(s.recording for s in view.files)
    do += ", if anything was recorded then. If it was, its recorder's date may be wrong."
    says += f", only {_documents(len(view.files))}."
    yield finding("nothing-seen", LOOK, view.day, says, do, covers=about)


def _documents(count: int) -> str:
    return "1 document" if count == 1 else f"{count} documents"


def _is_paper(recording: Recording) -> bool:
    """Whether a file is no recording by its name, or by what it holds: a list of files."""
    said = recording.description
    return is_document(recording.path) or bool(said.listed or said.besides)


def not_seen(
    view: DayStanding, ledger: Ledger, settings: Settings, here: Here
) -> Iterator[Finding]:
    """What a day that has recordings lacks: a role, or a source though its role is there."""
    elsewhere, recordings = answered_elsewhere(view)
    if elsewhere and elsewhere == recordings:
        yield from _backups_alone(view, ledger, settings)
    elif day := switched_on_early(view, ledger, settings):
        says = f"; what there is are transmitters' own cards that ran on into the takes of {day}"
        yield _no_card(view, settings, Role.PRIMARY, "primary-not-seen", NOTE, f"{says}.")
    else:
        yield from _roles(view, ledger, settings, here)
        yield from _sources(view, ledger, settings)


def _backups_alone(view: DayStanding, ledger: Ledger, settings: Settings) -> Iterator[Finding]:
    """All of it is the backup of other days: it is no better than they are.

    It may be the primary's date that is off, and then this day is what the work was.
    """
    days = sorted({s.recording.day for s in view.beside if s.load.role is Role.PRIMARY})
    newest = {day: ledger.newest(day) for day in days}
    waits = [d for d, one in newest.items() if one is None or one.verdict != Verdict.READY]
    if waits:
        which = ", ".join(waits)
        one = "is" if len(waits) == 1 else "are"
        says = f"; all that is known of it are backups of {which}, which {one} not closed as READY."
        do = f"See that day and close it first: {'; '.join(f'takehold wrap {d}' for d in waits)}."
        yield _no_card(view, settings, Role.PRIMARY, "primary-not-seen", LOOK, says, do)


def _roles(view: DayStanding, ledger: Ledger, settings: Settings, here: Here) -> Iterator[Finding]:
    elsewhere, _ = answered_elsewhere(view)
    for role, code in ((Role.PRIMARY, "primary-not-seen"), (Role.BACKUP, "backup-not-seen")):
        there = any(s.load.role is role for s in view.files)
        there = there or (role is Role.BACKUP and any(s.load.role is role for s in view.beside))
        if there or all(s.role is not role for s in settings.sources):
            continue
        owed = [s for s in view.files if s.owes_copies]
        # An earlier version is not on its card any more: nobody can read it a second time.
        sure = role is Role.BACKUP and all(s.reads is Reads.AGREED for s in owed if s.current)
        # Where the date of some of them is off, it may be that of all.
        sure |= role is Role.PRIMARY and (bool(elsewhere) or undated(view))
        severity = LOOK if sure or packs_alone(view) else HOLD
        do = (
            f"Put the {role} card in. If it was in, its recorder's date may be wrong: then its"
            " files are in another day, and only those with the same audio are matched."
        )
        more = f"{_of_other_days(ledger, here, role)}."
        yield _no_card(view, settings, role, code, severity, more, do)


def _no_card(
    view: DayStanding,
    settings: Settings,
    role: Role,
    code: str,
    severity: Severity,
    more: str,
    do: str = "",
) -> Finding:
    names = ", ".join(shown(s.name) for s in settings.sources if s.role is role)
    says = f"No {role} card with a recording of {view.day} was seen ({names}){more}"
    owed = these(s.recording for s in view.files if s.owes_copies)
    return finding(code, severity, names, says, do, covers=owed)


def _of_other_days(ledger: Ledger, here: Here, role: Role) -> str:
    """The cards of that role that are in all the same: yesterday's may have been put in again."""
    loads = (ledger.loads[n] for n in sorted(here.loads or ()) if n in ledger.loads)
    return "".join(
        f"; {shown(load.label)} is in, was first seen on {load.day} and holds nothing of that day"
        for load in loads
        if load.role is role
    )


def _sources(view: DayStanding, ledger: Ledger, settings: Settings) -> Iterator[Finding]:
    """Sources of which no recording was seen, though another of that role was."""
    there = [*view.files, *view.beside]
    papers = Counter(s.load.source for s in there if _is_paper(s.recording))
    seen = {s.load.source for s in there if not _is_paper(s.recording)}
    # A transmitter that was switched on before the day began: its file is of the day before.
    covers = chain.from_iterable(coverage(view, ledger, settings).covers.values())
    packs = {cover.pack.load for cover in covers if cover.extent is not Extent.NOT}
    seen |= {ledger.loads[number].source for number in packs}
    for source in settings.sources:
        if source.name in seen:
            continue
        name, count = shown(source.name), papers[source.name]
        says = f"No recording of the source {name} was seen on {view.day}"
        says += f", only {_documents(count)}." if count else "."
        if source.path is not None:
            do = "See whether its card is in, and its folder there."
            yield finding("source-not-seen", LOOK, name, says, do)
        elif source.role is Role.BODYPACK or any(s.load.role is source.role for s in view.files):
            yield finding("source-not-seen", NOTE, name, says)
