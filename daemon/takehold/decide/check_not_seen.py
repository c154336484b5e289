"""Cards and sources of which nothing was seen on a day: silence is never good news (P12)."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from takehold.decide.check_beside import answered_elsewhere, packs_alone, undated
from takehold.decide.coverage import Extent, coverage
from takehold.decide.early import switched_on_early
from takehold.decide.lost_card import Here
from takehold.decide.noticed import finding, these
from takehold.decide.reads import Reads
from takehold.decide.standing import DayStanding
from takehold.formats.names import shown
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.ledger import Ledger
from takehold.model.settings import Role, Settings

HOLD, LOOK, NOTE = Severity.HOLD, Severity.LOOK, Severity.NOTE


def nothing_seen(view: DayStanding) -> Iterator[Finding]:
    """A day without a recording; documents alone may be of cards whose takes are of another day."""
    says, do = f"No recording of {view.day} was seen", "Put the day's cards in"
    if not view.files:
        do += ". If they are in, their recorder's date may be wrong: see the other days."
        yield finding("nothing-seen", HOLD, view.day, f"{says}.", do)
        return
    count = "1 document" if len(view.files) == 1 else f"{len(view.files)} documents"
    about = these(s.recording for s in view.files)
    do += ", if anything was recorded then. If it was, its recorder's date may be wrong."
    yield finding("nothing-seen", LOOK, view.day, f"{says}, only {count}.", do, covers=about)


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
    """Sources of which nothing was seen, though another of that role was."""
    seen = {s.load.source for s in (*view.files, *view.beside)}
    # A transmitter that was switched on before the day began: its file is of the day before.
    covers = chain.from_iterable(coverage(view, ledger, settings).covers.values())
    packs = {cover.pack.load for cover in covers if cover.extent is not Extent.NOT}
    seen |= {ledger.loads[number].source for number in packs}
    for source in settings.sources:
        if source.name in seen:
            continue
        name = shown(source.name)
        says = f"Nothing of the source {name} was seen on {view.day}."
        if source.path is not None:
            yield finding("source-not-seen", LOOK, name, says, "See whether its folder is there.")
        elif source.role is Role.BODYPACK or any(s.load.role is source.role for s in view.files):
            yield finding("source-not-seen", NOTE, name, says)
