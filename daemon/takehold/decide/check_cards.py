"""Findings about cards and watch folders: what of them nobody could look at, or copied."""

from __future__ import annotations

from collections.abc import Iterator

from takehold.decide.departed import is_gone
from takehold.decide.keys import OF_A_DAY, away_key
from takehold.decide.listing import (
    content_of_listing,
    first_listed,
    hides_audio,
    is_closed,
    unread_words,
)
from takehold.decide.litter import matters
from takehold.decide.looked_into import undescribed
from takehold.decide.noticed import finding, many_files
from takehold.decide.standing import DayStanding
from takehold.formats.names import shown
from takehold.model.facts import Listed, Skip
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Load
from takehold.model.settings import Settings

HOLD, LOOK, NOTE = Severity.HOLD, Severity.LOOK, Severity.NOTE


def card_findings(view: DayStanding, ledger: Ledger, settings: Settings) -> Iterator[Finding]:
    """Everything to say of the loads' listings, and of sources that could not be looked at."""
    own = {load.id for load in view.loads}
    for load in ledger.loads.values():
        listed = ledger.listings.get(load.id)
        past = _is_past(view, ledger, settings, load)
        for skip in listed.skipped if listed else ():
            mine = load.id in own or (listed and first_listed(listed, skip) == view.day)
            if mine or (is_closed(skip) and not past):
                yield from _skipped(load, skip)
        if listed and load.id in own:
            yield from _litter(load, listed)
        if not past:
            yield from _not_taken_in(ledger, load)
    yield from _unlisted(view, ledger)
    yield from _away(view, ledger, settings)


def _skipped(load: Load, skip: Skip) -> Iterator[Finding]:
    if is_gone(skip):  # told of the recording (decide/check_file)
        return
    subject, says, do = unread_words(load, skip)
    if hides_audio(skip):
        says = f"{subject} is an audio file inside a system folder; it is not copied."
        do = "Look at it on the card."
        yield finding("litter-holds-audio", LOOK, subject, says, do, None, load.id, skip.why)
    elif is_closed(skip):
        yield finding("listing-incomplete", HOLD, subject, says, do, load=load.id)
    elif matters(skip):
        says = f"{subject} is no file ({skip.why}) and is not copied."
        do = "Check that it holds nothing."
        yield finding("entry-skipped", LOOK, subject, says, do, load=load.id)


def _litter(load: Load, listed: Listed) -> Iterator[Finding]:
    count, name = sum(n for _, n in listed.litter), shown(load.label)
    if count:
        kinds = ", ".join(f"{shown(pattern)} ({n})" for pattern, n in listed.litter)
        files = "1 system file" if count == 1 else f"{count} system files"
        says = f"{name}: {files} ignored: {kinds}."
        yield finding("litter", NOTE, name, says, load=load.id)


def _is_past(view: DayStanding, ledger: Ledger, settings: Settings, load: Load) -> bool:
    """Whether what is not known of a load cannot be of that day.

    In a watch folder it is new, so that days before its newest one are not held up, unless there
    is a file whose header cannot be read.
    """
    source = settings.source(load.source)
    if source is None or source.path is None:
        return False
    known = [ledger.recordings[i] for ids in ledger.of_load.get(load.id, {}).values() for i in ids]
    newest = max((recording.day for recording in known), default=load.day)
    return view.day < newest and not any(map(undescribed, known))


def _not_taken_in(ledger: Ledger, load: Load) -> Iterator[Finding]:
    """Files that were listed and not described: of a day nobody knows (P7)."""
    listed, trouble = ledger.listings.get(load.id), ledger.troubles.get(f"load {load.id}")
    name = shown(load.label)
    if listed and listed.untaken:
        why = f" {trouble.says}" if trouble else ""
        of = f"{listed.untaken} of its" if listed.files > 1 else "its"
        were = "was" if listed.untaken == 1 else "were"
        says = f"{name}: {of} {many_files(listed.files)} {were} not looked at yet.{why}"
        do = "Leave the card in, or put it in again."
        about = content_of_listing(listed)
        yield finding("inventory-incomplete", HOLD, name, says, do, load=load.id, covers=about)
    elif trouble:
        yield finding(trouble.code, HOLD, name, trouble.says, trouble.do, load=load.id)


def _unlisted(view: DayStanding, ledger: Ledger) -> Iterator[Finding]:
    """Cards that were in on that day and never could be listed: what was on them is not known."""
    begins = tuple(f"{word} {view.day} " for word in OF_A_DAY)
    for key, trouble in ledger.troubles.items():
        if key.startswith(begins):
            says, about = trouble.says, f"{key} {trouble.since}"
            yield finding("card-not-listed", LOOK, says, says, trouble.do, covers=about)


def _away(view: DayStanding, ledger: Ledger, settings: Settings) -> Iterator[Finding]:
    """Watch folders that were not there when the day was closed."""
    for source in settings.sources:
        trouble = ledger.troubles.get(away_key(view.day, source.name))
        if trouble is not None:
            says = f"{trouble.says} What was recorded into it since it was last seen is not known."
            about = str(trouble.since)
            name = shown(source.name)
            yield finding("source-absent", LOOK, name, says, trouble.do, covers=about)
