"""A card's listing: what of it is not known yet, and since which day.

A file that was not looked at, and an entry that nobody can look into, may be of the day on which
it was first listed, however long its card was known before (P7).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from takehold.decide.departed import gone_now
from takehold.decide.enrol import Files, untaken
from takehold.decide.litter import HIDDEN_AUDIO, matters
from takehold.formats.names import display, shown
from takehold.model.facts import Listed, Since, Skip
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Stamp

# How old `Listed.at` may grow while its card is in: by it a card is away for long or not.
RENEW_S = 3600
# A file that a recorder writes shows another length at each look: so often that is noted.
GROWS_S = 20
UNREADABLE = "unreadable"
KEEP_IT_IN = "Try another reader or cable; keep the card."


def listing(
    ledger: Ledger,
    load: int,
    now: int,
    today: str,
    files: Files,
    litter: tuple[tuple[str, int], ...],
    skipped: tuple[Skip, ...],
    complete: bool,
    anew: bool = False,
) -> Listed:
    """What a look at a load showed; what was not known before keeps the day of its first sight.

    Where the listing broke off, what it does not show may lie there still; `anew` says that the
    card was not looked into yet: it may be another one (decide/recognise).
    """
    waiting = [file for file in files if untaken(ledger, load, (file,))]
    marks = {_mark_of_file(path, stamp) for path, stamp in waiting}
    marks |= {_mark_of(skip) for skip in skipped if hides_audio(skip) or matters(skip)}
    known = ledger.listings.get(load)
    before = known.since if known else ()
    days = {s.day: [m for m in s.marks if m in marks or not complete] for s in before}
    new = marks.difference(*(s.marks for s in before))
    days[today] = sorted({*days.get(today, ()), *new})
    since = tuple(Since(day, tuple(found)) for day, found in sorted(days.items()) if found)
    gone = gone_now(ledger, load, dict(files), skipped, sure=complete and not anew)
    return Listed(load, now, len(files), litter, (*skipped, *gone), len(waiting), since)


def first_listed(listed: Listed, skip: Skip) -> str | None:
    """The day on which a skipped entry was first listed, None where nobody noted it."""
    return _day_of(listed, _mark_of(skip))


def file_first_listed(listed: Listed | None, path: bytes, stamp: Stamp) -> str | None:
    """The day on which a file that is not known yet was first listed, None if nobody noted it."""
    return _day_of(listed, _mark_of_file(path, stamp)) if listed else None


def _day_of(listed: Listed, mark: str) -> str | None:
    return next((since.day for since in listed.since if mark in since.marks), None)


def days_of(listed: Listed | None) -> frozenset[str]:
    """The days on which what is not known of it yet was first listed."""
    return frozenset(since.day for since in listed.since) if listed else frozenset()


def content_of_listing(listed: Listed) -> str:
    """Just these files and entries are not known: one more, or another one, is another text."""
    marks = sorted(mark for since in listed.since for mark in since.marks)
    return hashlib.sha256("\n".join(marks).encode()).hexdigest()


def is_open(listed: Listed) -> bool:
    """Whether only the card can tell what is on it."""
    return bool(listed.untaken) or any(map(is_closed, listed.skipped))


def is_closed(skip: Skip) -> bool:
    """Whether a folder or entry could not be read, and may hold recordings."""
    return skip.why.startswith(UNREADABLE) and matters(skip)


def hides_audio(skip: Skip) -> bool:
    """Whether it is an audio file in a folder of a computer's litter."""
    return skip.why.startswith(HIDDEN_AUDIO)


def unread_words(load: Load, skip: Skip) -> tuple[str, str, str]:
    """Subject, sentence and advice for an entry of a card that cannot be read."""
    subject = f"{shown(load.label)}: {display(skip.path)}"
    return subject, f"{subject} cannot be listed, so it is not known what is in it.", KEEP_IT_IN


def worth_keeping(known: Listed | None, listed: Listed, *, awaited: bool, watched: bool) -> bool:
    """Whether a look is to be recorded: it shows something else, or shows still what is open.

    `awaited`: the card has a file that only a further read can settle. `watched`: recorders write
    there.
    """
    if known is None or _without_time(known) != _without_time(listed):
        return known is None or not (watched and _only_grew(known, listed))
    return (awaited or is_open(listed)) and not 0 <= listed.at - known.at < RENEW_S


def _only_grew(known: Listed, listed: Listed) -> bool:
    """Whether just as many files are waited for, a moment later."""
    ours, its = (_without_time(each)[:-1] for each in (known, listed))
    counts = [[(since.day, len(since.marks)) for since in each.since] for each in (known, listed)]
    return ours == its and counts[0] == counts[1] and 0 <= listed.at - known.at < GROWS_S


def _without_time(listed: Listed) -> tuple[object, ...]:
    return listed.files, listed.litter, listed.skipped, listed.untaken, listed.since


def _mark_of(skip: Skip) -> str:
    return _mark(skip.path, skip.why.partition(":")[0])


def _mark_of_file(path: bytes, stamp: Stamp) -> str:
    return _mark(path, f"{stamp.size} {stamp.mtime_ns}")


def _mark(path: bytes, about: str) -> str:
    return hashlib.sha256(b"\0".join((about.encode(), path))).hexdigest()[:16]


def all_unread(ledger: Ledger, loads: Iterable[int]) -> Iterable[tuple[Load, Skip]]:
    """What cannot be read on the cards that lie there."""
    for load in loads:
        listed = ledger.listings.get(load)
        for skip in filter(is_closed, listed.skipped if listed else ()):
            yield ledger.loads[load], skip
