"""Of which recordings the catalogue tells when one day is asked for: conditions in SQL."""

from __future__ import annotations

# Listings with something that only the card can tell. What is gone from it is the one reason with a
# g (decide/listing).
OPEN = """untaken OR skipped GLOB '*"why":"[^g]*'"""
# A transmitter's file of the evening before may reach into the day. Whether a person has decided
# on a trouble is seen by the reads of its file, whatever its day; and whether what is not known of
# a watch folder may be of the day, by all that is known of it (decide/check_cards).
_OF_DAY = f"""SELECT load FROM recording WHERE day = :day
    UNION SELECT id FROM load WHERE day = :day
    UNION SELECT load.id FROM load JOIN recording ON recording.load = load.id
        WHERE load.role = 'bodypack' AND recording.day = date(:day, '-1 day')
    UNION SELECT load FROM recording WHERE id IN (
        SELECT CAST(substr(key, 5) AS INTEGER) FROM trouble WHERE key LIKE 'rec %'
    )
    UNION SELECT load FROM listing WHERE {OPEN}
    UNION SELECT CAST(substr(key, 6) AS INTEGER) FROM trouble WHERE key LIKE 'load %'"""  # noqa: S608  # own names only
# The days whose backup cards may answer the day's recordings, or the reverse (decide/astray): two
# to either side of it, and of each day of the cards that came in with its own.
_AROUND = """WITH near(day) AS (
        SELECT :day UNION SELECT recording.day FROM recording JOIN load ON recording.load = load.id
        WHERE load.day IN (
            SELECT load.day FROM load JOIN recording ON recording.load = load.id
            WHERE recording.day = :day
        )
    )
    SELECT load FROM recording JOIN near
        ON recording.day BETWEEN date(near.day, '-2 days') AND date(near.day, '+2 days')"""


def conditions(day: str | None, *, around: bool) -> tuple[str, str]:
    """Which recordings are told, and of which recordings other tables tell; "" for all of them.

    With a day, those of the loads that hold any of it, or first came then, or may say something of
    it; with `around`, also of the days that its files may be answered on. `:day` is to be bound.
    """
    if day is None:
        return "", ""
    loads = f"WHERE load IN ({_AROUND} UNION {_OF_DAY})" if around else f"WHERE load IN ({_OF_DAY})"
    return loads, f"WHERE recording IN (SELECT id FROM recording {loads})"  # noqa: S608  # own names only
