"""The names of a manifest's files, and its times as they are written."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from functools import lru_cache

MOST_REVISIONS = 999_999
LAST_SECOND = 253_402_300_799  # 9999-12-31T23:59:59Z


@lru_cache(maxsize=1024)  # the copies of a file are proven in the same seconds
def stamp(at: int) -> str:
    """RFC 3339, UTC; a file system's time may lie outside of the years that it can say."""
    within = min(max(at, 0), LAST_SECOND)
    return datetime.fromtimestamp(within, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def names_of(day: str, number: int) -> dict[str, str]:
    """The names of a revision's files in the day's folder, by what they are."""
    base = f"{day}.r{number}"
    return {
        "manifest": f"{base}.manifest.json",
        "signature": f"{base}.manifest.json.sig",
        "sha256": f"{base}.sha256",
        "xxh64": f"{base}.xxh64",
        "signers": f"{base}.signers",
    }


def number_of(day: str, name: str) -> int | None:
    """The revision that a file name in a day's folder belongs to, None if to none.

    A number over `MOST_REVISIONS` is somebody's file name, and no revision.
    """
    found = re.match(r"r([1-9][0-9]{0,5})\.", name.removeprefix(f"{day}."))
    return int(found[1]) if found and name.startswith(f"{day}.") else None
