"""Days that need not be in memory: in outline for all of them, whole for one."""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from sys import intern

from takehold.adapters import plain
from takehold.adapters.catalogue_told import files
from takehold.model import facts as f
from takehold.model.outline import Asleep, Sketch
from takehold.model.recording import Proof, Seen, Stamp, Trace
from takehold.model.slate import slated

_RECORDINGS = """SELECT id, load, day, stamp, seen_at, place, path,
    json_extract(description, '$.metadata.scene'), json_extract(description, '$.metadata.take')
    FROM recording WHERE NOT gone ORDER BY id"""
_RENEWED = "SELECT day, load, path, version FROM recording WHERE version > 1 AND NOT gone"
_COPIES = "SELECT recording, root, at, durable, written_on, remounted FROM copy"
# Two reads of one recording that gave other bytes (model/ledger.differing).
_DIFFERING = """SELECT DISTINCT one.recording FROM reading one JOIN reading other
    ON one.recording = other.recording AND one.id < other.id
    WHERE one.xxh64 <> other.xxh64 OR one.sha256 <> other.sha256"""
_TRACES = """SELECT path, stamp, EXISTS (SELECT 1 FROM reading WHERE recording = mine.id)
    FROM recording AS mine WHERE load = ? AND NOT gone ORDER BY id"""
_WHICH = "WHERE day = :day AND NOT gone"


def of_day(db: sqlite3.Connection, day: str) -> Iterator[f.Fact]:
    """The recordings of a day and their copies, with an index (schema/0006)."""
    of_it = f"WHERE recording IN (SELECT id FROM recording {_WHICH})"  # noqa: S608  # own names only
    told = files(db, _WHICH, of_it, day)
    return (fact for fact in told if not isinstance(fact, f.Broken))


def sleepers(db: sqlite3.Connection) -> Iterator[Asleep]:
    """Each day of which there are recordings, read in passing: no row of it is kept."""
    rows = db.cursor()
    rows.row_factory = None
    days: dict[int, str] = {}
    sketches: dict[str, Sketch] = defaultdict(Sketch)
    for number, load, day, stamp, seen_at, place, path, scene, take in rows.execute(_RECORDINGS):
        days[number], (slated_as, _) = intern(day), slated(scene or "", take or "", path)
        sketches[day].add(number, load, json.loads(stamp)["size"], seen_at, place, slated_as)
    for number, at in rows.execute("SELECT recording, at FROM reading"):
        if number in days:
            sketches[days[number]].note(at)
    for number, root, at, durable, *weakness in rows.execute(_COPIES):
        weak = None if durable else _weak(*weakness)
        sketches[days[number]].proven(intern(root), number, at, weak)
    differing = {number for (number,) in rows.execute(_DIFFERING)}
    renewed: dict[str, list[tuple[int, bytes, int]]] = defaultdict(list)
    for day, *version in rows.execute(_RENEWED):
        renewed[day].append(tuple(version))
    for day, sketch in sketches.items():
        mine = differing.intersection(sketch.recordings)
        yield Asleep(day, sketch.outline(), mine, tuple(renewed[day]))


def traces(db: sqlite3.Connection, load: int) -> Iterator[Trace]:
    """What tells the recordings of a load on its card again, in the order they were met."""
    rows = db.cursor()
    rows.row_factory = None
    for path, stamp, read in rows.execute(_TRACES, (load,)):
        yield Trace(path, plain.loads(Stamp, stamp), bool(read))


def _weak(written_on: str, remounted: int) -> Proof:
    return Proof(0, Seen.UNKNOWN, False, 0, intern(written_on), bool(remounted))
