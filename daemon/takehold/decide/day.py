"""Which shooting day does a recording belong to?"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from typing import NamedTuple

from takehold.formats.names import cut
from takehold.model.sound import Complaint, Metadata

# A recorder may stand in another zone; more than this ahead of the laptop cannot be.
AHEAD = timedelta(hours=26)
# Clocks that people set differ by some minutes. Common practice, no source.
NEAR = timedelta(minutes=15)
CLOCK_AHEAD = "clock-ahead"
# All that may be odd about a recorder's date.
DATED = frozenset({CLOCK_AHEAD, "date-wrong", "date-ahead", "date-old", "date-doubtful"})
# Older than this on a card that is just put in: a clock that was never set.
BEHIND = timedelta(days=400)
# Older than this is possible, and worth a look.
UNUSUAL = timedelta(days=8)


class DayOf(NamedTuple):
    """The day, and what was odd about the recorder's date."""

    day: str
    complaint: Complaint | None = None


def shooting_day(moment: datetime, starts_at: int) -> str:
    """The day of a moment: before `starts_at` (minutes since midnight) it is still yesterday."""
    return (moment - timedelta(minutes=starts_at)).date().isoformat()


def day_of(metadata: Metadata, met: str, seen: datetime, starts_at: int) -> DayOf:
    """The recorder's own date with `starts_at`, or the day of first sight where it cannot be right.

    `seen` is the laptop's local time at first sight. A file without a date goes to the day `met`.
    """
    seen_day = shooting_day(seen, starts_at)
    if not metadata.date:
        return DayOf(met)
    recorded = recorder_time(metadata.date, metadata.time)
    if recorded is None:
        fine = recorder_time(metadata.date, "") is not None
        what, text = ("time", metadata.time) if fine else ("date", metadata.date)
        return DayOf(seen_day, Complaint("date-wrong", f"the {what} reads {cut(text)!r}"))
    here = seen.replace(tzinfo=None)
    if recorded > here + AHEAD or recorded < here - BEHIND:
        return DayOf(
            seen_day,
            Complaint(
                "date-wrong", f"the recorder says {recorded:%Y-%m-%d %H:%M}, seen {here:%Y-%m-%d}"
            ),
        )
    day = shooting_day(recorded, starts_at)
    if recorded > here + NEAR:
        code = "date-ahead" if day > seen_day else CLOCK_AHEAD
        says = f"the recorder says {recorded:%Y-%m-%d %H:%M}, seen {here:%Y-%m-%d %H:%M}"
        return DayOf(day, Complaint(code, says))
    if recorded < here - UNUSUAL:
        return DayOf(day, Complaint("date-old", f"the recorder says {recorded:%Y-%m-%d %H:%M}"))
    return DayOf(day)


def undated(mtime_ns: int, day: str, seen: datetime, starts_at: int) -> Complaint | None:
    """What is odd about audio that names no date and went to `day`: its time on the card.

    Such a file goes by the laptop's clock alone. FAT tells local times, so the time
    may be some hours off near the border of two days: a needless word there does no harm.
    """
    try:
        written = datetime.fromtimestamp(mtime_ns // 10**9, seen.tzinfo)
    except (ValueError, OverflowError, OSError):
        return Complaint("date-doubtful", "its time on the card is none")
    if shooting_day(written, starts_at) == day:
        return None
    return Complaint("date-doubtful", f"written {written:%Y-%m-%d %H:%M}, seen {seen:%Y-%m-%d}")


def recorder_time(day: str, time: str) -> datetime | None:
    """The moment that bext names, any separators (EBU Tech 3285); None if it cannot be."""
    found = re.fullmatch(r"(\d{4}).(\d\d).(\d\d)", day)
    if found is None:
        return None
    clock = re.fullmatch(r"(\d\d).(\d\d).(\d\d)", time)
    try:
        base = date(*map(int, found.groups()))
        hour, minute, second = map(int, clock.groups()) if clock else (12, 0, 0)
        return datetime(base.year, base.month, base.day, hour, minute, second)  # noqa: DTZ001 - the recorder names no zone
    except ValueError:
        return None


def is_day(text: str) -> bool:
    """Whether a text is a day as we write them."""
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
