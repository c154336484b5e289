"""What real days must never show, and what they must finally: no line of the product is used here.

Manifests are read as JSON, signatures with `ssh-keygen -Y verify` (OpenSSH), lists with
`sha256sum -c` (GNU coreutils) and `xxhsum -c` (xxHash).
"""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

from faultlab.checker import finals, temporaries
from instance import newest_revision, stock_checks
from randomdays.real_world import RealWorld, Thing, sha

PRODUCTION = "Lantern Bay"
SAME = ("identical", "same audio")


def manifests_true(world: RealWorld) -> None:
    """P4, P8, P11: each manifest that is met for the first time is borne out by what lies there."""
    for drive in world.drives:
        for path in sorted(
            drive.mount.glob(f"{PRODUCTION}/*/*.manifest.json") if drive.here else ()
        ):
            raw = path.read_bytes()
            key = f"{drive.name} {path.name}"
            if key not in world.manifests:
                doc = json.loads(raw)
                world.manifests[key] = doc
                _signed(world, path)
                _borne_out(drive, doc)
                if doc["verdict"] == "READY":
                    world.done["READY on a drive"] += 1
                    _ready(world, doc)


def _signed(world: RealWorld, manifest: Path) -> None:
    signature = Path(f"{manifest}.sig")
    assert signature.exists(), f"P11: {manifest.name} has no signature beside it"
    signers = world.laptop.folder / "allowed"
    signers.write_text(f"takehold {world.laptop.public_key.read_text()}")
    words = ["ssh-keygen", "-Y", "verify", "-f", signers, "-I", "takehold"]
    words += ["-n", "takehold-manifest", "-s", signature]
    with manifest.open("rb") as text:
        done = subprocess.run(words, stdin=text, capture_output=True, timeout=60, check=False)
    assert done.returncode == 0, f"P11: {manifest.name}: {done.stderr!r}"


def _borne_out(drive: Thing, doc: dict[str, Any]) -> None:
    base = f"{PRODUCTION}/{doc['day']}/"
    for file in doc["files"]:
        for copy in file["copies"]:
            path = base + copy["path"]
            if copy["destination"] != drive.name or path in drive.damaged:
                continue
            name = f"{doc['day']}.r{doc['revision']}: {path} on {drive.name}"
            place = drive.mount / path
            assert place.exists(), f"P4: {name} is named and not there"
            assert sha(place.read_bytes()) == file["sha256"], f"P4: {name} holds other bytes"


def _ready(world: RealWorld, doc: dict[str, Any]) -> None:
    """READY was earned: each read is confirmed, each file stands twice, each has its backup."""
    files = [file for file in doc["files"] if file["current"]]
    roles = {load["id"]: load["role"] for load in doc["loads"]}
    disks = {d["identity"]: tuple(d["disks"]) for d in doc["destinations"]}
    for file in files:
        name = f"{doc['day']}.r{doc['revision']}: READY, {file['place']}"
        answer = file["counterpart"] or {}
        same = answer.get("relation") in SAME
        assert len(file["reads"]) >= 2 or same, f"P8: {name} is not confirmed"
        assert file["sha256"] in world.recorded, f"P8: {name} was never recorded so"
        if same:
            where = answer["load"], answer["path"]
            other = next(f for f in files if (f["load"], f["path"]) == where)
            audio = [_audio(world.given[f["sha256"]]) for f in (file, other)]
            assert audio[0] == audio[1], f"P8: {name} is not what its counterpart holds"
        elif world.backups and roles[file["load"]] == "primary":
            decided = any(f["decision"] and "backup" in f["says"] for f in doc["findings"])
            assert decided, f"P8: {name} has no backup, and nobody decided on that"
        stands = {disks[c["identity"]] for c in file["copies"]}
        assert len(stands) >= 2, f"P5: {name} stands on {stands}"


def _audio(content: bytes) -> bytes:
    return content[content.find(b"data") + 8 :]


def all_is_proven(world: RealWorld) -> None:
    """Faults are over, everything is in, each day is closed: what lies on the cards is safe."""
    for drive in world.drives:
        left = temporaries(drive.mount)
        assert not left, f"finally: {left} are left on {drive.name}"
        held = {sha(content) for content in finals(drive.mount).values()}
        for card in world.cards:
            missing = [p for p, content in card.truth.items() if sha(content) not in held]
            assert not missing, f"finally: {missing} of {card.name} are not on {drive.name}"
        for folder in sorted((drive.mount / PRODUCTION).glob("*")):
            stock_checks(folder, world.laptop.public_key)
    newest = newest_manifests(world)
    for card in world.cards:
        for path, content in card.truth.items():
            day = card.day_of.get(path)
            if day is not None:
                named = {f["sha256"] for f in newest[day]["files"]}
                assert sha(content) in named, f"P7: {path} of {card.name} is not in {day}"
    for day, doc in newest.items():
        grave = [f["says"] for f in doc["findings"] if f["severity"] == "hold"]
        assert grave or doc["verdict"] == "READY", f"finally: {day} is HOLD without a reason"
    _chained(world)


def newest_manifests(world: RealWorld) -> dict[str, dict[str, Any]]:
    """The newest manifest of each day, which is the same on every drive with a copy of that day."""
    newest: dict[str, bytes] = {}
    for drive in world.drives:
        for folder in sorted((drive.mount / PRODUCTION).glob("*")):
            name = f"{newest_revision(folder)}.manifest.json"
            raw = (folder / name).read_bytes()
            same = newest.setdefault(folder.name, raw) == raw
            assert same, f"finally: {drive.name} has not the newest manifest of {folder.name}"
    return {day: json.loads(raw) for day, raw in newest.items()}


def _chained(world: RealWorld) -> None:
    """P11: of all manifests that were kept, one has none before it, and each other one another."""
    kept = [p.read_bytes() for p in world.laptop.state.rglob("*.manifest.json")]
    before = [(json.loads(raw)["previous"] or {}).get("sha256") for raw in kept]
    assert len(set(before)) == len(before), "P11: two manifests name the same one before them"
    known = {sha(raw) for raw in kept}
    assert {b for b in before if b} <= known, "P11: a manifest names one that is not kept"
