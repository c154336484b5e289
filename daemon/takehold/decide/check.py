"""The day's checks: what a careful person would notice, each with what to do.

Every code is explained in docs/problems.md. `hold` says do not hand over; `look` waits for a
person's decision; `note` is good to know.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

from takehold.decide.check_beside import beside_findings
from takehold.decide.check_cards import card_findings
from takehold.decide.check_compared import uncompared_findings
from takehold.decide.check_coverage import (
    coverage_findings,
    pack_date_findings,
    silence_findings,
)
from takehold.decide.check_dates import date_findings, uncleared_findings
from takehold.decide.check_file import file_findings
from takehold.decide.check_not_seen import not_seen, nothing_seen
from takehold.decide.check_reduced import reduced_findings
from takehold.decide.check_report import report_findings
from takehold.decide.check_set_up import set_up_findings
from takehold.decide.check_sound import sound_findings
from takehold.decide.check_takes import take_findings
from takehold.decide.check_unknown import unknown_findings
from takehold.decide.coverage import coverage
from takehold.decide.departed import dated_anew
from takehold.decide.keys import publish_key, rec_key, stock_key
from takehold.decide.litter import is_document
from takehold.decide.lost_card import OF_ANY_DAY, long_gone, of_lost_card
from takehold.decide.manifest_names import names_of
from takehold.decide.noticed import content_of, finding, many_files, these
from takehold.decide.reads import Reads
from takehold.decide.reports import reports_on
from takehold.decide.salvage import salvage_findings
from takehold.decide.severity import lowered, weighed
from takehold.decide.sides import same_disk
from takehold.decide.sparse_sets import sparse_findings
from takehold.decide.standing import DayStanding
from takehold.decide.unsettled import decided_on
from takehold.formats.names import display, shown
from takehold.model.facts import Acked, Trouble
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings

HOLD, LOOK, NOTE = Severity.HOLD, Severity.LOOK, Severity.NOTE
ORDER = {HOLD: 0, LOOK: 1, NOTE: 2}


class Around(NamedTuple):
    """What is so at this moment only.

    Destinations that are not there, files not settled yet, sources that cannot be listed, and of
    the destinations that are `present` name and root. `loads` lie there at `now` (seconds since
    1970), None where that is not known.
    """

    absent: tuple[str, ...] = ()
    unsettled: tuple[str, ...] = ()
    unlisted: tuple[Trouble, ...] = ()
    present: tuple[tuple[str, str], ...] = ()
    loads: frozenset[int] | None = None
    now: int = 0


def check(
    view: DayStanding, ledger: Ledger, settings: Settings, around: Around
) -> tuple[Finding, ...]:
    """All findings of a day, the gravest first."""
    found: list[Finding] = []
    reports = reports_on(view, ledger)
    papers = {report.file.id for made in reports.values() for report in made}
    landing = {k.split(" ")[1]: t for k, t in ledger.troubles.items() if k.startswith("land ")}
    for standing in view.files:
        recording = standing.recording
        trouble = (
            ledger.troubles.get(rec_key(recording.id))
            or ledger.troubles.get(stock_key(recording.load, recording.path))
            or landing.get(str(recording.id))
        )
        found += file_findings(standing, view, settings, trouble, papers)
        found += _broken(ledger, standing.recording.id, display(standing.recording.place))
        found += salvage_findings(ledger, standing)
    found += card_findings(view, ledger, settings)
    found += date_findings(view)
    found += set_up_findings(view, settings)
    found += uncleared_findings(view, ledger, settings)
    found += uncompared_findings(view, ledger)
    found += unknown_findings(view)
    found += beside_findings(view)
    found += reduced_findings(view)
    found += sparse_findings(view)
    papers_only = all(
        is_document(r.path) or r.id in papers for r in (s.recording for s in view.files)
    )
    found += nothing_seen(view) if papers_only else not_seen(view, ledger, settings, around)
    found += _same_disk(view, settings)
    found += _other_days(view, ledger)
    found += _unpublished(view, ledger, around)
    found += _met(view, ledger)
    found += _around(view, around)
    found += take_findings(view, ledger, settings)
    packs = coverage(view, ledger, settings)
    found += coverage_findings(packs, view)
    found += pack_date_findings(view, ledger, settings)
    found += silence_findings(view)
    found += report_findings(view, ledger, reports)
    found += sound_findings(view, settings, packs)
    gone = long_gone(ledger, around)
    weighed_ones = (weighed(of_lost_card(f, view, ledger, gone), settings) for f in found)
    told = (named(f, view.day, ledger) for f in weighed_ones)
    return tuple(sorted(told, key=lambda f: (ORDER[f.severity], f.code, f.subject)))


def named(found: Finding, day: str, ledger: Ledger) -> Finding:
    """Its id holds for this day, this load and these bytes only: a decision covers no others."""
    about = [found.code, found.subject]
    about += [] if found.code in OF_ANY_DAY else [day]
    load_id = found.load
    if found.recording is not None:
        recording = ledger.recordings[found.recording]
        about.append(content_of(recording))
        load_id = recording.load
    if load_id is not None:
        load = ledger.loads[load_id]
        about += [load.identity, str(load.seen_at)]
    about += [found.covers] if found.covers else []
    name = hashlib.sha256("\n".join(about).encode("utf-8", "surrogateescape")).hexdigest()[:8]
    return found._replace(id=name)


def verdict(found: tuple[Finding, ...], acks: dict[str, Acked]) -> tuple[Verdict, tuple[str, ...]]:
    """READY only when nothing holds and every `look` has a person's decision; else the reasons.

    Beside READY: what no read confirmed, and a person decided on (P8); what the config lowered.
    """
    holds = [f for f in found if f.severity is HOLD]
    open_looks = [f for f in found if f.severity is LOOK and f.id not in acks]
    reasons = [f.says for f in holds]
    reasons += [f"{f.says} A decision is wanted: takehold ack {f.id}" for f in open_looks]
    if reasons:
        return Verdict.HOLD, tuple(reasons)
    return Verdict.READY, (*decided_on(found, acks), *lowered(found))


def _broken(ledger: Ledger, recording: int, name: str) -> Iterator[Finding]:
    """Copies that are no more; each time is a thing of its own, and is decided on by itself."""
    times: Counter[tuple[str, bytes, str]] = Counter()
    for fact in ledger.broken.get(recording, ()):
        times[(fact.root, fact.path, fact.why)] += 1
        time = str(times[(fact.root, fact.path, fact.why)])
        where = f"{shown(fact.destination)}: {display(fact.path)}"
        if fact.why == "altered":
            good = [c for c in ledger.copies_of(recording) if c.root == fact.root]
            beside = f"; a good one was made there, {display(good[0].path)}" if good else ""
            yield finding(
                "copy-altered",
                LOOK,
                where,
                f"{where} was found BAD: it held a proven copy and had other bytes{beside}.",
                "The bad file is left as it is. Hand over another drive if you can, find out what "
                "wrote there, and do not trust that drive with more.",
                recording,
                covers=time,
            )
        else:
            yield finding(
                "copy-lost",
                NOTE,
                where,
                f"{where} held a proven copy of {name} and the file was gone.",
                "It is copied again.",
                recording,
                covers=time,
            )


def _same_disk(view: DayStanding, settings: Settings) -> Iterator[Finding]:
    for backup, primary in same_disk(view.loads, settings):
        name = shown(backup.label)
        says = f"{name} is on the disk of {shown(primary.label)}: it is no backup of it."
        yield finding("backup-on-same-disk", HOLD, name, says, "See the config.", load=backup.id)


def _other_days(view: DayStanding, ledger: Ledger) -> Iterator[Finding]:
    """Files of cards that came this day and went, by their date, to other days."""
    for load in view.loads:
        ids = [i for found in ledger.of_load.get(load.id, {}).values() for i in found]
        mine = [s.recording.seen_at for s in view.files if s.load.id == load.id]
        first = load.day == view.day
        since = 0 if first else min(mine, default=0)
        came = [r for r in map(ledger.recordings.__getitem__, ids) if r.seen_at >= since]
        others = [r for r in came if r.day < view.day or (first and r.day > view.day)]
        moved = dated_anew(others, ledger)
        others = [r for r in others if r.id not in moved]
        if not others:
            continue
        name, days = shown(load.label), ", ".join(sorted({r.day for r in others}))
        were = "was" if len(others) == 1 else "were"
        codes = {c.code for r in others for c in r.description.complaints}
        says = f"{name}: {len(others)} of its files {were} recorded on other days: {days}."
        do = "See that the dates are right; each of these days has its own manifest."
        severity = NOTE if codes.isdisjoint({"date-old", "date-ahead"}) else LOOK
        yield finding(
            "files-of-other-days", severity, name, says, do, load=load.id, covers=these(others)
        )
    if view.elsewhere:
        belong = f"belong{'s' if view.elsewhere == 1 else ''} to another production"
        says = f"{many_files(view.elsewhere)} of {view.day} {belong}."
        do = "If the production was renamed, give it its old name back to close them."
        count = str(view.elsewhere)
        yield finding("other-production", LOOK, view.day, says, do, covers=count)


def _unpublished(view: DayStanding, ledger: Ledger, around: Around) -> Iterator[Finding]:
    """The day's manifest could not be put on a drive: what stands there is not what was signed.

    Of a drive that is away a person decides: it may have been changed for another for good.
    """
    present = {root for _, root in around.present}
    keys = (k.split(" ", 3)[2:] for k in ledger.troubles if k.startswith(f"publish {view.day} "))
    newest = {root: number for number, root in sorted((int(n), root) for n, root in keys)}
    for root, number in sorted(newest.items()):
        trouble = ledger.troubles[publish_key(view.day, number, root)]
        says, do, severity = trouble.says, trouble.do, HOLD
        if root not in present:
            says += f" Revision {number} of {view.day} is not on that drive, which is away now."
            do = "Put it in again. Decide, if another drive took its place for good."
            severity = LOOK
        subject = f"{view.day} @ {shown(root)}"
        yield finding("manifest-not-published", severity, subject, says, do)


def _met(view: DayStanding, ledger: Ledger) -> Iterator[Finding]:
    """Manifests of other hands on our drives; and of ours, of before a catalogue was lost."""
    known = {revised.sha256 for revised in ledger.revisions.get(view.day, ())}
    for met in ledger.met.values():
        if met.day != view.day or met.sha256 in known:
            continue
        where = f"{shown(met.destination)}: {names_of(met.day, met.number)['manifest']}"
        if met.ours:
            says = (
                f"{where} was signed with this key before the catalogue was lost; what it tells is "
                "known again."
            )
            yield finding("manifest-found-again", NOTE, where, says)
        else:
            says = f"{where}, its signature or a list of it is not what this takehold wrote there."
            do = "It is left alone. See who wrote or changed it. Tell post that the revision with "
            do += "the highest number counts."
            yield finding("manifest-of-others", LOOK, where, says, do, covers=met.sha256)


def _around(view: DayStanding, around: Around) -> Iterator[Finding]:
    for name in around.unsettled:
        says = f"{name} is still being written."
        yield finding("still-written", HOLD, name, says, "Wait until the recorder has closed it.")
    for trouble in around.unlisted:
        yield finding(trouble.code, HOLD, trouble.says, trouble.says, trouble.do)
    for name, root in around.present:
        lacking = [
            s.recording
            for s in view.files
            if s.owes_copies and s.reads is not Reads.NONE and all(c.root != root for c in s.copies)
        ]
        if lacking:
            says = f"{shown(name)} is there and lacks {many_files(len(lacking))} of the day."
            do = "Put their card, or a drive that has them, in; or see why it does not take them."
            about = these(lacking)
            yield finding("destination-lacks", LOOK, shown(name), says, do, covers=about)
    for name in around.absent:
        lacking = [
            s.recording
            for s in view.files
            if s.owes_copies and all(c.destination != name for c in s.copies)
        ]
        says = f"The destination {shown(name)} is not there, or cannot be used"
        do = "Connect it, or see takehold status: what it lacks is copied by itself."
        if lacking:
            are = "is" if len(lacking) == 1 else "are"
            says += f"; {many_files(len(lacking))} {are} not on it."
            about = these(lacking)
            yield finding("destination-absent", LOOK, shown(name), says, do, covers=about)
        elif view.files:
            says += "; its copies were proven before and not looked at now."
            yield finding("destination-absent", NOTE, shown(name), says, do)
