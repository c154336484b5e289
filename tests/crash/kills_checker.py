"""What is true after a kill, and once all is quiet, read from outside: no line of the product.

A destination's files are compared with what was put on the card; manifests are checked with
`ssh-keygen -Y verify` (OpenSSH) and against the bytes beside them; the catalogue is read by the
standard library's sqlite3 from a copy, so that looking at it changes nothing.
"""

from __future__ import annotations

import functools
import hashlib
import json
import re
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from faultlab.checker import files_of, finals, temporaries, whole

MANIFEST = re.compile(r"(\d{4}-\d\d-\d\d)\.r(\d+)\.manifest\.json")
OF_A_REVISION = ("manifest.json", "manifest.json.sig", "signers", "sha256", "xxh64")
Revisions = dict[tuple[str, int], bytes]


@functools.cache
def _verified(text: bytes, signature: bytes, public_key: str, namespace: str) -> str:
    """What `ssh-keygen -Y verify` says against it; empty if it is good."""
    with tempfile.TemporaryDirectory(dir="/dev/shm") as made:
        (Path(made) / "allowed").write_text(f"signer {public_key}\n")
        (Path(made) / "sig").write_bytes(signature)
        name = ("-n", namespace)
        done = subprocess.run(
            ["ssh-keygen", "-Y", "verify", "-f", "allowed", "-I", "signer", "-s", "sig", *name],
            cwd=made,
            input=text,
            capture_output=True,
            timeout=60,
            check=False,
        )
    return "" if done.returncode == 0 else (done.stdout + done.stderr).decode(errors="replace")


def revisions(folder: Path, public_key: str) -> Revisions:
    """Every manifest below a folder, by day and number; fails if one is not what its name says."""
    found: Revisions = {}
    there = files_of(folder)
    for path, raw in there.items():
        name = MANIFEST.fullmatch(path.rpartition("/")[2])
        if name is None:
            continue
        try:
            doc = json.loads(raw)
        except ValueError as error:
            raise AssertionError(f"{path} is published and not whole: {error}") from error
        assert (doc["day"], doc["revision"]) == (name[1], int(name[2])), f"{path} is another's"
        signature = there.get(path + ".sig")
        if signature is not None:
            bad = _verified(raw, signature, public_key, "takehold-manifest")
            assert not bad, f"{path}: its signature is not good: {bad}"
        found[name[1], int(name[2])] = raw
    return found


def papers_hold(root: Path, destination: str, public_key: str) -> Revisions:
    """As `revisions`, and what each manifest and list on a destination says is there is there."""
    there = files_of(root)
    for path, raw in there.items():
        folder, _, name = path.rpartition("/")
        below = folder + "/" if folder else ""
        if MANIFEST.fullmatch(name):
            for place, sha in _said_to_be_on(json.loads(raw), destination):
                _holds(there, below + place, sha, path)
        elif name.endswith((".sha256", ".xxh64")):
            manifest = below + name.rpartition(".")[0] + ".manifest.json"
            assert manifest in there, f"{path} stands before its manifest"
        if name.endswith(".sha256"):
            lines = raw.decode().splitlines()
            assert raw.endswith(b"\n"), f"{path} is not whole"
            for line in lines:
                sha, place = line.split("  ", 1)
                _holds(there, below + place, sha, path)
    return revisions(root, public_key)


def _said_to_be_on(doc: Any, destination: str) -> list[tuple[str, str]]:
    return [
        (copy["path"], file["sha256"])
        for file in doc["files"]
        for copy in file["copies"]
        if copy["destination"] == destination
    ]


def _holds(there: Mapping[str, bytes], place: str, sha256: str, who: str) -> None:
    assert place in there, f"{who} says that {place} is there, and it is not"
    found = hashlib.sha256(there[place]).hexdigest()
    assert found == sha256, f"{who} says otherwise of {place} than its bytes"


def one_paper(*folders: Revisions) -> Revisions:
    """All of them together; fails if one number means two manifests, or the chain has a gap."""
    all_: Revisions = {}
    for one in folders:
        for key, raw in one.items():
            assert all_.setdefault(key, raw) == raw, f"{key} is two different manifests"
    chain = [json.loads(raw)["previous"] for _, raw in sorted(all_.items())]
    sums = [hashlib.sha256(raw).hexdigest() for _, raw in sorted(all_.items())]
    for before, link in zip([None, *sums], chain, strict=False):
        assert (link and link["sha256"]) == before, "a manifest does not name the one before it"
    return all_


def proven_papers(raw: bytes, card: Mapping[str, bytes], destinations: set[str]) -> None:
    """A manifest that covers the card: each file, its checksum, a copy on each destination."""
    doc = json.loads(raw)
    told = {file["path"]: file for file in doc["files"] if file["current"]}
    assert told.keys() == card.keys(), f"the manifest tells of {sorted(told)}"
    assert len(doc["files"]) == len(card), "the manifest tells of a file twice"
    for path, file in told.items():
        assert file["sha256"] == hashlib.sha256(card[path]).hexdigest(), path
        held = [copy["destination"] for copy in file["copies"]]
        assert sorted(held) == sorted(destinations), f"{path} is said to be on {held}"
    assert doc["verdict"] == "READY", doc["verdict"]


def once_each(root: Path, card: Mapping[str, bytes]) -> None:
    """Every file of the card, once, and nothing that is temporary."""
    lacking = card.keys() - whole(root, card)
    assert not lacking, f"{root} lacks {sorted(lacking)}"
    assert len(finals(root)) == len(card), f"{root} holds something twice: {sorted(finals(root))}"
    assert temporaries(root) == [], f"{root} has leftovers"


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Rows of a catalogue: copies as (destination, path, sha256), revisions with their sums."""

    form: int
    recordings: int
    copies: frozenset[tuple[str, bytes, str]]
    revisions: Mapping[tuple[str, int], str]
    published: frozenset[tuple[str, int, str]]
    receipts: int


NOTHING = Catalogue(0, 0, frozenset(), {}, frozenset(), 0)
COPIES = """SELECT destination, copy.path, (SELECT sha256 FROM reading
            WHERE reading.recording = copy.recording ORDER BY id LIMIT 1) FROM copy"""
PUBLISHED = """SELECT day, number, (SELECT destination FROM copy WHERE copy.root = published.root)
               FROM published"""


def catalogue(path: Path) -> Catalogue:
    """What it holds once SQLite has rolled a journal back; fails if it is damaged."""
    if not path.exists():
        return NOTHING
    with tempfile.TemporaryDirectory(dir="/dev/shm") as made:
        for ending in ("", "-journal"):
            if (found := path.with_name(path.name + ending)).exists():
                shutil.copy(found, Path(made) / f"it{ending}")
        db = sqlite3.connect(Path(made) / "it")
        try:
            assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert db.execute("PRAGMA foreign_key_check").fetchall() == []
            form = db.execute("PRAGMA user_version").fetchone()[0]
            return _rows(db, form) if form else NOTHING
        finally:
            db.close()


def _rows(db: sqlite3.Connection, form: int) -> Catalogue:
    sums = db.execute("SELECT day, number, sha256 FROM revision").fetchall()
    return Catalogue(
        form,
        db.execute("SELECT count(*) FROM recording WHERE NOT gone").fetchone()[0],
        frozenset((d, bytes(p), s) for d, p, s in db.execute(COPIES)),
        {(day, number): sha for day, number, sha in sums},
        frozenset(db.execute(PUBLISHED)),
        db.execute("SELECT count(*) FROM receipt").fetchone()[0],
    )


def no_false_word(known: Catalogue, drives: Mapping[str, Path], archive: Path) -> None:
    """What the catalogue calls proven, signed or published is there, whole."""
    for destination, path, sha in known.copies:
        data = _bytes(drives[destination], path.decode())
        assert data is not None, f"a proof is recorded for {path!r}, which is not there"
        assert hashlib.sha256(data).hexdigest() == sha, f"a false proof of {path!r}"
    for (day, number), sha in known.revisions.items():
        raw = _bytes(archive, f"{day}/{day}.r{number}.manifest.json")
        assert raw is not None, f"r{number} is recorded, and not kept"
        assert hashlib.sha256(raw).hexdigest() == sha, f"another r{number} is recorded than kept"
    for day, number, destination in known.published:
        names = {p.name for p in drives[destination].rglob(f"{day}.r{number}.*")}
        lacking = {f"{day}.r{number}.{ending}" for ending in OF_A_REVISION} - names
        assert not lacking, f"r{number} is recorded as published without {sorted(lacking)}"


def _bytes(root: Path, path: str) -> bytes | None:
    place = root / path
    return place.read_bytes() if place.is_file() else None


def key_is_whole(path: Path) -> str:
    """The public line of a private key, as OpenSSH reads it; its public half beside it agrees."""
    assert path.stat().st_mode & 0o77 == 0, f"{path} is open to others"
    done = subprocess.run(
        ["ssh-keygen", "-y", "-P", "", "-f", path],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, f"{path} is no whole key: {done.stderr}"
    line = " ".join(done.stdout.split()[:2])
    beside = path.with_name(path.name + ".pub")
    if beside.exists():
        there = " ".join(beside.read_text().split()[:2])
        assert there == line, f"{beside} is not the key's other half"
    return line


def receipts_are_whole(folder: Path, public_key: str) -> int:
    """How many receipts lie there, signed and whole; fails if one is not whole."""
    there = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    signed = 0
    for name, raw in there.items():
        if name.startswith(".takehold-") or name.endswith(".sig"):
            continue
        try:
            json.loads(raw)
        except ValueError as error:
            raise AssertionError(f"the receipt {name} is not whole: {error}") from error
        signature = there.get(name + ".sig")
        if signature is not None:
            bad = _verified(raw, signature, public_key, "takehold-receipt")
            assert not bad, f"{name}: its signature is not good: {bad}"
            signed += 1
    return signed
