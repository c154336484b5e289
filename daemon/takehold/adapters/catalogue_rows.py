"""Facts -> rows: how each kind of fact changes the tables; catalogue_told says it again."""

from __future__ import annotations

import sqlite3
from functools import lru_cache

from takehold.adapters import plain
from takehold.model import facts as f
from takehold.model.recording import Copy, Load, Reading, Recording
from takehold.model.sound import Sound

Value = str | bytes | int | None
Row = dict[str, Value]


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


def put(db: sqlite3.Connection, table: str, row: Row, key: str = "") -> None:
    """Insert a row; where `key` names its columns, replace what stands under the same key.

    Text goes in as bytes and is cast: names that reached us through the system's own decoding hold
    surrogates, which the binding of text refuses.
    """
    texts = tuple([isinstance(v, str) for v in row.values()])
    values = [_text(v) if isinstance(v, str) else v for v in row.values()]
    db.execute(_put_sql(table, tuple(row), texts, key), values)


@lru_cache(plain.SHARED)
def _put_sql(table: str, names: tuple[str, ...], texts: tuple[bool, ...], key: str) -> str:
    marks = ("CAST(? AS TEXT)" if text else "?" for text in texts)
    sql = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join(marks)})"  # noqa: S608  # own names only
    if key:
        changed = ", ".join(f"{n} = excluded.{n}" for n in names if n not in key.split(", "))
        sql += f" ON CONFLICT ({key}) DO UPDATE SET {changed}"
    return sql


def _text(value: str) -> bytes:
    return value.encode("utf-8", "surrogatepass")


def read_text(raw: bytes) -> str:
    """The connection's text factory: the inverse of how text is bound."""
    return raw.decode("utf-8", "surrogatepass")


def _same_names(fact: f.Fact) -> Row:
    """The row of a fact whose columns are named as its fields; tuples become JSON."""
    row: Row = {}
    for name in fact._fields:
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
