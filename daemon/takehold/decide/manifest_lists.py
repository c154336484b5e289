"""The checksum lists of a revision, for stock tools: one of each kind for each destination.

They follow from the manifest: whoever checks a list is told of every file of it, also of those that
the drive lacks. Layout: docs/manifest.md.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Set

from takehold.decide.manifest_read import below, each, name_in, the
from takehold.formats.checksum_list import read_list, sha256_list, xxh64_list
from takehold.model.errors import Malformed
from takehold.model.ledger import Ledger

SUMS = ("sha256", "xxh64")
_TOLD = frozenset({"day", "production", "files", "place", "place_hex", "current", *SUMS})


def told_by(raw: bytes) -> dict[str, object]:
    """Of a kept manifest what its lists follow from: all of it would take many times its bytes."""
    doc: dict[str, object] = json.loads(raw, object_pairs_hook=_needed)
    return doc


def _needed(pairs: list[tuple[str, object]]) -> dict[str, object]:
    return {key: value for key, value in pairs if key in _TOLD}


def lists(
    doc: Mapping[str, object], ledger: Ledger, folder: bytes, root: str
) -> tuple[bytes, bytes]:
    """The two lists of a manifest for one destination, relative to the day's `folder`.

    A file has the name of its copy there, or its place if there is none: but for a superseded
    version, which may be on another drive only.
    """
    known = {recording.place: recording.id for recording in ledger.day(the(doc, "day", str))}
    sums: dict[str, list[tuple[str, bytes]]] = {what: [] for what in SUMS}
    for entry in each(doc, "files"):
        place = below(entry, "place", folder)
        copies = ledger.copies_of(known[place]) if place in known else ()
        paths = [copy.path for copy in copies if copy.root == root]
        here = [path for path in paths if path.startswith(folder)]
        for path in here or [place][: the(entry, "current", bool)]:
            for what, lines in sums.items():
                lines.append((the(entry, what, str), path.removeprefix(folder)))
    return sha256_list(sums["sha256"]), xxh64_list(sums["xxh64"])[0]


def sums_of(doc: Mapping[str, object], what: str) -> Counter[str]:
    """The checksums that a manifest's list must have."""
    return Counter(the(entry, what, str) for entry in each(doc, "files") if entry["current"])


def listed(
    doc: Mapping[str, object], ledger: Ledger, recordings: Iterable[int], folder: bytes, root: str
) -> frozenset[tuple[str, bytes]]:
    """Every line that a true list of a manifest may have: (hex, name).

    Of its places, of the copies of these recordings, and of those that stood there once.
    """
    lines = {(the(e, w, str), name_in(e, "place")) for e in each(doc, "files") for w in SUMS}
    for number in recordings:
        digests = ledger.recordings[number].digests
        paths = [path for r, path in ledger.copies.get(number, ()) if r == root]
        paths += [b.path for b in ledger.broken.get(number, ()) if b.root == root]
        for path in paths:
            if digests is not None and path.startswith(folder):
                name = path.removeprefix(folder)
                lines |= {(digests.sha256, name), (digests.xxh64, name)}
    return frozenset(lines)


def is_true_list(raw: bytes, known: Set[tuple[str, bytes]] | None, sums: Counter[str]) -> bool:
    """Whether a list on a drive has a line for each of these checksums, and only true ones.

    `known` are all lines that it may have, as `listed` gives them; None where nobody knows.
    """
    try:
        lines = {*read_list(raw)}
    except Malformed:
        return False
    return (known is None or lines <= known) and not sums - Counter(sum_ for sum_, _ in lines)
