"""Measures a FLAC or MP3 recording: decoded from a proven copy, by the meter that measures PCM.

Its samples go through that meter as the payload that a WAVE file of them would have: so the digests
are those of the same audio in a WAVE file. What a lossy coding gives back is measured as float.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from takehold.decide.looked_into import NOT_DECODED
from takehold.formats.audio import AudioMeter
from takehold.formats.layout import layout
from takehold.formats.pcm import interleaved
from takehold.model.errors import Malformed
from takehold.model.facts import ChannelBlocks, Fact, WasMeasured
from takehold.model.recording import Recording, Seen, Stamp
from takehold.model.sound import Complaint, Span, WaveFormat
from takehold.ports.decoder import Decoder, Stream
from takehold.ports.disk import Reader

# Samples that are decoded at once: 4 MB, some seconds of eight channels.
PIECE = 1 << 20
# A day of eight channels at 48 kHz. Silence takes next to no bytes: without a bound a small file
# could keep a drive busy for weeks.
MOST_SAMPLES = 1 << 35


def measure(
    recording: Recording, reader: Reader, decoder: Decoder, moved: Callable[[int], None]
) -> tuple[Fact, ...]:
    """What is known of it now; of one that does not decode, that it does not.

    `moved` is told of the bytes that were read and may raise. Raises what the reader raises.
    """
    said = recording.description
    try:
        with decoder.stream(_Followed(reader, moved), recording.stamp.size) as stream:
            meter = _measured(recording, stream)
            lossy, lacks = stream.lossy, stream.lacks
    except Malformed as error:
        # What was wrong is told in brackets behind what that means.
        why = error.says.partition(": ")[2].rstrip(".") or error.says
        complaints = (*said.complaints, Complaint(NOT_DECODED, why))
        return (WasMeasured(recording.id, replace(said, complaints=complaints), None),)
    sound = meter.sound()
    complaints = said.complaints
    if lacks:  # cut off between two of its frames, or never as long as it says
        told = f"{sound.frames} of {sound.frames + lacks} frames are there"
        if lacks < 0:
            told = f"it tells {sound.frames + lacks} frames and holds {sound.frames}"
        complaints = (*complaints, Complaint("header-untrue", told))
    known = WasMeasured(
        recording.id, replace(said, frames=sound.frames, complaints=complaints), sound
    )
    # A lossy decoder gives the same samples again only from the very beginning on.
    return (known,) if lossy else (known, _blocks(recording.id, meter))


def _blocks(recording: int, meter: AudioMeter) -> ChannelBlocks:
    measured = meter.measured()
    return ChannelBlocks(
        recording, measured.first_sample, tuple(channel.blocks for channel in measured.channels)
    )


def _measured(recording: Recording, stream: Stream) -> AudioMeter:
    """Its meter, once all samples went through it. Raises Malformed, and what the stream raises."""
    tag, bits = (3, 32) if stream.lossy else (1, stream.bits)
    form = WaveFormat(tag, stream.channels, stream.sample_rate, bits, stream.channels * (bits // 8))
    said, made = recording.description, layout(form)
    if made is None or said.format is None or _of(form) != _of(said.format):
        raise Malformed(f"it is decoded as another format: {_of(form)}.")
    meter = AudioMeter(Span(0, MOST_SAMPLES * made.width), form, said.metadata.time_reference)
    at = 0
    while len(samples := stream.read(PIECE // stream.channels)):
        payload = interleaved(made, samples)
        meter.feed(payload, at)
        at += len(payload)
        if at > MOST_SAMPLES * made.width:
            raise Malformed("it holds too much: more than a day of eight channels.")
    if stream.lacks > 0 and not at:
        raise Malformed(f"it does not decode: 0 of {stream.lacks} frames.")
    return meter


def _of(form: WaveFormat) -> str:
    channels = "1 channel" if form.channels == 1 else f"{form.channels} channels"
    return f"{channels} at {form.sample_rate} Hz"


class _Followed:
    """ports/disk.Reader that tells how much more of the file was read."""

    def __init__(self, reader: Reader, moved: Callable[[int], None]) -> None:
        self._reader, self._moved = reader, moved
        self._furthest = 0

    def read_at(self, offset: int, length: int) -> bytes:
        """As the port says."""
        got = self._reader.read_at(offset, length)
        # A look at the file's end is no progress.
        further = max(offset + len(got) - self._furthest, 0) if offset <= self._furthest else 0
        self._furthest += further
        self._moved(further)
        return got

    def read_into(self, buffer: memoryview, offset: int) -> int:
        """As the port says."""
        return self._reader.read_into(buffer, offset)

    def stamp(self) -> Stamp:
        """As the port says."""
        return self._reader.stamp()

    def seen(self, size: int) -> Seen:
        """As the port says."""
        return self._reader.seen(size)
