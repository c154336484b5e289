"""The catalogue in SQLite: ports/catalogue.Catalogue, one table for each kind of fact.

A connection belongs to the thread that opened it. Any number of processes may have one: a write
waits for the others, at most 10 s.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from typing import TypeVar

from takehold.adapters import (
    catalogue_asleep,
    catalogue_file,
    catalogue_rows,
    catalogue_told,
    together,
)
from takehold.adapters.catalogue_file import CatalogueDamaged, check_can_lock, move_aside
from takehold.model.errors import TakeholdError
from takehold.model.facts import Answered, Asked, ChannelBlocks, Fact
from takehold.model.outline import Asleep
from takehold.model.recording import Trace

T = TypeVar("T")

__all__ = ["CatalogueDamaged", "SqliteCatalogue", "check_can_lock", "move_aside"]


class SqliteCatalogue:
    """Every method raises WorldError, VolumeFull or CatalogueDamaged; nothing is half kept.

    `damaged` says that not all of it could be told: whoever opens it next puts it aside.
    """

    def __init__(self, db: sqlite3.Connection, path: str) -> None:
        self._db = db
        self._path = path
        self.damaged = False
        self._file = catalogue_file.which(path)

    @classmethod
    def open(cls, path: str) -> SqliteCatalogue:
        """Open it, made if it is not there; UsageError if it is a newer program's, or no ours."""
        db = catalogue_file.open_to_write(path, catalogue_file.migrations())
        catalogue_file.check_noted(db, path)
        return cls(db, path)

    @classmethod
    def open_to_read(cls, path: str) -> SqliteCatalogue:
        """Open it to look at; FileMissing if it is not there, UsageError as `open`."""
        return cls(catalogue_file.open_to_read(path, catalogue_file.newest_form()), path)

    @classmethod
    def open_to_ask(cls, path: str) -> SqliteCatalogue:
        """Open it beside the daemon that works with it, to store a command; as `open_to_read`."""
        return cls(catalogue_file.open_to_ask(path, catalogue_file.newest_form()), path)

    def is_aside(self) -> bool:
        """Whether another file lies where it was opened: it was damaged, and put aside."""
        return catalogue_file.which(self._path) != self._file

    def close(self) -> None:
        """Close it; it cannot be used afterwards."""
        self._db.close()

    def facts(self, day: str | None = None, *, around: bool = False) -> Iterator[Fact]:
        """Everything known, as of one moment, in an order that folds into a Ledger.

        With a day, of recordings only those on the cards of it: all that its verdict rests on, but
        for what other days may explain (cli/view); `around` takes in those whose cards may answer
        what it leaves open.
        """
        return iter(self._read(lambda: catalogue_told.everything(self._db, day, around=around)))

    def but_files(self) -> Iterator[Fact]:
        """What `facts` tells, but for recordings and copies."""
        return iter(self._read(lambda: catalogue_told.but_files(self._db)))

    def sleepers(self) -> Iterator[Asleep]:
        """The rest of it, day by day in outline; `of_day` tells each whole."""
        return iter(self._read(lambda: catalogue_asleep.sleepers(self._db)))

    def of_day(self, day: str) -> list[Fact]:
        """The recordings of a day and their copies."""
        return self._read(lambda: catalogue_asleep.of_day(self._db, day))

    def traces(self, load: int) -> list[Trace]:
        """What tells the recordings of a load on its card again, in the order they were met."""
        return self._read(lambda: catalogue_asleep.traces(self._db, load))

    def _read(self, rows: Callable[[], Iterator[T]]) -> list[T]:
        """What cannot be read is noted: who opens it next finds it damaged, and reads not all.

        The error is a new one: the old holds what was read half, and with it a lock.
        """
        try:
            return self._told(rows)
        except CatalogueDamaged as error:
            says, do = error.says, error.do
        self.damaged = True
        with suppress(TakeholdError):
            catalogue_file.note_damage(self._path, says)
        raise CatalogueDamaged(says, do)

    def _told(self, rows: Callable[[], Iterator[T]]) -> list[T]:
        with catalogue_file.transaction(self._db, self._path, "DEFERRED"):
            try:
                return list(rows())
            except (ValueError, TypeError, LookupError) as error:
                raise CatalogueDamaged(
                    f"The catalogue {self._path} holds a row that cannot be read ({error!s:.80})."
                    " The copies on the drives are not touched.",
                    catalogue_file.ANEW,
                ) from error

    def days(self) -> frozenset[str]:
        """The days that any file is of, or on which a card first came that may hold more."""
        with catalogue_file.transaction(self._db, self._path, "DEFERRED"):
            return catalogue_told.days(self._db)

    def record(self, facts: Sequence[Fact]) -> None:
        """Keep all of them or none; on return they survive a power cut."""
        if not facts:
            return
        with together.for_a_while(), catalogue_file.transaction(self._db, self._path):
            for fact in facts:
                catalogue_rows.write(self._db, fact)

    def asked(self) -> tuple[Asked, ...]:
        """Stored commands that are not answered yet, oldest first."""
        sql = "SELECT * FROM request WHERE id NOT IN (SELECT id FROM answer) ORDER BY id"
        with catalogue_file.transaction(self._db, self._path, "DEFERRED"):
            return tuple(Asked(*row) for row in self._db.execute(sql))

    def ask(self, kind: str, about: str, at: int) -> int:
        """Store a person's command for whoever does the work; its number."""
        row: catalogue_rows.Row = {"kind": kind, "about": about, "at": at}
        with catalogue_file.transaction(self._db, self._path):
            catalogue_rows.put(self._db, "request", row)
            number: int = self._db.execute("SELECT last_insert_rowid()").fetchone()[0]
        return number

    def answer_of(self, number: int) -> Answered | None:
        """The answer to a stored command; None while there is none."""
        with catalogue_file.transaction(self._db, self._path, "DEFERRED"):
            row = self._db.execute("SELECT * FROM answer WHERE id = ?", (number,)).fetchone()
        return Answered(*row) if row else None

    def channel_blocks(self, recording: int) -> ChannelBlocks | None:
        """The blocks of a recording's channels, None where they were not kept."""
        with catalogue_file.transaction(self._db, self._path, "DEFERRED"):
            return catalogue_rows.channel_blocks(self._db, recording)

    def folder_identity(self, destination: str) -> str | None:
        """The identity recorded for a destination or source that is a folder."""
        sql = "SELECT identity FROM folder WHERE destination = ?"
        with catalogue_file.transaction(self._db, self._path, "DEFERRED"):
            row = self._db.execute(sql, (destination,)).fetchone()
        return str(row[0]) if row else None

    def know_folder(self, destination: str, identity: str) -> None:
        """Record it, durable on return."""
        with catalogue_file.transaction(self._db, self._path):
            row: catalogue_rows.Row = {"destination": destination, "identity": identity}
            catalogue_rows.put(self._db, "folder", row, "destination")
