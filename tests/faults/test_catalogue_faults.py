"""The catalogue under faults: killed writers, damaged pages, full disks, other programs."""

from __future__ import annotations

import contextlib
import os
import random
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from dataclasses import fields, replace
from pathlib import Path

import pytest

from loopbench import Bench
from takehold.adapters import catalogue_file
from takehold.adapters.catalogue import (
    CatalogueDamaged,
    SqliteCatalogue,
    check_can_lock,
    move_aside,
)
from takehold.model import facts as f
from takehold.model.errors import FileMissing, TakeholdError, UsageError, VolumeFull, WorldError
from takehold.model.ledger import Ledger
from takehold.model.recording import Digests, Load, Reading, Recording, Seen, Stamp
from takehold.model.settings import Role
from takehold.model.sound import Description, Kind, Sound

LOAD = Load(1, "primary", Role.PRIMARY, "uuid:1", "SND_A", b"SND_A", frozenset(), 1, "d")


def batch(number: int) -> list[f.Fact]:
    """One transaction: a load, and two facts of the same number that only make sense together."""
    path = b"%d.wav" % number
    recording = Recording(
        number, 1, path, Stamp(1, number), 1, "d", path, 1, Description(Kind.OTHER)
    )
    trouble = f.Trouble(str(number), "volume-gone", "x" * 700, "", 1, 1, 1)
    return [f.LoadSeen(LOAD), f.Inventoried(recording), trouble]


WRITE = """
import sys
sys.path.insert(0, sys.argv[3])
from test_catalogue_faults import SqliteCatalogue, batch
catalogue = SqliteCatalogue.open(sys.argv[1])
for number in range(int(sys.argv[2]), int(sys.argv[2]) + 100_000):
    catalogue.record(batch(number))
    print(number, flush=True)
"""
ASK = """
import sys
from takehold.adapters.catalogue import SqliteCatalogue
catalogue = SqliteCatalogue.open(sys.argv[1])
for number in range(150):
    print(catalogue.ask("wrap", str(number), number))
"""
SPILL = """
import os, signal, sys
sys.path.insert(0, sys.argv[3])
from test_catalogue_faults import SqliteCatalogue, batch
catalogue = SqliteCatalogue.open(sys.argv[1])
catalogue._db.execute("PRAGMA cache_size = 1")  # pages reach the file before the commit
facts = [fact for number in range(int(sys.argv[2]), 2000) for fact in batch(number)]
class Deadly(list):
    def __iter__(self):
        yield from facts
        os.kill(os.getpid(), signal.SIGKILL)
catalogue.record(Deadly([1]))
"""


def script(code: str, path: Path, first: int = 1, before: tuple[str, ...] = ()) -> list[str]:
    here = str(Path(__file__).parent)
    return [*before, sys.executable, "-c", code, str(path), str(first), here]


def environment() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])}


def ledger_of(catalogue: SqliteCatalogue) -> Ledger:
    return Ledger.of(catalogue.facts())


def check_whole(path: Path, acknowledged: list[int]) -> int:
    """Open it as a status command does, then to write: sound, whole, complete. The next number."""
    reader = SqliteCatalogue.open_to_read(str(path))
    seen = ledger_of(reader)
    reader.close()
    catalogue = SqliteCatalogue.open(str(path))
    held = ledger_of(catalogue)
    assert all(getattr(held, part.name) == getattr(seen, part.name) for part in fields(Ledger))
    assert {str(n) for n in held.recordings} == set(held.troubles)  # both facts of a batch or none
    assert set(acknowledged) <= set(held.recordings)
    assert catalogue._db.execute("PRAGMA integrity_check").fetchall()[0][0] == "ok"
    assert catalogue._db.execute("PRAGMA foreign_key_check").fetchall() == []
    catalogue.close()
    return held.next_id + 1


def test_kill_9_at_random_moments(tmp_path: Path) -> None:
    """A writer is killed again and again: every acknowledged batch is there, none is half there."""
    chance = random.Random(20310314)
    path, first, acknowledged = tmp_path / "catalogue.db", 2, []
    for _ in range(8):
        with subprocess.Popen(
            script(WRITE, path, first), stdout=subprocess.PIPE, text=True, env=environment()
        ) as writer:
            assert writer.stdout is not None
            acknowledged.append(int(writer.stdout.readline()))
            time.sleep(chance.uniform(0, 0.1))
            writer.kill()
            acknowledged += [int(line) for line in writer.stdout if line.endswith("\n")]
            writer.wait(30)
        first = check_whole(path, acknowledged)
    assert len(acknowledged) > 8


CALLS = "pwrite64,fdatasync,fsync,ftruncate"


@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed")
def test_kill_9_at_each_write_and_flush(tmp_path: Path) -> None:
    """A tracer kills the writer at the n-th write or flush, from the making of the file on."""
    for nth in [*range(1, 40, 4), *range(40, 160, 30)]:
        path = tmp_path / f"catalogue-{nth}.db"
        inject = f"inject={CALLS}:signal=SIGKILL:when={nth}"
        strace = ("strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={CALLS}", "-e", inject)
        done = subprocess.run(
            script(WRITE, path, 2, strace),
            stdout=subprocess.PIPE,
            text=True,
            env=environment(),
            timeout=60,
            check=False,
        )
        assert done.returncode in (-signal.SIGKILL, 128 + signal.SIGKILL)
        acknowledged = [int(line) for line in done.stdout.splitlines()]
        if acknowledged:
            check_whole(path, acknowledged)
        else:  # killed while it was being made: opening goes on from there
            SqliteCatalogue.open(str(path)).close()
            check_whole(path, [])


def test_a_hot_journal_does_not_stop_a_reader(tmp_path: Path) -> None:
    """Killed with half a transaction in the file: a reader gets what was committed before it."""
    path = tmp_path / "catalogue.db"
    catalogue = SqliteCatalogue.open(str(path))
    catalogue.record(batch(5))
    catalogue.close()
    done = subprocess.run(script(SPILL, path, 6), timeout=60, check=False, env=environment())
    assert done.returncode == -signal.SIGKILL
    assert os.path.getsize(f"{path}-journal") > 0
    raw = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    with pytest.raises(sqlite3.OperationalError):  # SQLite alone refuses to read it
        raw.execute("SELECT count(*) FROM recording").fetchall()
    raw.close()
    reader = SqliteCatalogue.open_to_read(str(path))
    assert set(ledger_of(reader).recordings) == {5}
    reader.close()
    check_whole(path, [5])


def filled(path: Path) -> bytes:
    catalogue = SqliteCatalogue.open(str(path))
    for number in range(2, 60):
        catalogue.record(batch(number))
    catalogue.close()
    return path.read_bytes()


@pytest.mark.parametrize("damage", ["first page", "a table", "cut", "no database", "header only"])
def test_damage_is_said_and_moved_aside(tmp_path: Path, damage: str) -> None:
    """Overwritten or lost pages: CatalogueDamaged, and the file stays, under another name."""
    path = tmp_path / "catalogue.db"
    whole = filled(path)
    page = 4096
    path.write_bytes(
        {
            "first page": bytes(page) + whole[page:],
            "a table": whole[: page * 2] + b"\xa5" * page * 20 + whole[page * 22 :],
            "cut": whole[: page * 5 + 77],
            "no database": b"this is a text\n" * 500,
            "header only": whole[:100],
        }[damage]
    )
    damaged = path.read_bytes()
    (tmp_path / "catalogue.db-journal").write_bytes(b"")
    with pytest.raises(CatalogueDamaged) as told:
        SqliteCatalogue.open(str(path))
    assert str(path) in told.value.says
    assert path.read_bytes() == damaged
    aside = move_aside(str(path))
    assert Path(aside).read_bytes() == damaged
    assert Path(aside + "-journal").exists()
    assert not path.exists()
    check_whole_new(path)


def check_whole_new(path: Path) -> None:
    catalogue = SqliteCatalogue.open(str(path))
    catalogue.record(batch(2))
    catalogue.close()
    check_whole(path, [2])


def test_moving_aside_never_replaces(tmp_path: Path) -> None:
    """Each damaged catalogue is kept."""
    path = tmp_path / "catalogue.db"
    for content in (b"1", b"2", b"3"):
        path.write_bytes(content)
        move_aside(str(path))
    kept = sorted(p.read_bytes() for p in tmp_path.iterdir())
    assert kept == [b"1", b"2", b"3"]


def test_any_damage_ends_in_a_sentence(tmp_path: Path) -> None:
    """Random bytes at random places: it opens and reads, or one of our errors says why not."""
    chance = random.Random(7)
    whole = filled(tmp_path / "whole.db")
    for n in range(150):
        broken, at = bytearray(whole), chance.randrange(len(whole))
        junk = chance.randbytes(chance.choice([1, 8, 300]))
        broken[at : at + len(junk)] = junk
        path = tmp_path / f"{n}.db"
        path.write_bytes(broken)
        with contextlib.suppress(TakeholdError):
            catalogue = SqliteCatalogue.open(str(path))
            with contextlib.closing(catalogue):
                list(catalogue.facts())
        path.unlink()


def test_a_row_that_cannot_be_read_is_damage(tmp_path: Path) -> None:
    """A value that the pages' own check does not see."""
    path = tmp_path / "catalogue.db"
    filled(path)
    with sqlite3.connect(path) as raw:
        raw.execute("""UPDATE recording SET description = '{"kind":"nothing"}' WHERE id = 9""")
    raw.close()
    catalogue = SqliteCatalogue.open(str(path))
    with pytest.raises(CatalogueDamaged):
        catalogue.facts()
    catalogue.close()


def test_a_row_of_a_day_that_slept_is_damage_for_who_opens_it_next(tmp_path: Path) -> None:
    """Not all rows are read at a start: one that is found bad later has the next start move it."""
    path = tmp_path / "catalogue.db"
    filled(path)
    with sqlite3.connect(path) as raw:
        raw.execute("""UPDATE recording SET description = '{"kind":"nothing"}' WHERE id = 9""")
        [day] = raw.execute("SELECT day FROM recording WHERE id = 9").fetchone()
    raw.close()
    catalogue = SqliteCatalogue.open(str(path))
    assert [known.day for known in catalogue.sleepers()]
    with pytest.raises(CatalogueDamaged):
        catalogue.of_day(day)
    catalogue.close()
    with pytest.raises(CatalogueDamaged, match="cannot be read") as told:
        SqliteCatalogue.open(str(path))
    assert "takehold once" in told.value.do
    assert "start it again" in told.value.do, "beside a daemon, which lets no other work"
    moved = move_aside(str(path))
    assert Path(moved).exists()
    SqliteCatalogue.open(str(path)).close()


def test_a_row_that_who_only_looks_cannot_read_is_damage_for_who_opens_it_next(
    tmp_path: Path,
) -> None:
    """By a connection that changes nothing: what it says to do must be of use."""
    path = tmp_path / "catalogue.db"
    filled(path)
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE recording SET description = '{}' WHERE id = 9")
    raw.close()
    reader = SqliteCatalogue.open_to_read(str(path))
    with pytest.raises(CatalogueDamaged):
        reader.facts()
    reader.close()
    with pytest.raises(CatalogueDamaged, match="cannot be read"):
        SqliteCatalogue.open(str(path))


def test_a_newer_form_is_left_alone(tmp_path: Path) -> None:
    """Refused with a sentence to write and to read; not a byte changes."""
    path = tmp_path / "catalogue.db"
    filled(path)
    with sqlite3.connect(path) as raw:
        raw.execute("PRAGMA user_version = 99")
    raw.close()
    before = path.read_bytes()
    for opened in (SqliteCatalogue.open, SqliteCatalogue.open_to_read):
        with pytest.raises(UsageError, match="newer"):
            opened(str(path))
    assert path.read_bytes() == before


def test_a_foreign_database_is_left_alone(tmp_path: Path) -> None:
    """Another program's SQLite file is no catalogue."""
    path = tmp_path / "catalogue.db"
    with sqlite3.connect(path) as raw:
        raw.execute("CREATE TABLE theirs (x)")
    raw.close()
    before = path.read_bytes()
    for opened in (SqliteCatalogue.open, SqliteCatalogue.open_to_read):
        with pytest.raises(UsageError, match="not a catalogue"):
            opened(str(path))
    assert path.read_bytes() == before


def test_the_sqlite3_shell_knows_the_form(tmp_path: Path) -> None:
    """SQLite's own shell finds it sound, with our application id, and readable without us."""
    path = tmp_path / "catalogue.db"
    filled(path)
    sql = "PRAGMA integrity_check; PRAGMA application_id; PRAGMA user_version; PRAGMA journal_mode;"
    sql += "SELECT count(*), min(hex(path)) FROM recording;"
    said = subprocess.check_output(["sqlite3", str(path), sql], text=True, timeout=30)
    newest = len(catalogue_file.migrations())
    assert said.split() == ["ok", str(0x544B4844), str(newest), "delete", "58|31302E776176"]


NEXT = """
ALTER TABLE load ADD COLUMN more TEXT NOT NULL DEFAULT '';
CREATE TABLE extra (x TEXT) STRICT;
"""


def test_an_older_form_is_brought_up_with_a_backup_beside(tmp_path: Path) -> None:
    """Form 1 becomes form 2, what was known stays, and the file as it was is kept."""
    path, scripts = tmp_path / "catalogue.db", catalogue_file.migrations()
    filled(path)
    newer = [*scripts, NEXT]
    catalogue_file.open_to_write(str(path), newer).close()
    db = catalogue_file.open_to_read(str(path), len(newer))
    assert db.execute("SELECT count(*), max(more) FROM load").fetchone()[:] == (1, "")
    db.close()
    with pytest.raises(UsageError):
        SqliteCatalogue.open(str(path))
    backup = SqliteCatalogue.open(f"{path}.form-{len(scripts)}")
    assert len(ledger_of(backup).recordings) == 58
    backup.close()


def test_blocks_of_another_checksum_count_as_not_known(tmp_path: Path) -> None:
    """Form 8 kept XXH64 of a payload's blocks; held against XXH3-64, each of them would differ."""
    path = tmp_path / "catalogue.db"
    filled(path)
    sound = Sound(96_000, "2" * 32, b"\x00\xff" * 8)
    read = Reading(Digests("0" * 16, "1" * 64), sound, 7, Seen.MEDIUM)
    catalogue = SqliteCatalogue.open(str(path))
    catalogue.record([f.WasRead(2, read)])
    catalogue.close()
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version = 8")
    catalogue = SqliteCatalogue.open(str(path))
    known = ledger_of(catalogue).recordings[2]
    catalogue.close()
    assert known.sound == replace(sound, blocks=b"")
    assert known.digests == read.digests


def test_a_broken_step_changes_nothing(tmp_path: Path) -> None:
    """A migration that fails at its end leaves the form before it."""
    path, scripts = tmp_path / "catalogue.db", catalogue_file.migrations()
    filled(path)
    with pytest.raises(RuntimeError, match="already exists"):
        catalogue_file.open_to_write(str(path), [*scripts, NEXT + "CREATE TABLE load (x TEXT);\n"])
    check_whole(path, list(range(2, 60)))


def test_steps_are_done_together_or_not(tmp_path: Path) -> None:
    """Broken off between two steps, a new catalogue is none, and not one of an older form."""
    path, scripts = tmp_path / "catalogue.db", catalogue_file.migrations()
    with pytest.raises(RuntimeError, match="already exists"):
        catalogue_file.open_to_write(str(path), [*scripts, scripts[0]])
    with pytest.raises(FileMissing):
        catalogue_file.open_to_read(str(path), len(scripts))


def test_a_reader_does_not_bring_up(tmp_path: Path) -> None:
    """A status command on an older form says who can."""
    path, newest = tmp_path / "catalogue.db", len(catalogue_file.migrations())
    filled(path)
    with pytest.raises(UsageError, match="older"):
        catalogue_file.open_to_read(str(path), newest + 1)


def test_a_reader_makes_nothing(tmp_path: Path) -> None:
    """No catalogue: FileMissing, and still none."""
    with pytest.raises(FileMissing):
        SqliteCatalogue.open_to_read(str(tmp_path / "state" / "catalogue.db"))
    assert list(tmp_path.iterdir()) == []


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    """Opened to read, a request is refused in a sentence."""
    filled(tmp_path / "catalogue.db")
    reader = SqliteCatalogue.open_to_read(str(tmp_path / "catalogue.db"))
    with pytest.raises(WorldError):
        reader.ask("wrap", "", 1)
    reader.close()


def test_it_is_private(tmp_path: Path) -> None:
    """Only its owner reads it."""
    path = tmp_path / "state" / "catalogue.db"
    check_whole_new(path)
    assert path.stat().st_mode & 0o777 == 0o600
    assert path.parent.stat().st_mode & 0o777 == 0o700


def test_two_processes_ask_and_record(tmp_path: Path) -> None:
    """One records while another asks: nobody is refused, all is kept, no number comes twice."""
    path = tmp_path / "catalogue.db"
    catalogue = SqliteCatalogue.open(str(path))
    with subprocess.Popen(script(ASK, path), stdout=subprocess.PIPE, text=True) as other:
        for number in range(2, 152):
            catalogue.record(batch(number))
            catalogue.asked()
        said, _ = other.communicate(timeout=60)
    assert other.returncode == 0
    numbers = [int(line) for line in said.split()]
    assert [a.id for a in catalogue.asked()] == numbers == sorted(set(numbers))
    assert len(numbers) == 150
    catalogue.close()
    check_whole(path, list(range(2, 152)))


def test_two_processes_make_it_at_once(tmp_path: Path) -> None:
    """Both find no catalogue; both go on with the same one."""
    path = tmp_path / "state" / "catalogue.db"
    both = [subprocess.Popen(script(ASK, path), stdout=subprocess.PIPE, text=True) for _ in "ab"]
    said = [process.communicate(timeout=60)[0].split() for process in both]
    assert [process.returncode for process in both] == [0, 0]
    assert len(set(said[0] + said[1])) == 300


def test_a_lock_that_is_held_too_long_is_said(tmp_path: Path) -> None:
    """Another program holds it beyond the wait: WorldError, and the next try goes well."""
    path = tmp_path / "catalogue.db"
    catalogue = SqliteCatalogue.open(str(path))
    assert catalogue._db.execute("PRAGMA busy_timeout").fetchone()[0] == 10_000
    catalogue._db.execute("PRAGMA busy_timeout = 50")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(WorldError) as told:
        catalogue.ask("wrap", "", 1)
    assert told.value.code == "catalogue-busy"
    other.execute("ROLLBACK")
    other.execute("BEGIN")
    other.execute("SELECT * FROM load").fetchall()  # a reader that stays stops the commit itself
    with pytest.raises(WorldError):
        catalogue.record(batch(2))
    other.execute("ROLLBACK")
    other.close()
    catalogue.record(batch(3))
    catalogue.close()
    check_whole(path, [3])


def record_until_it_fails(catalogue: SqliteCatalogue, kept: list[int]) -> None:
    for number in range(2, 3000):
        catalogue.record(batch(number))
        kept.append(number)


def test_a_full_disk_keeps_what_was_kept(bench: Bench) -> None:
    """VolumeFull while recording: nothing of that batch, all before it; later it goes on."""
    disk = bench.disk("state", "tmpfs", size_mb=1)
    path = disk.mount / "catalogue.db"
    catalogue = SqliteCatalogue.open(str(path))
    ballast = disk.mount / "ballast"
    ballast.write_bytes(bytes(600_000))
    kept: list[int] = []
    with pytest.raises(VolumeFull) as told:
        record_until_it_fails(catalogue, kept)
    assert str(path) in told.value.says
    assert set(ledger_of(catalogue).recordings) == set(kept)
    ballast.unlink()
    catalogue.record(batch(3001))
    catalogue.close()
    check_whole(path, [*kept, 3001])


def test_a_full_disk_at_the_start_is_said(bench: Bench) -> None:
    """No room to make it: VolumeFull, and with room it is made."""
    disk = bench.disk("state", "tmpfs", size_mb=1)
    ballast = disk.mount / "ballast"
    with pytest.raises(OSError, match="No space"):
        ballast.write_bytes(bytes(2_000_000))
    with pytest.raises(VolumeFull):
        SqliteCatalogue.open(str(disk.mount / "catalogue.db"))
    ballast.unlink()
    check_whole_new(disk.mount / "catalogue.db")


def test_a_read_only_disk_can_be_read(bench: Bench) -> None:
    """Status works from a disk that takes no writes; recording is refused in a sentence."""
    disk = bench.disk("state", "ext4")
    check_whole_new(disk.mount / "catalogue.db")
    disk.unmount()
    disk.mount_again(options="ro")
    reader = SqliteCatalogue.open_to_read(str(disk.mount / "catalogue.db"))
    assert set(ledger_of(reader).recordings) == {2}
    reader.close()
    with pytest.raises(WorldError):
        SqliteCatalogue.open(str(disk.mount / "catalogue.db"))


def test_a_write_error_keeps_what_was_kept(tmp_path: Path) -> None:
    """The system refuses a write (a limit on the size of files): a sentence, nothing half kept."""
    path = tmp_path / "catalogue.db"
    catalogue = SqliteCatalogue.open(str(path))
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    kept: list[int] = []
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + 20_000, hard))
        with pytest.raises(WorldError):
            record_until_it_fails(catalogue, kept)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert set(ledger_of(catalogue).recordings) == set(kept)
    catalogue.record(batch(3001))
    catalogue.close()
    check_whole(path, [*kept, 3001])


@pytest.mark.parametrize(
    "kind", ["nfs", "nfs4", "cifs", "smb3", "fuse.sshfs", "fuseblk", "exfat", "vfat"]
)
def test_a_file_system_that_cannot_lock_is_refused(kind: str) -> None:
    """SQLite's page "How To Corrupt", section 2.1: file systems with broken locks."""
    with pytest.raises(UsageError, match="/media/shuttle"):
        check_can_lock(kind, "/media/shuttle")


@pytest.mark.parametrize(
    "kind", ["ext4", "xfs", "btrfs", "tmpfs", "overlay", "apfs", "NTFS", "zfs"]
)
def test_local_file_systems_are_fine(kind: str) -> None:
    """Nothing is said about them."""
    check_can_lock(kind, "/var/lib")
