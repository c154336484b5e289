"""Measures the audio payload of a file while the whole file streams by."""

from __future__ import annotations

import xxhash

from takehold.model.sound import BLOCK_FRAMES, Sound, Span


class AudioMeter:
    """Takes a file's chunks in order and counts what lies in `span`, in whole frames.

    `block_align` is the bytes of one frame, at least 1.
    """

    def __init__(self, span: Span, block_align: int) -> None:
        self._begin = span.offset
        self._end = span.offset + span.length - span.length % block_align
        self._block_align = block_align
        self._block_bytes = BLOCK_FRAMES * block_align
        self._at = 0
        self._done = 0
        self._payload = xxhash.xxh3_128()
        self._block = xxhash.xxh64()
        self._blocks = bytearray()

    def feed(self, chunk: memoryview | bytes, offset: int) -> None:
        """Take the bytes at `offset` of the file, the next after those before.

        Raises ValueError for a gap: a measure with a hole would be a false word.
        """
        if offset != self._at:
            raise ValueError(f"bytes from {offset} where {self._at} is next")
        self._at += len(chunk)
        first, last = max(self._begin - offset, 0), min(self._end - offset, len(chunk))
        if first < last:
            self._measure(memoryview(chunk)[first:last])

    def _measure(self, payload: memoryview) -> None:
        self._payload.update(payload)
        taken = 0
        while taken < len(payload):
            room = self._block_bytes - self._done % self._block_bytes
            piece = payload[taken : taken + room]
            self._block.update(piece)
            taken += len(piece)
            self._done += len(piece)
            if len(piece) == room:
                self._blocks += self._block.digest()
                self._block.reset()

    def sound(self) -> Sound:
        """What was measured; the last block may be a started one."""
        begun = self._block.digest() if self._done % self._block_bytes else b""
        frames = self._done // self._block_align
        return Sound(frames, self._payload.hexdigest(), bytes(self._blocks) + begun)
