"""A second opinion on whole WAVE files, by libsndfile."""

from __future__ import annotations

import io
from typing import Any

from takehold.model.errors import TakeholdError
from takehold.ports.disk import Reader

# What one try may decode at once, whatever rate and channel count a header claims.
_MOST_SAMPLES = 1 << 22
_UNSUPPORTED = 4  # SF_ERR_UNSUPPORTED_ENCODING in libsndfile's sndfile.h


class SoundfileDecoder:
    """ports/decoder.Decoder: opens the file, decodes its first and its last second."""

    def complaint(self, reader: Reader, size: int, frames: int) -> str | None:
        """None if it opens and counts the same frames, else what it said.

        None too for a form libsndfile does not know. Errors of the reader are raised as they are.
        """
        import soundfile  # noqa: PLC0415  # 0.2 s and numpy: only where a file is looked at

        if _unknown_form(reader.read_at(0, 20)):
            return None
        file = _File(reader, size)
        try:
            said = _tried(soundfile, file, frames)
        except soundfile.LibsndfileError as error:
            said = None if error.code == _UNSUPPORTED else str(error.error_string)
        except (soundfile.SoundFileRuntimeError, ValueError) as error:
            said = str(error)
        if file.failed is not None:
            raise file.failed
        return said


def _unknown_form(head: bytes) -> bool:
    """BW64 (ITU-R BS.2088), and RF64 whose ds64 ends before its table (EBU Tech 3306 has 28)."""
    short_ds64 = head[12:16] == b"ds64" and int.from_bytes(head[16:20], "little") < 28
    return head[:4] == b"BW64" or (head[:4] == b"RF64" and short_ds64)


def _tried(soundfile: Any, file: _File, frames: int) -> str | None:
    with soundfile.SoundFile(file) as sound:
        if sound.frames != frames:
            return f"the decoder counts {sound.frames} frames, not {frames}"
        span = min(frames, max(1, sound.samplerate), _MOST_SAMPLES // sound.channels)
        for start in (0, frames - span):
            sound.seek(start)
            got = len(sound.read(span, dtype="int32"))
            if got != span:
                return f"the decoder read {got} of {span} frames from frame {start}"
    return None


class _File:
    """What libsndfile's virtual file needs. An exception would be lost in C: it is kept here."""

    def __init__(self, reader: Reader, size: int) -> None:
        self._reader = reader
        self._size = size
        self._at = 0
        self.failed: TakeholdError | None = None

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """As a file object does."""
        start = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._size}[whence]
        self._at = start + offset
        return self._at

    def tell(self) -> int:
        """As a file object does."""
        return self._at

    def read(self, length: int) -> bytes:
        """As a file object does; nothing more after a failure."""
        if self.failed is not None or self._at < 0:
            return b""
        try:
            got = self._reader.read_at(self._at, length)
        except TakeholdError as error:
            self.failed = error
            return b""
        self._at += len(got)
        return got
