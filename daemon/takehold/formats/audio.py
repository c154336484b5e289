"""Measures the audio payload of a file while the whole file streams by.

numpy is imported where a meter is made, not with this module: it costs 0.1 s.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import xxhash

from takehold.formats.layout import Layout, layout
from takehold.formats.levels import packed
from takehold.model.measured import Measured
from takehold.model.sound import BLOCK_FRAMES, Sound, Span, WaveFormat

if TYPE_CHECKING:
    from takehold.formats.samples import SampleMeter


class AudioMeter:
    """Takes a file's chunks in order and measures what lies in `span`, in whole frames.

    `form.block_align`, the bytes of one frame, is at least 1. `first_sample` is the absolute count
    of the first frame (TimeReference), None if it is unknown. Of a payload that is not PCM of 1 to
    64 channels, 8 to 32 bits, or float, no channel is measured.
    """

    def __init__(self, span: Span, form: WaveFormat, first_sample: int | None = None) -> None:
        self._begin = span.offset
        self._end = span.offset + span.length - span.length % form.block_align
        self._block_align = form.block_align
        self._block_bytes = BLOCK_FRAMES * form.block_align
        self._first_sample = first_sample or 0
        self._at = 0
        self._done = 0
        self._payload = xxhash.xxh3_128()
        self._block = xxhash.xxh3_64()
        self._blocks = bytearray()
        self._frames = _frames_meter(form, first_sample)

    def feed(self, chunk: memoryview | bytes, offset: int) -> None:
        """Take the bytes at `offset` of the file, the next after those before.

        Raises ValueError for a gap: a measure with a hole would be a false word.
        """
        if offset != self._at:
            raise ValueError(f"bytes from {offset} where {self._at} is next")
        self._at += len(chunk)
        first, last = max(self._begin - offset, 0), min(self._end - offset, len(chunk))
        if first < last:
            payload = memoryview(chunk)[first:last]
            self._measure(payload)
            if self._frames is not None:
                self._frames.feed(payload)

    def _measure(self, payload: memoryview) -> None:
        taken = 0
        while taken < len(payload):
            room = self._block_bytes - self._done % self._block_bytes
            piece = payload[taken : taken + room]
            self._payload.update(piece)
            self._block.update(piece)
            taken += len(piece)
            self._done += len(piece)
            if len(piece) == room:
                self._blocks += self._block.digest()
                self._block.reset()

    def measured(self) -> Measured:
        """The channels, as far as they were measured."""
        if self._frames is not None:
            return self._frames.measured(self._payload.hexdigest())
        frames = self._done // self._block_align
        return Measured(frames, self._payload.hexdigest(), None, (), self._first_sample)

    def sound(self) -> Sound:
        """What was measured, to be kept; the last block may be a started one."""
        measured = self.measured()
        begun = self._block.digest() if self._done % self._block_bytes else b""
        return Sound(
            self._done // self._block_align,
            self._payload.hexdigest(),
            bytes(self._blocks) + begun,
            coding=measured.coding,
            levels=packed(measured.channels),
        )


def _frames_meter(form: WaveFormat, first_sample: int | None) -> Frames | None:
    from takehold.formats.samples import SampleMeter  # noqa: PLC0415

    lies = layout(form)
    return Frames(lies, SampleMeter(lies, first_sample)) if lies else None


class Frames:
    """Cuts bytes into frames and hands them on; a chunk may end anywhere.

    The last bytes of each chunk are held back: `unpack` touches some behind what it unpacks.
    """

    def __init__(self, layout: Layout, samples: SampleMeter) -> None:
        from takehold.formats.pcm import SLACK, unpack  # noqa: PLC0415

        self._align = layout.channels * layout.width
        self._slack = SLACK
        self._unpack = partial(unpack, layout)
        self._samples = samples
        self._held = memoryview(bytearray(2 * (self._align + SLACK)))
        self._holds = 0

    def feed(self, payload: memoryview) -> None:
        """The next bytes."""
        taken = self._complete(payload)
        frames = max(len(payload) - taken - self._slack, 0) // self._align
        if frames:
            self._samples.take(frames, partial(self._unpack, payload[taken:]))
        self._hold(payload[taken + frames * self._align :])

    def _hold(self, rest: memoryview) -> None:
        self._held[self._holds : self._holds + len(rest)] = rest
        self._holds += len(rest)

    def _complete(self, payload: memoryview) -> int:
        """Hand on what is held, with what is missing to a whole frame; how many bytes that took."""
        taken = min(-self._holds % self._align, len(payload))
        self._hold(payload[:taken])
        if self._holds % self._align == 0:
            self._hand_on()
        return taken

    def _hand_on(self) -> None:
        """The whole frames that are held."""
        frames, begun = divmod(self._holds, self._align)
        if frames:
            self._samples.take(frames, partial(self._unpack, self._held))
            self._held[:begun] = self._held[self._holds - begun : self._holds]
            self._holds = begun

    def measured(self, digest: str) -> Measured:
        """What was measured so far."""
        self._hand_on()
        return self._samples.measured(digest)
