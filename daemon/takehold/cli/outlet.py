"""Standard output and error where they fail: a full disk, a reader that has left, none at all.

An answer that could not be given is a fault of the environment, whatever it would have been. A
remark on standard error that nobody can hear stops no work.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator

from takehold.model.errors import WorldError

OUT, ERR = 1, 2


class Answer(io.TextIOWrapper):
    """Standard output. Raises WorldError where it takes no more."""

    def write(self, text: str, /) -> int:
        """Write it, or say that it could not be."""
        with _said():
            return super().write(text)

    def flush(self) -> None:
        """Bring it out, or say that it could not be."""
        with _said():
            super().flush()


class Remark(io.TextIOWrapper):
    """Standard error, best effort."""

    def write(self, text: str, /) -> int:
        """Write it if that can be done."""
        with contextlib.suppress(OSError):
            super().write(text)
        return len(text)

    def flush(self) -> None:
        """Bring it out if that can be done."""
        with contextlib.suppress(OSError):
            super().flush()


def open_outlets() -> None:
    """Put them in the place of Python's own; what a terminal cannot show is escaped.

    A stream that was closed before the start is taken, so that no file of ours gets its number:
    output by what takes no writes, so that an answer there is told as lost.
    """
    for number, how in enumerate((os.O_RDONLY, os.O_RDONLY, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, how)
    sys.stdout = _wrapped(Answer, sys.stdout, OUT)
    sys.stderr = _wrapped(Remark, sys.stderr, ERR)


def _wrapped(kind: type[io.TextIOWrapper], stream: object, number: int) -> io.TextIOWrapper:
    if not isinstance(stream, io.TextIOWrapper):
        raw = open(number, "wb", closefd=False)  # noqa: SIM115 - it lives as long as the program
        return kind(raw, errors="backslashreplace", line_buffering=True)
    encoding, lines = stream.encoding, stream.line_buffering
    return kind(stream.detach(), encoding=encoding, errors="backslashreplace", line_buffering=lines)


@contextlib.contextmanager
def _said() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        # What is left in the buffer goes nowhere: Python would try it once more at the end.
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, OUT)
        os.close(nowhere)
        raise WorldError(
            f"The answer could not be written whole: {error.strerror}.",
            "What the command did stands; ask again: takehold status, takehold day.",
            code="answer-lost",
        ) from error
