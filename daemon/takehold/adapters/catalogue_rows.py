"""Facts <-> rows: how each kind of fact changes the tables, and how the tables say it again."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from functools import lru_cache
from sys import intern
from typing import Any

from takehold.adapters import plain
from takehold.adapters.catalogue_day import conditions
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.recording import Copy, Digests, Load, Proof, Reading, Recording, Seen, Stamp
from takehold.model.settings import Role
from takehold.model.sound import Coding, Description, Sound

Value = str | bytes | int | None
Row = dict[str, Value]
_COPY_COLUMNS = (
    "recording, destination, root, disks, path, at, seen, durable, mtime, written_on, remounted"
)
_SEEN = {seen.value: seen for seen in Seen}


def write(db: sqlite3.Connection, fact: f.Fact) -> None:
    """Change the tables as one fact says. Called inside a transaction."""
    match fact:
        case f.LoadSeen(load):
            put(db, "load", _load_row(load), "id")
        case f.Listed():
            put(db, "listing", _same_names(fact), "load")
        case f.Inventoried(recording):
            put(db, "recording", _recording_row(recording), "id")
            db.execute("DELETE FROM reading WHERE recording = ?", (recording.id,))
            for reading in recording.readings:
                put(db, "reading", _reading_row(recording.id, reading))
        case f.WasRead(recording=rid, reading=reading):
            put(db, "reading", _reading_row(rid, reading))
        case f.SameBytes(recording=rid, stamp=stamp):
            db.execute("UPDATE recording SET stamp = ? WHERE id = ?", (plain.dumps(stamp), rid))
        case f.Gone(recording=rid):
            db.execute("UPDATE recording SET gone = 1 WHERE id = ?", (rid,))
            db.execute("DELETE FROM salvaged WHERE recording = ?", (rid,))
            db.execute("DELETE FROM recording WHERE gone AND id < (SELECT max(id) FROM recording)")
        case f.Proven(copy):
            put(db, "copy", _copy_row(copy), "recording, root, path")
        case f.Broken():
            where = (fact.recording, _text(fact.root), fact.path)
            db.execute(
                "DELETE FROM copy WHERE recording = ? AND root = CAST(? AS TEXT) AND path = ?",
                where,
            )
            put(db, "broken", _same_names(fact))
        case _:
            _write_rest(db, fact)


def _write_rest(db: sqlite3.Connection, fact: f.Fact) -> None:
    match fact:
        case f.WasMeasured():
            _write_measure(db, fact)
        case f.ChannelBlocks():
            put(db, "channel_blocks", _channel_blocks_row(fact), "recording")
        case f.Compared(comparison):
            sides = plain.dumps((comparison.ours, comparison.theirs))
            put(db, "comparison", {"sides": sides, "said": plain.dumps(comparison)}, "sides")
        case f.Salvaged() | f.Revised():
            put(db, "salvaged" if isinstance(fact, f.Salvaged) else "revision", _same_names(fact))
        case f.Published():
            put(db, "published", _same_names(fact), "day, number, root")
        case f.Unpublished():
            gone = (_text(fact.day), fact.number, _text(fact.root))
            where = "day = CAST(? AS TEXT) AND number = ? AND root = CAST(? AS TEXT)"
            db.execute(f"DELETE FROM published WHERE {where}", gone)  # noqa: S608 - own names only
        case f.Met():
            put(db, "met", _same_names(fact), "day, number, root")
        case f.Trouble():
            put(db, "trouble", _same_names(fact), "key")
        case f.TroubleOver(key=key):
            db.execute("DELETE FROM trouble WHERE key = CAST(? AS TEXT)", (_text(key),))
        case _:
            _write_answer(db, fact)


def _write_measure(db: sqlite3.Connection, fact: f.WasMeasured) -> None:
    """The audio belongs to the first read of a recording."""
    said = _text(plain.dumps(fact.description)), fact.recording
    db.execute("UPDATE recording SET description = CAST(? AS TEXT) WHERE id = ?", said)
    row = _sound_row(fact.sound)
    changed = ", ".join(f"{name} = ?" for name in row)
    first = "SELECT min(id) FROM reading WHERE recording = ?"
    sql = f"UPDATE reading SET {changed} WHERE id = ({first})"  # noqa: S608  # own names only
    db.execute(sql, (*row.values(), fact.recording))


def _write_answer(db: sqlite3.Connection, fact: f.Fact) -> None:
    match fact:
        case f.Weighed():
            put(db, "weighed", _same_names(fact), "day")
        case f.Acked():
            put(db, "ack", _same_names(fact), "finding")
        case f.Receipt():
            put(db, "receipt", _same_names(fact))
        case f.Asked():
            put(db, "request", _same_names(fact), "id")
        case f.Answered():
            put(db, "answer", _same_names(fact), "id")


def everything(
    db: sqlite3.Connection, day: str | None = None, *, around: bool = False
) -> Iterator[f.Fact]:
    """All that is known, in an order that folds: what others refer to comes first.

    With a day, of recordings only those that may say something of it (adapters/catalogue_day).
    """
    of_load, of_file = conditions(day, around=around)
    yield from (f.LoadSeen(_load(row)) for row in _rows(db, "load"))
    yield from (_listed(row) for row in _rows(db, "listing", "load"))
    readings: dict[int, list[Reading]] = defaultdict(list)
    for row in _rows(db, "reading", where=of_file, day=day):
        readings[row["recording"]].append(_reading(row))
    places: dict[bytes, bytes] = {}
    for row in _rows(db, "recording", where=of_load, day=day):
        recording = _recording(row, tuple(readings.pop(row["id"], ())))
        places[recording.place] = recording.place
        yield f.Inventoried(recording)
        if row["gone"]:
            yield f.Gone(row["id"])
    yield from (f.Broken(*tuple(r)[1:]) for r in _rows(db, "broken", where=of_file, day=day))
    yield from map(f.Proven, _copies(db, places, of_file, day))
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
    """The days that any file is of, or on which a load first came."""
    found = db.execute("SELECT day FROM recording WHERE NOT gone UNION SELECT day FROM load")
    return frozenset(row[0] for row in found)


def put(db: sqlite3.Connection, table: str, row: Row, key: str = "") -> None:
    """Insert a row; where `key` names its columns, replace what stands under the same key.

    Text goes in as bytes and is cast: names that reached us through the system's own decoding hold
    surrogates, which the binding of text refuses.
    """
    marks = ("CAST(? AS TEXT)" if isinstance(v, str) else "?" for v in row.values())
    values = tuple(_text(v) if isinstance(v, str) else v for v in row.values())
    sql = f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join(marks)})"  # noqa: S608  # own names only
    if key:
        changed = ", ".join(f"{n} = excluded.{n}" for n in row if n not in key.split(", "))
        sql += f" ON CONFLICT ({key}) DO UPDATE SET {changed}"
    db.execute(sql, values)


def _rows(
    db: sqlite3.Connection | sqlite3.Cursor,
    table: str,
    order: str = "id",
    where: str = "",
    day: str | None = None,
    columns: str = "*",
) -> Iterator[Any]:
    sql = f"SELECT {columns} FROM {table} {where} ORDER BY {order}"  # noqa: S608  # own names only
    return iter(db.execute(sql, {"day": day} if where else {}))


def _text(value: str) -> bytes:
    return value.encode("utf-8", "surrogatepass")


def read_text(raw: bytes) -> str:
    """The connection's text factory: the inverse of how text is bound."""
    return raw.decode("utf-8", "surrogatepass")


def _same_names(fact: f.Fact) -> Row:
    """The row of a fact whose columns are named as its fields; tuples become JSON."""
    row: Row = {}
    for name in fact.__slots__:
        value = getattr(fact, name)
        row[name] = plain.dumps(value) if isinstance(value, tuple) else value
    return row


def _load_row(load: Load) -> Row:
    return {
        "id": load.id,
        "source": load.source,
        "role": load.role.value,
        "identity": load.identity,
        "label": load.label,
        "folder": load.folder,
        "disks": plain.dumps(load.disks),
        "seen_at": load.seen_at,
        "day": load.day,
    }


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


def _recording_row(recording: Recording) -> Row:
    return {
        "id": recording.id,
        "load": recording.load,
        "path": recording.path,
        "stamp": plain.dumps(recording.stamp),
        "seen_at": recording.seen_at,
        "day": recording.day,
        "place": recording.place,
        "version": recording.version,
        "description": plain.dumps(recording.description),
        "gone": 0,
    }


def _recording(row: sqlite3.Row, readings: tuple[Reading, ...]) -> Recording:
    return Recording(
        id=row["id"],
        load=row["load"],
        path=row["path"],
        stamp=plain.loads(Stamp, row["stamp"]),
        seen_at=row["seen_at"],
        day=intern(row["day"]),
        place=row["place"],
        version=row["version"],
        description=_description(row["description"]),
        readings=readings,
    )


def _reading_row(recording: int, reading: Reading) -> Row:
    return {
        "recording": recording,
        "xxh64": reading.digests.xxh64,
        "sha256": reading.digests.sha256,
        "at": reading.at,
        "seen": reading.seen.value,
        **_sound_row(reading.sound),
    }


def _sound_row(sound: Sound | None) -> Row:
    return {
        "frames": sound.frames if sound else None,
        "digest": sound.digest if sound else None,
        "blocks": sound.blocks if sound else None,
        "block_frames": sound.block_frames if sound else None,
        "coding": sound.coding.value if sound and sound.coding else None,
        "levels": sound.levels if sound else b"",
    }


def _reading(row: sqlite3.Row) -> Reading:
    sound = None
    if row["frames"] is not None:
        sound = Sound(
            row["frames"],
            row["digest"],
            row["blocks"],
            row["block_frames"],
            Coding(row["coding"]) if row["coding"] else None,
            row["levels"],
        )
    return Reading(Digests(row["xxh64"], row["sha256"]), sound, row["at"], Seen(row["seen"]))


def _channel_blocks_row(fact: f.ChannelBlocks) -> Row:
    return {
        "recording": fact.recording,
        "first_sample": fact.first_sample,
        "channels": len(fact.blocks),
        "blocks": b"".join(fact.blocks),
    }


def channel_blocks(db: sqlite3.Connection, recording: int) -> f.ChannelBlocks | None:
    """The blocks kept of a recording's channels."""
    row = db.execute("SELECT * FROM channel_blocks WHERE recording = ?", (recording,)).fetchone()
    if row is None:
        return None
    step = len(row["blocks"]) // row["channels"]
    parts = (row["blocks"][n * step : (n + 1) * step] for n in range(row["channels"]))
    return f.ChannelBlocks(recording, row["first_sample"], tuple(parts))


def _copy_row(copy: Copy) -> Row:
    return {
        "recording": copy.recording,
        "destination": copy.destination,
        "root": copy.root,
        "disks": plain.dumps(copy.disks),
        "path": copy.path,
        "at": copy.proof.at,
        "seen": copy.proof.seen.value,
        "durable": int(copy.proof.durable),
        "mtime": str(copy.proof.mtime_ns),
        "written_on": copy.proof.written_on,
        "remounted": int(copy.proof.remounted),
    }


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
    told: dict[str, Any] = {name: row[name] for name in f.Met.__slots__}
    return f.Met(**{**told, "ours": bool(row["ours"]), "loose": bool(row["loose"])})


def _receipt(row: sqlite3.Row) -> f.Receipt:
    told: dict[str, Any] = {name: row[name] for name in f.Receipt.__slots__}
    for name in ("altered", "missing", "unknown"):
        told[name] = plain.loads(tuple[str, ...], row[name])
    return f.Receipt(**{**told, "confirmed": bool(row["confirmed"])})


@lru_cache(plain.SHARED)  # the backup card's files say the same as the primary's
def _description(text: str) -> Description:
    return plain.loads(Description, text)


@lru_cache(plain.SHARED)
def _disks(text: str) -> frozenset[str]:
    return plain.loads(frozenset[str], text)
