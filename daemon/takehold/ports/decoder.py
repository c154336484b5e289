"""What a general-purpose decoder makes of a file: a second opinion, and its samples."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any, Protocol

from takehold.ports.disk import Reader

if TYPE_CHECKING:  # numpy takes 0.1 s to import
    from numpy.typing import NDArray


class Samples(Protocol):
    """The samples of an open file.

    `lossy` says that they come from a coding that does not give back what went in.
    """

    channels: int
    frames: int
    sample_rate: int
    bits: int
    lossy: bool

    def read(self, start: int, count: int) -> NDArray[Any]:
        """Frames from `start` on, shape (channels, count): all of them, or an error is raised.

        int32, left-justified, or float with full scale 1.0. What is given may be written over by
        the next read.
        """


class Stream(Protocol):
    """The samples of an open file from its beginning to its end, whatever its header counts.

    `bits` are those of a sample where the coding is lossless. `lacks` are the frames that its
    header tells beyond those that were read, 0 where it tells none; below 0 where it tells fewer
    than there are.
    """

    channels: int
    sample_rate: int
    bits: int
    lossy: bool

    @property
    def lacks(self) -> int:
        """As told above."""

    def read(self, count: int) -> NDArray[Any]:
        """The next frames, `count` at most, shape (frames, channels); none at the end.

        Types as of `Samples`.
        """


class Decoder(Protocol):
    """Decodes through a library; never the judge of completeness."""

    def complaint(self, reader: Reader, size: int, frames: int) -> str | None:
        """None if it opens and counts the same frames, else what it said."""

    def open(
        self, reader: Reader, size: int, frames: int | None = None
    ) -> AbstractContextManager[Samples]:
        """Its samples, decoded as they are asked for.

        `frames` are those that a stream of it had, None where that is not known: whatever its
        header tells, there are as many.

        It, and `Samples.read`, raise Malformed with the code `not-decoded` where the bytes do not
        decode, and the reader's errors as they are.
        """

    def stream(self, reader: Reader, size: int) -> AbstractContextManager[Stream]:
        """Its samples in their order, to be read once; errors as those of `open`."""
