"""A day's folder as it reaches post: real files, a signed manifest, lists."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import xxhash

from makings import root_at
from manifest_example import example, file_entry
from takehold.adapters.clock import SystemClock
from takehold.adapters.disk import LocalDisk
from takehold.adapters.signer import KeySigner, new_key
from takehold.decide.manifest import NAMESPACE, PRINCIPAL
from takehold.decide.manifest_names import names_of
from takehold.engine.receive import Received, Receiver, receive
from takehold.formats.canonical import canonical
from takehold.formats.checksum_list import sha256_list

DAY = "2031-05-06"
CONTENT = {"SND_A01/T01.wav": b"one" * 5000, "SND_A01/T02.wav": b"two" * 9000, "SND_A01/n.txt": b""}


class Quiet:
    """Watches, and keeps what it was told."""

    def __init__(self) -> None:
        self.files = self.size = self.moved_size = 0

    def begins(self, files: int, size: int) -> None:
        self.files, self.size = files, size

    def reads(self, path: bytes) -> None:
        pass

    def moved(self, size: int) -> None:
        self.moved_size += size


def key_at(folder: Path, name: str = "key") -> KeySigner:
    return new_key(bytes(folder / name))


def entry(place: str, content: bytes, **changes: Any) -> dict[str, Any]:
    """A manifest's entry for these bytes, copied under their place."""
    plain = {
        "path": place.rpartition("/")[2],
        "place": place,
        "size": len(content),
        "sha256": hashlib.sha256(content).hexdigest(),
        "xxh64": xxhash.xxh64(content).hexdigest(),
        "copies": copied(place),
    }
    return file_entry(**(plain | changes))


def _copy(path: str, destination: str = "shuttle-1") -> dict[str, Any]:
    return {
        "destination": destination,
        "identity": f"fs:{destination}",
        "path": path,
        "proven_at": "2031-05-06T14:10:09Z",
        "read_back": "medium",
        "durable": True,
    }


def copied(*paths: str) -> list[dict[str, Any]]:
    """Copies under these paths, each on a destination of its own."""
    return [_copy(path, f"shuttle-{number}") for number, path in enumerate(paths, 1)]


def document(files: list[dict[str, Any]], **changes: Any) -> dict[str, Any]:
    return example() | {"files": files, "revision": 1, "previous": None} | changes


def put(folder: Path, content: dict[str, bytes]) -> None:
    for place, data in content.items():
        path = folder / place
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def publish(folder: Path, doc: dict[str, Any], signer: KeySigner) -> dict[str, Path]:
    """Write a manifest, its signature, signers and list as takehold does."""
    folder.mkdir(parents=True, exist_ok=True)
    raw = canonical(doc)
    names = {what: folder / name for what, name in names_of(doc["day"], doc["revision"]).items()}
    names["manifest"].write_bytes(raw)
    names["signature"].write_bytes(signer.sign(raw, NAMESPACE))
    names["signers"].write_bytes(signer.allowed_signers(PRINCIPAL, NAMESPACE))
    listed = [(f["sha256"], f["place"].encode()) for f in doc["files"]]
    names["sha256"].write_bytes(sha256_list(listed))
    return names


def made(folder: Path, signer: KeySigner, day: str = DAY, **changes: Any) -> dict[str, Path]:
    """A whole day with three files."""
    put(folder, CONTENT)
    files = [entry(place, content) for place, content in CONTENT.items()]
    return publish(folder, document(files, day=day, **changes), signer)


def checked(folder: Path, given: frozenset[str] | None = None) -> Received:
    """What `takehold receive` finds, through the real disk."""
    receiver = Receiver("A. Receiver", bytes(folder), "takehold test")
    with LocalDisk().source(root_at(folder)) as tree:
        return receive(tree, given, receiver, SystemClock(), Quiet())
