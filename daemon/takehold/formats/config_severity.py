"""The `[severity]` section of the config: how grave a finding is, by its code.

What was recorded is weighed by people: those codes take any severity. What says whether copies are
proven, reads agree and nothing was left out decides by itself whether a day may be READY: those
codes can be made graver only. docs/problems.md explains each code.
"""

from __future__ import annotations

from takehold.formats.config_rules import Refused
from takehold.model.finding import Severity

# About the recordings, and about the backup card's.
FREE = frozenset(
    {
        *("header-unfinished", "header-untrue", "header-odd", "frame-cut", "no-fmt", "no-data"),
        *("empty-file", "not-wave", "not-decoded", "ixml-unreadable", "bext-unreadable"),
        *("metadata-disagrees", "date-wrong", "date-old", "date-doubtful", "content-not-looked-at"),
        *("date-ahead", "clock-ahead", "card-not-cleared"),
        *("sample-rate", "bit-depth", "channels", "timecode-rate", "timecode-rate-unknown"),
        *("edited", "newer-version", "other-audio", "files-of-other-days", "deleted-on-card"),
        *("backup-missing", "backup-short", "primary-short", "backup-different", "backup-unknown"),
        *("backup-reduced", "backup-partial", "backup-not-comparable", "primary-not-comparable"),
        *("primary-reduced", "only-on-backup", "source-not-seen"),
        *("backup-day-off", "backup-timecode", "backup-shared", "backup-spare"),
        *("set-incomplete", "set-uneven", "part-gap", "part-missing", "take-twice", "take-numbers"),
        *("tracks-unnamed", "tracks-changed", "format-changed", "channels-changed"),
        *("timecode-overlap", "timecode-off-clock", "timecode-apart", "pack-not-covering"),
        *("pack-silent", "pack-day-off"),
        *("report-names-missing", "report-omits", "report-agrees", "report-of-other-day"),
        *("track-silent", "track-dead", "track-late", "zero-tail", "clipped", "not-numbers"),
        "above-full-scale",
        "sound-unmeasured",
    }
)
# About copies, reads and the inventory.
FIRM = frozenset(
    {
        *("copies-short", "copy-altered", "copy-lost", "copy-unreadable", "read-back-not-provable"),
        *("not-durable", "name-differs", "destination-lacks", "destination-absent"),
        *("manifest-not-published", "manifest-found-again", "manifest-of-others"),
        *("nothing-seen", "primary-not-seen", "backup-not-seen", "backup-on-same-disk"),
        *("inventory-incomplete", "card-not-listed", "listing-incomplete"),
        "source-absent",
        *("entry-skipped", "litter", "litter-holds-audio", "file-vanished", "still-written"),
        *("unconfirmed", "reads-differ", "first-read-wrong", "second-read-not-provable"),
        *("not-described", "version-lost", "backup-unread", "other-production", "unreadable"),
        *("salvage-left", "backup-uncompared"),
    }
)
TAKES = '"hold", "look" or "note"'


def severity(code: str, value: object) -> Severity:
    """The severity that the config gives a code. Raises Refused."""
    if code not in FREE | FIRM:
        from difflib import get_close_matches  # noqa: PLC0415 - slow to import, rarely needed

        near = get_close_matches(code[:64], sorted(FREE | FIRM), 1)
        hint = f"unknown code: the nearest known one is {near[0]}" if near else "no such code"
        raise Refused(hint)
    if not isinstance(value, str) or value not in list(Severity):
        raise Refused
    asked = Severity(value)
    if code in FIRM and asked is not Severity.HOLD:
        raise Refused("it tells whether all is there and proven, and can be made graver only")
    return asked


def takes(code: str) -> str:
    """What a code takes, in words."""
    return '"hold"' if code in FIRM else TAKES
