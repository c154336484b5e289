"""Takes: the recordings of one scene and take, found together on one load."""

from __future__ import annotations

from typing import NamedTuple

from takehold.model.sound import Rate, Track


class Part(NamedTuple):
    """Files that begin together: one poly file, or the files of a set, by their channels.

    `files` are numbers of recordings. `start` is the first sample's count since midnight, `frames`
    the length of the longest; both at the file's sample rate, None where they are not known.
    """

    files: tuple[int, ...]
    start: int | None = None
    frames: int | None = None


class Take(NamedTuple):
    """One poly file, a set of mono files, or either split into parts, in the order of time.

    `sample_rate` in Hz, 0 where it is not known. `tracks` are those of all files of a part.
    `expected` is how many files its set has by its own account (iXML TOTAL_FILES), None where that
    is not said. `rerecorded` is one that was made later to replace another; `again` are those that
    were made to replace this one. `types` are the words of all its files (iXML TAKE_TYPE);
    `derived` is one whose files were made from others on its card, as monos split from a poly file.
    """

    load: int
    scene: str
    take: str
    tape: str
    originator: str
    parts: tuple[Part, ...]
    sample_rate: int
    channels: int
    rate: Rate | None = None
    circled: bool = False
    note: str = ""
    tracks: tuple[Track, ...] = ()
    expected: int | None = None
    rerecorded: bool = False
    again: tuple[Take, ...] = ()
    types: tuple[str, ...] = ()
    derived: bool = False

    @property
    def first(self) -> int:
        """The recording that stands for the take: the first file of its first part."""
        return self.parts[0].files[0]

    @property
    def files(self) -> tuple[int, ...]:
        """All its recordings, part after part; without those of `again`."""
        return tuple(number for part in self.parts for number in part.files)

    @property
    def start(self) -> int | None:
        """Where its first part begins, in samples since midnight."""
        return self.parts[0].start

    @property
    def frames(self) -> int | None:
        """The length of all parts together, None where that of one is not known."""
        lengths = [part.frames for part in self.parts]
        return None if None in lengths else sum(length or 0 for length in lengths)
