"""Rows -> facts: how the tables say again what was recorded."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from functools import lru_cache
from sys import intern
from typing import Any

from takehold.adapters import plain
from takehold.adapters.catalogue_day import OPEN, conditions
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.recording import Copy, Digests, Load, Proof, Reading, Recording, Seen, Stamp
from takehold.model.settings import Role
from takehold.model.sound import Coding, Description, Sound

_COPY_COLUMNS = (
    "recording, destination, root, disks, path, at, seen, durable, mtime, written_on, remounted"
)
# From each day to the next one in the index (schema/0006): not a look at each recording. The day on
# which a card first came, while nobody knows all that is on it: it may be of that day.
DAYS = f"""WITH RECURSIVE known(day) AS (
        SELECT min(day) FROM recording
        UNION ALL SELECT (SELECT min(day) FROM recording WHERE day > known.day) FROM known
        WHERE known.day IS NOT NULL
    )
    SELECT day FROM known
    WHERE EXISTS (SELECT 1 FROM recording WHERE recording.day = known.day AND NOT gone)
    UNION SELECT day FROM load LEFT JOIN listing ON listing.load = load.id
        WHERE listing.load IS NULL OR {OPEN}"""  # noqa: S608  # own names only
_SEEN = {seen.value: seen for seen in Seen}
_CODINGS = {coding.value: coding for coding in Coding}


def everything(
    db: sqlite3.Connection, day: str | None = None, *, around: bool = False
) -> Iterator[f.Fact]:
    """All that is known, in an order that folds: what others refer to comes first.

    With a day, of recordings only those that may say something of it (adapters/catalogue_day).
    """
    yield from _cards(db)
    of_load, of_file = conditions(day, around=around)
    yield from files(db, of_load, of_file, day)
    yield from _beside(db, of_file, day)


def but_files(db: sqlite3.Connection) -> Iterator[f.Fact]:
    """All that is known but for recordings and copies, in an order that folds.

    One that is gone is told, whose id is not to be given again.
    """
    yield from _cards(db)
    yield from files(db, "WHERE gone", "WHERE recording IN (SELECT id FROM recording WHERE gone)")
    yield from (f.Broken(*tuple(row)[1:]) for row in _rows(db, "broken"))
    yield from _beside(db, "", None)


def _cards(db: sqlite3.Connection) -> Iterator[f.Fact]:
    yield from (f.LoadSeen(_load(row)) for row in _rows(db, "load"))
    yield from (_listed(row) for row in _rows(db, "listing", "load"))


def files(
    db: sqlite3.Connection, which: str, of_it: str, day: str | None = None
) -> Iterator[f.Fact]:
    """Recordings and copies: `which`, and in other tables `of_it`, are conditions in SQL."""
    readings: dict[int, list[Reading]] = defaultdict(list)
    for row in _rows(db, "reading", where=of_it, day=day):
        readings[row["recording"]].append(_reading(row))
    places: dict[bytes, bytes] = {}
    described = lru_cache(plain.SHARED)(
        _description
    )  # a backup's files say the same; kept no longer
    for row in _rows(db, "recording", where=which, day=day):
        readings_of_it = tuple(readings.pop(row["id"], ()))
        recording = _recording(row, described(row["description"]), readings_of_it)
        places[recording.place] = recording.place
        yield f.Inventoried(recording)
        if row["gone"]:
            yield f.Gone(row["id"])
    yield from (f.Broken(*tuple(r)[1:]) for r in _rows(db, "broken", where=of_it, day=day))
    yield from map(f.Proven, _copies(db, places, of_it, day))


def _beside(db: sqlite3.Connection, of_file: str, day: str | None) -> Iterator[f.Fact]:
    for row in _rows(db, "comparison"):
        yield f.Compared(plain.loads(Comparison, row["said"]))
    yield from (_salvaged(row) for row in _rows(db, "salvaged", where=of_file, day=day))
    yield from _of_no_file(db)


def _of_no_file(db: sqlite3.Connection) -> Iterator[f.Fact]:
    yield from (f.Revised(*tuple(row)[1:]) for row in _rows(db, "revision"))
    yield from (f.Published(*tuple(row)[1:]) for row in _rows(db, "published"))
    yield from (f.Weighed(*row) for row in _rows(db, "weighed", "day"))
    yield from (_met(row) for row in _rows(db, "met"))
    yield from (f.Trouble(*tuple(row)[1:]) for row in _rows(db, "trouble"))
    yield from (f.Acked(*tuple(row)[1:]) for row in _rows(db, "ack"))
    yield from (_receipt(row) for row in _rows(db, "receipt"))
    yield from (f.Asked(*row) for row in _rows(db, "request"))
    yield from (f.Answered(*row) for row in _rows(db, "answer"))


def days(db: sqlite3.Connection) -> frozenset[str]:
    """The days that any file is of, or on which a card first came that may hold more."""
    return frozenset(row[0] for row in db.execute(DAYS))


def _rows(
    db: sqlite3.Connection | sqlite3.Cursor,
    table: str,
    order: str = "id",
    where: str = "",
    day: str | None = None,
    columns: str = "*",
) -> Iterator[Any]:
    sql = f"SELECT {columns} FROM {table} {where} ORDER BY {order}"  # noqa: S608  # own names only
    return iter(db.execute(sql, {"day": day} if day is not None else {}))


def _load(row: sqlite3.Row) -> Load:
    return Load(
        id=row["id"],
        source=row["source"],
        role=Role(row["role"]),
        identity=row["identity"],
        label=row["label"],
        folder=row["folder"],
        disks=_disks(row["disks"]),
        seen_at=row["seen_at"],
        day=row["day"],
    )


def _listed(row: sqlite3.Row) -> f.Listed:
    return f.Listed(
        load=row["load"],
        at=row["at"],
        files=row["files"],
        litter=plain.loads(tuple[tuple[str, int], ...], row["litter"]),
        skipped=plain.loads(tuple[f.Skip, ...], row["skipped"]),
        untaken=row["untaken"],
        since=plain.loads(tuple[f.Since, ...], row["since"]),
    )


def _recording(
    row: sqlite3.Row, description: Description, readings: tuple[Reading, ...]
) -> Recording:
    return Recording(
        id=row["id"],
        load=row["load"],
        path=row["path"],
        stamp=plain.loads(Stamp, row["stamp"]),
        seen_at=row["seen_at"],
        day=intern(row["day"]),
        place=row["place"],
        version=row["version"],
        description=description,
        readings=readings,
    )


def _reading(row: sqlite3.Row) -> Reading:
    sound = None
    if row["frames"] is not None:
        sound = Sound(
            row["frames"],
            row["digest"],
            row["blocks"],
            row["block_frames"],
            _CODINGS[row["coding"]] if row["coding"] else None,
            row["levels"],
        )
    return Reading(Digests(row["xxh64"], row["sha256"]), sound, row["at"], _SEEN[row["seen"]])


def _copies(
    db: sqlite3.Connection, places: dict[bytes, bytes], where: str, day: str | None
) -> Iterator[Copy]:
    """`places` are paths that are in memory already: most copies stand at one of them.

    Of every file there are several: they are read by place in the row, which is quick.
    """
    cursor = db.cursor()
    cursor.row_factory = None
    for row in _rows(cursor, "copy", where=where, day=day, columns=_COPY_COLUMNS):
        recording, destination, root, disks, path, at, seen, durable, mtime, on, remounted = row
        proof = Proof(at, _SEEN[seen], bool(durable), int(mtime), intern(on), bool(remounted))
        stands = intern(destination), intern(root), _disks(disks), places.setdefault(path, path)
        yield Copy(recording, *stands, proof)


def _salvaged(row: sqlite3.Row) -> f.Salvaged:
    return f.Salvaged(
        recording=row["recording"],
        appearance=row["appearance"],
        missing=plain.loads(tuple[tuple[int, int], ...], row["missing"]),
        kept=plain.loads(tuple[tuple[str, str, bytes], ...], row["kept"]),
        at=row["at"],
    )


def _met(row: sqlite3.Row) -> f.Met:
    told: dict[str, Any] = {name: row[name] for name in f.Met._fields}
    return f.Met(**{**told, "ours": bool(row["ours"]), "loose": bool(row["loose"])})


def _receipt(row: sqlite3.Row) -> f.Receipt:
    told: dict[str, Any] = {name: row[name] for name in f.Receipt._fields}
    for name in ("altered", "missing", "unknown"):
        told[name] = plain.loads(tuple[str, ...], row[name])
    return f.Receipt(**{**told, "confirmed": bool(row["confirmed"])})


def _description(text: str) -> Description:
    return plain.loads(Description, text)


@lru_cache(plain.SHARED)
def _disks(text: str) -> frozenset[str]:
    return plain.loads(frozenset[str], text)
