"""The catalogue's file: opened, checked, brought to the newest form, moved aside when damaged.

Its settings follow SQLite's own pages "How To Corrupt An SQLite Database File" and "PRAGMA
Statements": a rollback journal (older SQLite can lose a WAL with two connections), every flush
asked for, no memory map.
"""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress

from takehold.adapters.catalogue_rows import read_text
from takehold.model.errors import FileMissing, TakeholdError, UsageError, VolumeFull, WorldError

APPLICATION_ID = 0x54_4B_48_44  # "TKHD"
WAIT_SECONDS = 10
_SETTINGS = (
    f"PRAGMA busy_timeout = {WAIT_SECONDS * 1000}",  # first: the others may have to wait
    "PRAGMA foreign_keys = ON",
    "PRAGMA trusted_schema = OFF",
    "PRAGMA cell_size_check = ON",
    "PRAGMA mmap_size = 0",
    "PRAGMA synchronous = EXTRA",
    "PRAGMA fullfsync = ON",
    "PRAGMA checkpoint_fullfsync = ON",
)
_SCHEMA = os.path.join(os.path.dirname(__file__), "schema")
ANEW = (
    "Run: takehold once. It moves it aside and makes a new one from the signed manifests. Where"
    " takehold runs already, end it and start it again: that does the same."
)
_CANNOT_LOCK = ("nfs", "cifs", "smb", "fuse", "exfat", "vfat", "msdos")


class CatalogueDamaged(TakeholdError):
    """The catalogue cannot be trusted; what it knew can be proven again from cards and drives."""

    code = "catalogue-damaged"


def check_can_lock(kind: str, folder: str) -> None:
    """UsageError if a catalogue in that folder would be at risk; `kind` as in Volume.kind."""
    if kind.startswith(_CANNOT_LOCK):
        raise UsageError(
            f"The catalogue cannot be kept in {folder}: its file system ({kind}) does not lock and"
            " flush files dependably.",
            "Keep takehold's state folder on the internal disk.",
        )


def migrations() -> tuple[str, ...]:
    """The SQL scripts in order; the first makes form 1."""
    return tuple(map(_script, _scripts()))


def newest_form() -> int:
    """The form that they make."""
    return len(_scripts())


def _scripts() -> list[str]:
    return sorted(name for name in os.listdir(_SCHEMA) if name.endswith(".sql"))


def _script(name: str) -> str:
    with open(os.path.join(_SCHEMA, name), encoding="utf-8") as file:
        return file.read()


def open_to_write(path: str, scripts: Sequence[str]) -> sqlite3.Connection:
    """The catalogue, made if it is not there, checked and in its newest form.

    Raises CatalogueDamaged, UsageError for a newer or foreign file, WorldError, VolumeFull.
    """
    with _errors_said(path):
        _make(path)
        db = _connect(path, "rw")
        with _closed_on_error(db):
            db.execute("PRAGMA journal_mode = TRUNCATE")
            _check(db, path)
            _bring_up(db, path, scripts)
        return db


def which(path: str) -> tuple[int, int] | None:
    """Which file lies there, by device and number; None if none does."""
    try:
        there = os.stat(path)
    except OSError:
        return None
    return there.st_dev, there.st_ino


def check_noted(db: sqlite3.Connection, path: str) -> None:
    """Close it and raise CatalogueDamaged if damage was noted in it."""
    with _errors_said(path), _closed_on_error(db):
        noted = db.execute("SELECT found FROM damage").fetchone()
        if noted is not None:
            raise CatalogueDamaged(noted[0], ANEW)


def note_damage(path: str, found: str) -> None:
    """For who opens it to write next, by a connection of its own: who only looks may find it."""
    with closing(open_to_ask(path, newest_form())) as db, transaction(db, path):
        db.execute("INSERT INTO damage VALUES (?)", (found,))


def open_to_read(path: str, newest: int) -> sqlite3.Connection:
    """The catalogue as it stands, never made, never changed. Raises as `open_to_write` does.

    A writer that was killed may have left a journal that must be rolled back first, which takes
    the right to write: then it is opened for writing after all.
    """
    if not os.path.exists(path):
        raise _missing(path)
    with _errors_said(path):
        try:
            return _current(path, "ro", newest)
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF not in (
                sqlite3.SQLITE_READONLY,
                sqlite3.SQLITE_CANTOPEN,
            ):
                raise
            return _current(path, "rw", newest)


def open_to_ask(path: str, newest: int) -> sqlite3.Connection:
    """The catalogue that a running daemon checked when it began: to look into it all takes long.

    Raises as `open_to_read` does.
    """
    with _errors_said(path):
        db = _current(path, "rw", newest)
        with _closed_on_error(db):
            db.execute("PRAGMA journal_mode = TRUNCATE")
        return db


def move_aside(path: str) -> str:
    """Give a damaged catalogue, and its journal, a name that is free; the new name."""
    new = next(n for n in _aside(path) if not os.path.lexists(n))
    with _errors_said(path):
        if os.path.exists(path + "-journal"):
            os.rename(path + "-journal", new + "-journal")
        os.rename(path, new)
    return new


@contextmanager
def transaction(db: sqlite3.Connection, path: str, kind: str = "IMMEDIATE") -> Iterator[None]:
    """All or nothing; foreseeable faults become errors with a sentence."""
    with _errors_said(path):
        try:
            db.execute(f"BEGIN {kind}")
            yield
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                with suppress(sqlite3.Error):  # the journal undoes it at the next opening
                    db.execute("ROLLBACK")
            raise


def _connect(path: str, mode: str) -> sqlite3.Connection:
    address = f"{_address(path)}?mode={mode}"
    db = sqlite3.connect(address, timeout=WAIT_SECONDS, isolation_level=None, uri=True)
    db.row_factory = sqlite3.Row
    db.text_factory = read_text
    with _closed_on_error(db):
        for setting in _SETTINGS:
            db.execute(setting)
    return db


def _address(path: str) -> str:
    """A path as SQLite reads it in a URI ("Uniform Resource Identifiers", section 3.1)."""
    whole = os.path.abspath(path).replace("%", "%25").replace("?", "%3f").replace("#", "%23")
    if os.name == "nt":
        whole = whole.replace("\\", "/")
        whole = whole if whole.startswith("/") else f"/{whole}"
    return f"file://{whole}"


def _current(path: str, mode: str, newest: int) -> sqlite3.Connection:
    """Open what is in its newest form already."""
    db = _connect(path, mode)
    with _closed_on_error(db):
        version = _version(db, path, newest)
        if version == 0:  # its making was broken off before anything was kept
            raise _missing(path)
        if version < newest:
            raise UsageError(
                f"The catalogue {path} is in the form of an older takehold.",
                "Run `takehold once` or `takehold run`: it is brought up to date then.",
            )
    return db


def _missing(path: str) -> FileMissing:
    says = f"There is no catalogue at {path}."
    return FileMissing(says, "Run `takehold once` or `takehold run` first.")


@contextmanager
def _closed_on_error(db: sqlite3.Connection) -> Iterator[None]:
    try:
        yield
    except BaseException:
        db.close()
        raise


def _make(path: str) -> None:
    """An empty file that only its owner reads, where there is none yet.

    SQLite would open a file that takes no writes, and complain at the first one only. It is not
    opened here to find out: closing it would drop the locks of another connection.
    """
    os.makedirs(os.path.dirname(path) or ".", mode=0o700, exist_ok=True)
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    if not os.access(path, os.W_OK):
        raise PermissionError(errno.EACCES, "it takes no writes")


def _check(db: sqlite3.Connection, path: str) -> None:
    found = [row[0] for row in db.execute("PRAGMA quick_check(1)")]
    if found != ["ok"]:
        raise _damaged(path, " ".join(found[0].split()) if found else "no answer")


def _version(db: sqlite3.Connection, path: str, newest: int) -> int:
    """The form of the file: 0 for an empty one."""
    version: int = db.execute("PRAGMA user_version").fetchone()[0]
    owner: int = db.execute("PRAGMA application_id").fetchone()[0]
    tables: int = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if owner != APPLICATION_ID and (owner or version or tables):
        raise UsageError(
            f"{path} is a database, and not a catalogue of takehold.",
            "Give takehold a state folder of its own.",
        )
    if version > newest:
        raise UsageError(
            f"The catalogue {path} was written by a newer takehold (form {version}, this one"
            f" knows {newest}). Nothing was changed.",
            "Run the newer takehold, or give this one another state folder.",
        )
    return version


def _bring_up(db: sqlite3.Connection, path: str, scripts: Sequence[str]) -> None:
    version = _version(db, path, len(scripts))
    if 0 < version < len(scripts):
        backup = f"{path}.form-{version}"
        with suppress(FileNotFoundError):
            os.unlink(backup)  # an earlier try of this very step was broken off
        db.execute("VACUUM INTO ?", (backup,))
    with transaction(db, path):  # one for all: what is broken off leaves no form in between
        missing = scripts[_version(db, path, len(scripts)) :]
        for script in missing:
            _run(db, script)
        if missing:
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            db.execute(f"PRAGMA user_version = {len(scripts)}")


def _run(db: sqlite3.Connection, script: str) -> None:
    """Statement by statement: `executescript` would end the transaction first."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if not sqlite3.complete_statement(statement):
            continue
        try:
            db.execute(statement)
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode == sqlite3.SQLITE_ERROR:
                raise RuntimeError(f"the catalogue's script is wrong: {error}") from error
            raise
        statement = ""


def _aside(path: str) -> Iterator[str]:
    yield path + ".damaged"
    yield from (f"{path}.damaged-{n}" for n in range(2, 10_000))


@contextmanager
def _errors_said(path: str) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        said = _said(error, path)
        if said is None:
            raise
        raise said from error
    except UnicodeDecodeError as error:
        raise _damaged(path, "a text in it is none") from error
    except OSError as error:
        raise WorldError(
            f"The catalogue {path} cannot be used: {error.strerror}.",
            "Look at takehold's state folder: who owns it, and whether its disk has room.",
        ) from error


def _said(error: sqlite3.Error, path: str) -> TakeholdError | None:
    """The error in a sentence; None for a fault of our own."""
    match getattr(error, "sqlite_errorcode", 0) & 0xFF:
        case sqlite3.SQLITE_CORRUPT | sqlite3.SQLITE_NOTADB | sqlite3.SQLITE_ERROR:
            # ERROR: our own statements do not fit the tables, so the tables are not as we made them
            return _damaged(path, str(error))
        case sqlite3.SQLITE_FULL:
            return VolumeFull(
                f"No room is left on the disk of the catalogue {path}. What was already recorded is"
                " safe.",
                "Make room on that disk; the work goes on by itself.",
            )
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return WorldError(
                f"The catalogue {path} was in use by another program for {WAIT_SECONDS} seconds."
                " Nothing was changed.",
                "Try again.",
                code="catalogue-busy",
            )
        case (
            sqlite3.SQLITE_IOERR
            | sqlite3.SQLITE_READONLY
            | sqlite3.SQLITE_CANTOPEN
            | sqlite3.SQLITE_PERM
        ):
            return WorldError(
                f"The catalogue {path} cannot be read or written: {error}. What was already"
                " recorded is safe.",
                "Look at takehold's state folder: who owns it, and whether its disk is well.",
            )
        case _:
            return None


def _damaged(path: str, found: str) -> CatalogueDamaged:
    return CatalogueDamaged(
        f"The catalogue {path} is damaged ({found}). The copies on the drives are not touched.",
        ANEW,
    )
