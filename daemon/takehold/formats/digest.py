"""Checksums of a whole file while it streams by."""

from __future__ import annotations

import hashlib

import xxhash

from takehold.model.recording import Digests


class FileDigest:
    """XXH64 (seed 0) and SHA-256 (FIPS 180-4) over all chunks, in order."""

    def __init__(self) -> None:
        self._xxh64 = xxhash.xxh64()
        self._sha256 = hashlib.sha256()

    def update(self, chunk: memoryview | bytes) -> None:
        """Take the next bytes; nothing of them is kept."""
        self._xxh64.update(chunk)
        self._sha256.update(chunk)

    def digests(self) -> Digests:
        """Of what was taken so far."""
        return Digests(self._xxh64.hexdigest(), self._sha256.hexdigest())
