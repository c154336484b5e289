"""The samples of copies: each file opened, each side read as one recording of many channels."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager

import numpy as np
import xxhash

from takehold.decide.file_set import place
from takehold.decide.layouts import sounds
from takehold.decide.likeness import doubles
from takehold.decide.looked_into import NOT_DECODED, undecodable
from takehold.decide.pairing import Told
from takehold.decide.side import DAY_S, Laid, Line, at, blocks, lines
from takehold.engine.patience import told
from takehold.formats import levels, pcm
from takehold.formats.describe import describe
from takehold.formats.layout import Layout
from takehold.formats.layout import layout as layout_of
from takehold.formats.names import display
from takehold.formats.pcm import Array
from takehold.model.errors import EvidenceError, Malformed, SourceChanged
from takehold.model.facts import ChannelBlocks
from takehold.model.recording import Copy, Recording
from takehold.model.slate import same_words
from takehold.model.sound import Coding, Kind, Span
from takehold.ports.decoder import Decoder, Samples
from takehold.ports.disk import DestinationTree, Reader

Pair = tuple[Recording, Copy]


class PcmSamples:
    """ports/decoder.Samples of a WAVE file's payload."""

    lossy = False

    def __init__(self, reader: Reader, span: Span, layout: Layout, sample_rate: int) -> None:
        self._reader, self._begin, self._layout = reader, span.offset, layout
        self._align = layout.channels * layout.width
        self.channels, self.bits = layout.channels, layout.bits
        self.frames = span.length // self._align
        self.sample_rate = sample_rate

    def read(self, start: int, count: int) -> Array:
        """As the port says."""
        raw = bytearray(count * self._align + pcm.SLACK)
        first, got = self._begin + start * self._align, 0
        while got < count * self._align:
            piece = self._reader.read_at(first + got, count * self._align - got)
            if not piece:
                raise SourceChanged("the copy ends before its audio does.", code="altered")
            raw[got : got + len(piece)] = piece
            got += len(piece)
        rows = np.empty((self.channels, count), pcm.DTYPES[self._layout.coding])
        pcm.unpack(self._layout, memoryview(raw), 0, rows)
        return rows


class Heard:
    """One file of a side, open. `spans` are the blocks whose digests are known, by their frames."""

    def __init__(self, recording: Recording, samples: Samples, begin: int | None) -> None:
        self.recording, self.samples, self.begin = recording, samples, begin
        self.spans: dict[tuple[int, int], tuple[bytes, ...]] = {}
        self._held: tuple[int, int] | None = None
        self._rows: Array = np.empty((samples.channels, 0))

    @property
    def coding(self) -> Coding | None:
        """What its digests are taken over."""
        return self.recording.sound.coding if self.recording.sound else None

    def know(self, known: ChannelBlocks) -> None:
        """Take the digests of its blocks, if they are of what is here."""
        edges = list(blocks(known.first_sample, self.samples.frames))
        of_this = all(len(digests) == 8 * len(edges) for digests in known.blocks)
        if of_this and len(known.blocks) == self.samples.channels and self.coding:
            for number, span in enumerate(edges):
                here = slice(8 * number, 8 * number + 8)
                self.spans[span] = tuple(digests[here] for digests in known.blocks)

    def rows(self, begin: int, end: int) -> Array:
        """All channels of these frames. A block that is not what was measured is no evidence."""
        if self._held != (begin, end):
            self._held = None
            with _named(self.recording):
                self._rows = self.samples.read(begin, end - begin)
                known = self.spans.get((begin, end), ())
                if any(_digest(row) != was for row, was in zip(self._rows, known, strict=False)):
                    raise SourceChanged(
                        "the copy holds other bytes than were proven.", code="altered"
                    )
            self._held = begin, end
        return self._rows

    def sounding(self) -> tuple[bool, ...] | None:
        """Which channels hold more than silence or an idle input, None where none was measured."""
        sound = self.recording.sound
        known = levels.channels_of(sound) if sound else ()
        return tuple(sounds(sound, c) for c in known) if sound and known else None


class OpenSide:
    """All files of a side, laid out on one line of frames."""

    def __init__(self, files: Sequence[Heard]) -> None:
        self.files = files
        self.sample_rate = files[0].samples.sample_rate
        self.day = DAY_S * self.sample_rate
        laid = [
            Laid(f.samples.channels, f.samples.frames, f.begin, place(f.recording)) for f in files
        ]
        self.lines: tuple[Line, ...] = lines(laid, self.day)
        self.numbers = tuple(f.recording.id for f in files)
        self.end = max((run.end for line in self.lines for run in line), default=0)
        self.lossy = any(f.samples.lossy for f in files)
        self.bits = max(f.samples.bits for f in files)

    def tracks(self) -> list[Told | None]:
        """What each channel's first file tells of it, None where it has no name there."""
        return [_track(self.files[line[0].file].recording, line[0].channel) for line in self.lines]

    def holds(self, channel: int, begin: int, end: int) -> bool:
        """Whether these frames of a channel are there."""
        return at(self.lines[channel], begin, end) is not None

    def holds_any(self, begin: int, end: int) -> bool:
        """Whether these frames of any channel are there."""
        return any(at(line, begin, end) is not None for line in self.lines)

    def row(self, channel: int, begin: int, end: int) -> Array:
        """A channel's samples, of frames that it holds."""
        run = at(self.lines[channel], begin, end)
        assert run is not None
        row: Array = self.files[run.file].rows(begin - run.begin, end - run.begin)[run.channel]
        return row

    def digest(self, channel: int, begin: int, end: int) -> tuple[Coding | None, bytes] | None:
        """The digest of just these frames of a channel, None where it is not known."""
        run = at(self.lines[channel], begin, end)
        if run is None:
            return None
        file = self.files[run.file]
        known = file.spans.get((begin - run.begin, end - run.begin))
        return (file.coding, known[run.channel]) if known else None

    def edges(self) -> set[int]:
        """Where files and known blocks begin and end."""
        found: set[int] = set()
        for run in {(r.file, r.begin, r.end) for line in self.lines for r in line}:
            number, begin, end = run
            found |= {begin, end}
            found |= {begin + edge for span in self.files[number].spans for edge in span}
        return found

    def piece(self, begin: int, end: int, channels: Sequence[int] | None = None) -> Array:
        """These channels, or all, as doubles, a row each; zeros where nothing is."""
        channels = range(len(self.lines)) if channels is None else channels
        found = np.zeros((len(channels), end - begin))
        for row, channel in zip(found, channels, strict=True):
            for run in self.lines[channel]:
                first, last = max(begin, run.begin), min(end, run.end)
                if first < last:
                    rows = self.files[run.file].rows(first - run.begin, last - run.begin)
                    row[first - begin : last - begin] = doubles(rows[run.channel])
        return found

    def sounds(self, channel: int) -> bool | None:
        """Whether a channel holds more than an idle input, None where that was not measured."""
        there = [(self.files[run.file].sounding(), run.channel) for run in self.lines[channel]]
        if any(known is None for known, _ in there):
            return None
        return any(known[number] for known, number in there if known)


def open_side(
    pairs: Sequence[Pair],
    tree: DestinationTree,
    decoder: Decoder,
    known: Mapping[int, ChannelBlocks],
    stack: ExitStack,
) -> OpenSide:
    """Open the copies. Raises what disk and decoder raise, SourceChanged for a short copy."""
    return OpenSide([_heard(*pair, tree, decoder, known, stack) for pair in pairs])


def _heard(
    recording: Recording,
    copy: Copy,
    tree: DestinationTree,
    decoder: Decoder,
    known: Mapping[int, ChannelBlocks],
    stack: ExitStack,
) -> Heard:
    size = recording.stamp.size
    reader = stack.enter_context(tree.open(copy.path))
    with _named(recording):
        if reader.stamp().size != size:
            raise SourceChanged(f"the copy has not its {size} bytes.", code="altered")
        said = describe(reader.read_at, size)
        layout = layout_of(said.format) if said.format and said.data else None
        samples: Samples
        if layout and said.format and said.data:
            samples = PcmSamples(reader, said.data, layout, said.format.sample_rate)
        else:
            samples = stack.enter_context(decoder.open(reader, size, _decoded(recording)))
    heard = Heard(recording, samples, said.metadata.time_reference)
    if recording.id in known:
        heard.know(known[recording.id])
    return heard


def _track(recording: Recording, channel: int) -> Told | None:
    told = recording.description.metadata.tracks
    named = ((t.channel, same_words(t.name)) for t in told if t.interleave == channel + 1)
    return next((one for one in named if one[1]), None)


def _decoded(recording: Recording) -> int | None:
    """The frames of a compressed recording, as they were measured; None where they were not.

    Raises Malformed where decoding it failed then: it would again.
    """
    if undecodable(recording):
        raise Malformed("it does not decode.", code=NOT_DECODED)
    compressed = recording.description.kind is Kind.COMPRESSED
    return recording.sound.frames if compressed and recording.sound else None


@contextmanager
def _named(recording: Recording) -> Iterator[None]:
    """What is wrong with its bytes is said with its name; the disk's own errors have it."""
    try:
        yield
    except EvidenceError as error:
        raise told(error, display(recording.path)) from error.__cause__


def _digest(row: Array) -> bytes:
    return xxhash.xxh3_64_digest(np.ascontiguousarray(row).data)
