"""What one look at the world showed."""

from __future__ import annotations

from dataclasses import dataclass

from takehold.model.recording import Stamp
from takehold.model.volume import Root


@dataclass(frozen=True, slots=True)
class Sighted:
    """A file of a source; `still_ns` is how long it has not changed, by a steady clock."""

    path: bytes
    stamp: Stamp
    still_ns: int


@dataclass(frozen=True, slots=True)
class Sight:
    """One load as it lies there now.

    `complete` is false where the listing broke off: then a file that is not in it may exist.
    `watched` is true for a folder that others write to while we look. `anew`: a known card that
    came in and was not looked into yet (decide/recognise).
    """

    load: int
    root: Root
    complete: bool
    watched: bool
    files: tuple[Sighted, ...]
    anew: bool = False


@dataclass(frozen=True, slots=True)
class Target:
    """A destination that is there. `free_bytes` is what its file system still takes."""

    name: str
    root: Root
    free_bytes: int


@dataclass(frozen=True, slots=True)
class Situation:
    """All of it. `absent` names the configured destinations that are not there."""

    now: int
    today: str
    sights: tuple[Sight, ...]
    targets: tuple[Target, ...]
    absent: tuple[str, ...] = ()
