"""A second opinion on whole files, and the samples of those that are no PCM, by libsndfile."""

from __future__ import annotations

import io
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from takehold.formats.compressed import describe, most_frames, telling, told_samples, untold
from takehold.formats.flac_end import held_frames
from takehold.formats.riff import NotWave, walk
from takehold.model.errors import Malformed, TakeholdError
from takehold.model.sound import Span
from takehold.ports.decoder import Samples, Stream
from takehold.ports.disk import Reader

# What one try may decode at once, whatever rate and channel count a header claims.
_MOST_SAMPLES = 1 << 22
# Frames by which the count of an MP3 that does not tell it may be too high: two of its own frames.
_GUESSED = 2 * 1152
# How far before a place a lossy decoder is begun with: a frame takes bits of up to 511 bytes before
# it, 6 of the smallest frames of MPEG-1 Layer III at 48 kHz (ISO/IEC 11172-3, from memory).
_SETTLES = 16 * 1152
# What an encoder puts around the sound, and a decoder takes away: four frames at most (measured).
_AROUND = 4 * 1152
_LOSSY = frozenset({"MP3", "MPEG", "OGG"})
# Each of their samples stands for itself: one that is there decodes.
_PLAIN = frozenset({"WAV", "WAVEX", "RF64"})
_ALONE = frozenset({"PCM_S8", "PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"})
_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
# SF_COUNT_MAX in libsndfile's sndfile.h: the frames of a file whose header does not tell them.
_NOT_TOLD = (1 << 63) - 1
# A file of so many bytes is handed over whole: asked for piece by piece it costs ten times as much.
_IN_MEMORY = 4 << 20
_UNSUPPORTED = 4  # SF_ERR_UNSUPPORTED_ENCODING in libsndfile's sndfile.h


class SoundfileDecoder:
    """ports/decoder.Decoder: opens the file, decodes its first and its last second.

    Of PCM, the first and the last frame.
    """

    def complaint(self, reader: Reader, size: int, frames: int) -> str | None:
        """None if it opens and counts the same frames, else what it said.

        None too for a form libsndfile does not know, or does not walk. Errors of the reader are
        raised as they are.
        """
        import soundfile  # noqa: PLC0415  # 0.2 s and numpy: only where a file is looked at

        if _unknown_form(reader.read_at(0, 20)):
            return None
        file = _File(reader, Span(0, size), size)
        memory = _in_memory(reader, size)
        try:
            said = _tried(soundfile, file if memory is None else memory, frames)
        except soundfile.LibsndfileError as error:
            said = None if error.code == _UNSUPPORTED else str(error.error_string)
        except (soundfile.SoundFileRuntimeError, ValueError) as error:
            said = str(error)
        if file.failed is not None:
            raise file.failed
        return None if said and _goes_astray(reader, size) else said

    @contextmanager
    def open(self, reader: Reader, size: int, frames: int | None = None) -> Iterator[Samples]:
        """The file's samples: int32 where the coding is lossless, else float32."""
        import soundfile  # noqa: PLC0415

        file = _counted(reader, size, frames)
        with _failures(soundfile, file):
            sound = _straight(soundfile, file)
        with sound:
            if frames is None and sound.frames == _NOT_TOLD:
                raise _not_decoded("its header was never finished: it does not tell its length")
            if frames is None and sound.format == "FLAC" and sound.frames > most_frames(size):
                raise _not_decoded(f"its {size} bytes cannot hold the {sound.frames} frames told")
            yield _Samples(soundfile, file, sound, sound.frames if frames is None else frames)

    @contextmanager
    def stream(self, reader: Reader, size: int) -> Iterator[Stream]:
        """As `open`, without seeking: a FLAC whose header was never finished has no end to it."""
        import soundfile  # noqa: PLC0415

        more = _untold_frames(reader, size)
        file = _counted(reader, size, more.held if more else None)
        with _failures(soundfile, file):
            sound = _straight(soundfile, file)
        with sound:
            yield _Stream(soundfile, file, sound, told_samples(reader.read_at), more)


def _straight(soundfile: Any, file: _File) -> Any:
    """An open file of which no read ends with a seek: a lossy decoder would begin anew there."""

    class Straight(soundfile.SoundFile):  # type: ignore[misc]
        def seekable(self) -> bool:
            return False

    return Straight(file)


class _Samples:
    """ports/decoder.Samples of an open file."""

    def __init__(self, soundfile: Any, file: _File, sound: Any, frames: int) -> None:
        self._soundfile, self._file, self._sound = soundfile, file, sound
        self._at = 0
        self.channels: int = sound.channels
        self.frames = frames
        self.sample_rate: int = sound.samplerate
        self.lossy = sound.format in _LOSSY
        self.bits = _BITS.get(sound.subtype, 16)

    def read(self, start: int, count: int) -> Any:
        """As the port says, the same wherever reading began: a lossy decoder settles before."""
        dtype = "float32" if self.lossy else "int32"
        with _failures(self._soundfile, self._file):
            if start != self._at:
                before = min(start, _SETTLES) if self.lossy else 0
                self._sound.seek(start - before)
                self._sound.read(before, dtype=dtype)
            got = self._sound.read(count, dtype=dtype, always_2d=True, fill_value=0)
            self._at = self._sound.tell()
        lacks = start + count - self._at
        guessed = self.lossy and lacks <= _GUESSED and start + count > self.frames - _GUESSED
        if lacks and not guessed:
            raise _not_decoded(f"{count - lacks} of {count} frames from frame {start}")
        return got.T


class _Stream:
    """ports/decoder.Stream of an open file."""

    def __init__(
        self, soundfile: Any, file: _File, sound: Any, told: int, more: _More | None
    ) -> None:
        self._soundfile, self._file, self._sound = soundfile, file, sound
        self._told, self._more = told, more
        self._done = 0
        self.channels: int = sound.channels
        self.sample_rate: int = sound.samplerate
        self.lossy = sound.format in _LOSSY
        self.bits = _BITS.get(sound.subtype, 16)

    def read(self, count: int) -> Any:
        """As the port says."""
        with _failures(self._soundfile, self._file):
            dtype = "float32" if self.lossy else "int32"
            got = self._sound.read(count, dtype=dtype, always_2d=True)
        self._done += len(got)
        return got

    @property
    def lacks(self) -> int:
        """As the port says; what a lossy coding only guesses is not told."""
        told: int = self._sound.frames
        lacks = 0 if told == _NOT_TOLD else max(told - self._done, 0)
        lacks = 0 if self.lossy and lacks <= _GUESSED else lacks
        # Where the file is too short for it, libsndfile does not believe an information frame.
        promised = self._told - self._done
        lacks = max(lacks, promised) if promised > _AROUND else lacks
        return self._more.told - self._more.held if self._more and not lacks else lacks


@dataclass(frozen=True, slots=True)
class _More:
    """The frames that a FLAC's header tells, and that it holds more of."""

    told: int
    held: int


def _untold_frames(reader: Reader, size: int) -> _More | None:
    """Of a FLAC that ends behind the count in its header, where libsndfile would stop."""
    told = describe(reader.read_at, size)
    if told is None or told.frames is None:
        return None
    held = held_frames(reader.read_at, size)
    return _More(told.frames, held) if held and told.frames < held <= most_frames(size) else None


def _counted(reader: Reader, size: int, known: int | None = None) -> _File:
    """The file, an MP3 with the size that lets libsndfile guess its length right.

    A FLAC of so many `known` frames says so: in one that tells others no place can be found.
    """
    frames = untold(reader.read_at, size)
    if frames is not None:
        return _File(reader, frames.span, frames.told)
    head = b"" if known is None else telling(reader.read_at(0, 42), known)
    return _File(reader, Span(0, size), size, head)


@contextmanager
def _failures(soundfile: Any, file: _File) -> Iterator[None]:
    """What libsndfile raises, or the reader did, as the port says."""
    try:
        yield
    except (soundfile.SoundFileRuntimeError, ValueError) as error:
        says = getattr(error, "error_string", str(error))
        raise file.failed or _not_decoded(says or "what lies between is damaged") from error
    if file.failed is not None:
        raise file.failed


def _not_decoded(says: str) -> Malformed:
    return Malformed(f"it does not decode: {says.rstrip('.')}.", code="not-decoded")


def _unknown_form(head: bytes) -> bool:
    """BW64 (ITU-R BS.2088), and RF64 whose ds64 ends before its table (EBU Tech 3306 has 28)."""
    short_ds64 = head[12:16] == b"ds64" and int.from_bytes(head[16:20], "little") < 28
    return head[:4] == b"BW64" or (head[:4] == b"RF64" and short_ds64)


def _goes_astray(reader: Reader, size: int) -> bool:
    """Whether libsndfile 1.2.2 misses `data`, which is where the walk found it.

    It steps over no pad byte in RF64, and expects one behind every odd chunk elsewhere (measured).
    """
    try:
        walked = walk(reader.read_at, size)
    except NotWave:
        return False
    for chunk, after in pairwise(walked.chunks):
        if chunk.id == b"data":
            break
        bare = after.offset - 8 == chunk.offset + chunk.present
        if chunk.present % 2 and (bare or walked.form != "RIFF"):
            return True
    return False


class _Memory:
    """A file in memory that has a descriptor (memfd_create(2)), used again for each file."""

    def __init__(self) -> None:
        self.fd = os.memfd_create("decoded")

    def __del__(self) -> None:
        with suppress(AttributeError, OSError):
            os.close(self.fd)


_mine = threading.local()


def _in_memory(reader: Reader, size: int) -> int | None:
    """A descriptor of a small file's bytes, this thread's own; None where there is none."""
    if size > _IN_MEMORY or not hasattr(os, "memfd_create"):  # Linux only
        return None
    held = reader.read_at(0, size)
    if not hasattr(_mine, "memory"):
        _mine.memory = _Memory()
    fd: int = _mine.memory.fd
    os.ftruncate(fd, len(held))
    os.lseek(fd, 0, os.SEEK_SET)
    return fd if os.pwrite(fd, held, 0) == len(held) else None


def _tried(soundfile: Any, file: _File | int, frames: int) -> str | None:
    with soundfile.SoundFile(file, closefd=False) as sound:
        if sound.frames != frames:
            return f"the decoder counts {sound.frames} frames, not {frames}"
        alone = sound.format in _PLAIN and sound.subtype in _ALONE
        second = 1 if alone else max(1, sound.samplerate)
        span = min(frames, second, _MOST_SAMPLES // sound.channels)
        for start in dict.fromkeys((0, frames - span)):
            if start:
                sound.seek(start)
            got = len(sound.buffer_read(span, dtype="int32")) // (4 * sound.channels)
            if got != span:
                return f"the decoder read {got} of {span} frames from frame {start}"
    return None


class _File:
    """What libsndfile's virtual file needs. An exception would be lost in C: it is kept here.

    `size` is what it is told as having; where that is beyond its `span`, a look there shows zeros.
    It begins with `head`, whatever stands there.
    """

    def __init__(self, reader: Reader, span: Span, size: int, head: bytes = b"") -> None:
        self._reader = reader
        self._head = head
        self._span = span
        self._size = size
        self._at = 0
        self._sought = False
        self.failed: TakeholdError | None = None

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """As a file object does."""
        start = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._size}[whence]
        self._at = start + offset
        self._sought = True
        return self._at

    def tell(self) -> int:
        """As a file object does."""
        return self._at

    def read(self, length: int) -> bytes:
        """As a file object does; nothing more after a failure."""
        if self.failed is not None or self._at < 0:
            return b""
        try:
            there = min(length, max(self._span.length - self._at, 0))
            got = self._reader.read_at(self._span.offset + self._at, there) if there else b""
            head = self._head[self._at : self._at + len(got)]
            got = head + got[len(head) :]
        except TakeholdError as error:
            self.failed = error
            return b""
        if self._sought and len(got) == there:
            got = got.ljust(min(length, self._size - self._at), b"\0")
        self._sought = False
        self._at += len(got)
        return got
