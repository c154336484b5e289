"""What must never be so, looked at from outside after every call, and what must finally be so.

The truth is the world's own: what the recorder wrote on each card, what lies on each drive, what
the world itself damaged. Nothing here asks the product's own judgement but to compare it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from takehold.decide.standing import devices_of
from takehold.formats.checksum_list import read_list
from takehold.formats.signature import verify
from takehold.model.errors import Malformed
from takehold.model.facts import Fact, Proven, Published, Revised, Trouble

if TYPE_CHECKING:
    from randomdays.world import Card, Drive, World

OWN = b".takehold-"
WRITES = frozenset({"part", "reserve", "write", "flush", "reader", "keep", "settle", "sweep"})


class Broken(AssertionError):
    """A property does not hold; the sentence says which."""


def must(holds: object, says: str) -> None:
    """Raise Broken unless it holds."""
    if not holds:
        raise Broken(says)


def sha(raw: bytes) -> str:
    """SHA-256 in hex, by the standard library."""
    return hashlib.sha256(raw).hexdigest()


def is_part(path: bytes) -> bool:
    """Whether it is a file being written."""
    return path.rpartition(b"/")[2].startswith(OWN)


# -- never


def card_untouched(card: Card) -> None:
    """P1: what the recorder wrote, and nothing else, is there; nothing asked to write."""
    must(card.volume.files == card.truth, f"P1: the card {card.name} was written to")
    asked = {op for op, _ in card.volume.calls}
    must(not asked & WRITES, f"P1: {asked & WRITES} on the card {card.name}")


def drive_kept(world: World, drive: Drive) -> None:
    """P2, P3: no name changed or went; each new one holds bytes that a card gave."""
    now = {p: b for p, b in drive.volume.files.items() if not is_part(p)}
    for path, content in drive.shadow.items():
        must(path in now, f"P2: {path!r} was removed from {drive.name}")
        must(now[path] is content or now[path] == content, f"P2: {path!r} was overwritten")
    for path in now.keys() - drive.shadow.keys():
        name = path.rpartition(b"/")[2].decode()
        if path.count(b"/") == 2 and name.startswith(path.split(b"/")[1].decode() + ".r"):
            continue  # a revision's file: judged when it is said to be published
        must(now[path] in world.given, f"P3: {path!r} on {drive.name} holds bytes no card gave")
    drive.shadow = now


def facts_true(world: World, facts: Iterable[Fact]) -> None:
    """P4: what is recorded as proven, published or revised is so on the medium at that moment."""
    for fact in facts:
        match fact:
            case Proven(copy):
                drive = world.drive_of(copy.root)
                content = drive.volume.files.get(copy.path)
                digests = world.book.known.recordings[copy.recording].digests
                true = content is not None and digests and sha(content) == digests.sha256
                if (drive.id, copy.path) not in world.damaged:
                    must(true, f"P4: {copy.path!r} is proven falsely on {drive.name}")
                must(copy.proof.seen is drive.volume.seen, "P4: read back otherwise than is said")
                first = (copy.recording, copy.root, copy.path) not in world.proven
                world.proven.add((copy.recording, copy.root, copy.path))
                promised = drive.volume.durable or not first  # read later, it has outlived a cut
                must(promised or not copy.proof.durable, "P4: durability that the drive denied")
                must(copy.disks == drive.volume.root.disks, "P5: other disks than it stands on")
            case Published(root=root):
                _published(world, fact, world.drive_of(root))
            case Revised():
                _chained(world, fact)
            case Trouble(says=says):
                must(says.isprintable(), "P10: a sentence that cannot be printed")
            case _:
                pass


def _published(world: World, fact: Published, drive: Drive) -> None:
    base = b"Lantern Bay/" + fact.day.encode() + b"/"
    names = (f"{fact.day}.r{fact.number}.{end}" for end in ("manifest.json", "manifest.json.sig"))
    for name in names:
        held = drive.volume.files.get(base + name.encode())
        if (drive.id, base + name.encode()) not in world.damaged:
            must(
                held == world.archive.read(fact.day, name), f"P3: {name} on {drive.name} is not it"
            )
    revision = f"{fact.day}.r{fact.number}"
    doc: dict[str, Any] = json.loads(world.archive.read(fact.day, f"{revision}.manifest.json"))
    list_ = base + f"{revision}.sha256".encode()
    if (drive.id, list_) in world.damaged:
        return
    lines = _listed(drive.volume.files.get(list_, b""))
    places = {(file["sha256"], file["place"].encode()) for file in doc["files"]}
    proven = {path for _, root, path in world.proven if root == fact.root}
    for hex_, name in lines:
        if (drive.id, base + name) not in world.damaged:
            held = drive.volume.files.get(base + name)
            lacks = (hex_, name) in places and base + name not in proven
            true = held is not None and sha(held) == hex_
            must(true or lacks, f"P4: the list names {name!r} falsely")
    sums = {hex_ for hex_, _ in lines}
    for file in doc["files"]:
        listed = not file["current"] or file["sha256"] in sums
        must(listed, f"P11: the list on {drive.name} leaves {file['place']} out")


def _listed(raw: bytes) -> tuple[tuple[str, bytes], ...]:
    try:
        return read_list(raw)
    except Malformed as error:  # not passed on: the engine would take it for the catalogue's
        raise Broken(f"P11: a list that cannot be read: {error.says}") from error


def _chained(world: World, fact: Revised) -> None:
    raw = world.archive.read(fact.day, fact.name)
    must(sha(raw) == fact.sha256, "P11: the recorded hash is not the manifest's")
    verify(raw, world.archive.read(fact.day, fact.name + ".sig"), "takehold-manifest")
    link, before = json.loads(raw)["previous"], world.chain[-1] if world.chain else None
    must((link or {}).get("sha256") == (before and before.sha256), "P11: the chain is broken")
    must(all(r.name != fact.name for r in world.chain), "P11: a number means two manifests")
    world.chain.append(fact)


def manifest_true(world: World, raw: bytes) -> None:
    """P4, P8: at the moment it is written, the bytes bear out each entry; READY is earned."""
    doc: dict[str, Any] = json.loads(raw)
    base = f"Lantern Bay/{doc['day']}/".encode()
    for file in doc["files"]:
        for copy in file["copies"]:
            drive, path = world.drive_of(copy["identity"]), base + copy["path"].encode()
            if (drive.id, path) in world.damaged:
                continue
            content = drive.volume.files.get(path)
            name = f"{copy['path']} on {drive.name}"
            must(content is not None, f"P4: the manifest names {name}, which is not there")
            assert content is not None
            must(sha(content) == file["sha256"], f"P4: {name} holds other bytes than it says")
            must(len(content) == file["size"], f"P4: {name} has another length than it says")
    if doc["verdict"] == "READY":
        _ready(world, doc)


# Beside READY: which of differing reads is right was not shown, and a person knew it.
DECIDED = "Not confirmed: a person decided on it."


def _ready(world: World, doc: dict[str, Any]) -> None:
    roles = {load["id"]: load["role"] for load in doc["loads"]}
    files = [file for file in doc["files"] if file["current"]]
    must(files or any(f["decision"] for f in doc["findings"]), "P12: READY of nothing")
    for file in files:
        name = f"{doc['day']} {file['place']}"
        twice = sum(read["sha256"] == file["sha256"] for read in file["reads"]) >= 2
        answer = (file["counterpart"] or {}).get("relation")
        settled = any(file["path"] in says and DECIDED in says for says in doc["reasons"])
        cards = {roles[f["load"]] for f in doc["files"] if f["sha256"] == file["sha256"]}
        both = cards >= {"primary", "backup"}  # now, or before a file was edited
        must(twice or both or settled, f"P8: READY, {name} is not confirmed")
        true = file["sha256"] in world.audio
        must(true or settled, f"P8: READY, {name} was never recorded so")
        if true and answer in ("identical", "same audio"):
            where = file["counterpart"]["load"], file["counterpart"]["path"]
            other = next(f for f in files if (f["load"], f["path"]) == where)
            must(
                world.audio[file["sha256"]] == world.audio[other["sha256"]],
                f"P8: READY, {name} is not what its counterpart holds",
            )
        wave = file["path"].endswith(".WAV")
        if wave and world.settings.has_backup() and roles[file["load"]] == "primary":
            backed = answer in ("identical", "same audio")
            decided = any(f["decision"] and "backup" in f["says"] for f in doc["findings"])
            must(backed or ((twice or settled) and decided), f"P8: READY, {name} has no backup")
        standing = {world.drive_of(c["identity"]).volume.root.disks for c in file["copies"]}
        must(_apart(standing) >= 2, f"P5: READY, {name} is on {len(standing)} disk")
    named = {file["sha256"] for file in doc["files"]}
    for card in world.cards_here():
        for path, content in card.truth.items():
            if card.day_of.get(path) == doc["day"]:
                must(sha(content) in named, f"P7: READY, {path!r} of {card.name} is not in it")


def _apart(standing: set[frozenset[str]]) -> int:
    """Groups of disks that share none: at most three here, each a single disk."""
    return len(set().union(*standing)) if standing else 0


# -- finally


def all_is_owed_no_more(world: World) -> None:
    """Faults are over and everything is connected: what lies on the cards is proven everywhere."""
    known, drives = world.book.known, world.drives_here()
    for card in world.cards_here():
        for path, content in card.truth.items():
            want = sha(content)
            mine = [r for r in known.recordings.values() if r.digests and r.digests.sha256 == want]
            must(mine, f"finally: {path!r} of {card.name} was never read")
            copies = {r.id: known.copies_of(r.id) for r in mine if r.path == path}
            must(copies, f"finally: {path!r} of {card.name} is known under other names only")
            full = max(copies.values(), key=len)
            disks = set().union(*(d.volume.root.disks for d in drives))
            must(
                devices_of(full) >= min(2, len(disks)),
                f"finally: {path!r} of {card.name} is not on two devices",
            )
            here = {d.id for d in drives if content in d.volume.files.values()}
            missing = [d.name for d in drives if d.id not in here]
            must(not missing, f"finally: {path!r} of {card.name} is not on {missing}")
            confirmed = any(_confirmed(world, r) for r in mine)
            must(confirmed, f"finally: {path!r} is not confirmed")
    away = {d.volume.root.identity for d in world.drives} - {d.volume.root.identity for d in drives}
    cards = {card.volume.root.identity for card in world.cards}
    left = {
        key: trouble.says
        for key, trouble in known.troubles.items()
        if trouble.code != "file-vanished"
        and not (key.startswith("list ") and key.split(" ", 2)[2] not in cards)  # formatted since
        and not away & set(key.split())
        and _bytes_are_here(world, key)
        and _load_of(world, key) in {None, *(s.load for s in world.engine.now.situation.sights)}
    }
    must(not left, f"finally: troubles are left: {left}")
    for drive in drives:
        parts = [path for path in drive.volume.files if is_part(path)]
        must(not parts, f"finally: parts are left on {drive.name}: {parts}")
        root = drive.volume.root.identity
        for day, revisions in known.revisions.items():
            copies = [c for r in known.day(day) for c in known.copies_of(r.id) if c.root == root]
            for revision in revisions if copies else ():
                done = (day, revision.number, root) in known.published
                must(done, f"finally: {revision.name} is not on {drive.name}")
    for day in {r.day for r in known.recordings.values()}:
        must(
            known.newest(day) is not None,
            f"finally: {day} was asked to be closed and has no manifest",
        )
    must(not known.asked, f"finally: commands are not answered: {known.asked}")


def _bytes_are_here(world: World, key: str) -> bool:
    """Whether what a landing or a read waits for lies on a card or drive that is there."""
    word, number, *_ = key.split()
    if word == "rec":
        waiting = world.book.known.recordings[int(number)]
        sights = [s for s in world.engine.now.situation.sights if s.load == waiting.load]
        return any(file.path == waiting.path for sight in sights for file in sight.files)
    if word != "land":
        return True
    recording = world.book.known.recordings[int(number)]
    here = {d.volume.root.identity for d in world.drives_here()}
    if any(copy.root in here for copy in world.book.known.copies_of(recording.id)):
        return True
    if world.book.known.current(recording.load, recording.path) is not recording:
        return False  # the card may hold the same bytes again, as a newer version
    digests = recording.digests
    sights = world.engine.now.situation.sights
    places = {sight.root.path for sight in sights if sight.load == recording.load}
    own = [card for card in world.cards_here() if card.volume.root.path in places]
    lying = {sha(card.truth.get(recording.path, b"")) for card in own}
    return digests is None or digests.sha256 in lying


def _load_of(world: World, key: str) -> int | None:
    """The load that a trouble is about: one that was formatted away stays in trouble."""
    word, number, *_ = key.split()
    if word in ("load", "stock"):
        return int(number)
    if word in ("rec", "land", "prove"):
        return world.book.known.recordings[int(number)].load
    return None


def _confirmed(world: World, recording: Any) -> bool:
    """Read twice alike, or the same bytes or audio were read from another card."""
    if len(recording.readings) > 1:
        return True
    if recording.sound is None:
        others = [r for r in world.book.known.recordings.values() if r.digests == recording.digests]
    else:
        others = [
            r
            for r in world.book.known.recordings.values()
            if r.sound is not None and r.sound.digest == recording.sound.digest
        ]
    return any(r.load != recording.load for r in others)
