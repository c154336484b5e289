"""The things that can be done next. None of them deletes or overwrites anything."""

from __future__ import annotations

from dataclasses import dataclass

from takehold.model.recording import Copy, Load, Recording
from takehold.model.situation import Sighted, Target
from takehold.model.volume import Root


@dataclass(frozen=True, slots=True)
class Recognise:
    """See whether a card that came in anew holds what is known of it, by some of its recordings."""

    load: Load
    root: Root
    recordings: tuple[Recording, ...]


@dataclass(frozen=True, slots=True)
class TakeStock:
    """Describe new files of a card and give each its place."""

    load: Load
    root: Root
    files: tuple[Sighted, ...]


@dataclass(frozen=True, slots=True)
class Owed:
    """One recording and the destinations that lack it."""

    recording: Recording
    targets: tuple[Target, ...]


@dataclass(frozen=True, slots=True)
class Transfer:
    """Read each recording once from its card, for all destinations that lack it."""

    root: Root
    owed: tuple[Owed, ...]


@dataclass(frozen=True, slots=True)
class Confirm:
    """Read recordings a second time from their card (P8)."""

    root: Root
    recordings: tuple[Recording, ...]


@dataclass(frozen=True, slots=True)
class Salvage:
    """Save what can be read of a recording that cannot be read whole; never a copy.

    `best` has the fewest missing bytes of an earlier such file, by the destination's root.
    """

    root: Root
    label: str
    recording: Recording
    targets: tuple[Target, ...]
    best: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class CatchUp:
    """Copy recordings to one destination from a proven copy on another."""

    target: Target
    pairs: tuple[tuple[Recording, Copy, Target], ...]


@dataclass(frozen=True, slots=True)
class Prove:
    """Read copies on one destination again and compare."""

    target: Target
    pairs: tuple[tuple[Recording, Copy], ...]


@dataclass(frozen=True, slots=True)
class Compare:
    """Compare the samples of a primary recording with a backup's, from proven copies.

    Each side is part after part, the files of a part by their channels (model/comparison). `then`
    are further small ones on the same drive, done in one go.
    """

    target: Target
    ours: tuple[tuple[Recording, Copy], ...]
    theirs: tuple[tuple[Recording, Copy], ...]
    then: tuple[Compare, ...] = ()

    @property
    def pairs(self) -> tuple[tuple[Recording, Copy], ...]:
        """All that is read."""
        own = (*self.ours, *self.theirs)
        return (*own, *(pair for further in self.then for pair in further.pairs))


@dataclass(frozen=True, slots=True)
class Measure:
    """Measure the audio of a compressed recording from a proven copy, which is read again first."""

    target: Target
    recording: Recording
    copy: Copy


@dataclass(frozen=True, slots=True)
class Publish:
    """Put a written revision's files on a destination."""

    target: Target
    day: str
    number: int


AtCard = Recognise | TakeStock | Transfer | Confirm | Salvage
Step = AtCard | CatchUp | Prove | Measure | Compare | Publish


def lane(step: Step) -> str:
    """The device that sets the pace: one step at a time runs on it."""
    match step:
        case Recognise() | TakeStock() | Transfer() | Confirm() | Salvage():
            return f"card {step.root.volume.mount_id}"
        case (
            CatchUp(target=target)
            | Prove(target=target)
            | Measure(target=target)
            | Compare(target=target)
            | Publish(target=target)
        ):
            return f"drive {target.root.volume.device}"


def recordings_of(step: Step) -> set[int]:
    """The recordings that a step works on."""
    match step:
        case Transfer(owed=owed):
            return {o.recording.id for o in owed}
        case Confirm(recordings=recordings):
            return {r.id for r in recordings}
        case Salvage(recording=recording) | Measure(recording=recording):
            return {recording.id}
        case CatchUp() | Prove() | Compare():
            return {pair[0].id for pair in step.pairs}
        case _:
            return set()


def ways(step: Step) -> set[tuple[int, str]]:
    """The recordings that a step puts on a destination, each with the root that it goes to."""
    match step:
        case Transfer(owed=owed):
            return {(o.recording.id, t.root.identity) for o in owed for t in o.targets}
        case CatchUp(target=target, pairs=pairs):
            return {(late.id, target.root.identity) for late, *_ in pairs}
        case _:
            return set()
