"""What is kept in memory of a day that sleeps: what is asked of all days, and no more.

A value of some hundred bytes and 16 for each recording, in place of some thousand for each.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Set
from dataclasses import dataclass, field
from typing import NamedTuple

from takehold.model.recording import Copy, Proof, Recording, Seen
from takehold.model.slate import same_words, scene_and_take

NOBODY: array[int] = array("q")


class Proofs(NamedTuple):
    """Of a day's copies on one root: seconds since 1970 of the oldest and the newest proof.

    `of` are the recordings, in order; `weak` the proofs that are not durable, without their times.
    """

    of: array[int]
    oldest: int
    newest: int
    weak: frozenset[Proof]


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A sleeping day.

    `sizes` are those of `recordings`, which are in order; `folders` the first parts of their
    places, with the slash; `scenes` those of model/slate, as they compare. `seen_last` is when the
    newest of them was met, `latest` and `total` of the times of all that was seen, read and proven.
    """

    recordings: array[int]
    sizes: array[int]
    loads: frozenset[int]
    folders: frozenset[bytes]
    scenes: frozenset[str]
    seen_last: int
    latest: int
    total: int
    proofs: Mapping[str, Proofs]

    def size_of(self, recording: int) -> int:
        """Bytes of one of its recordings."""
        return self.sizes[bisect_left(self.recordings, recording)]

    def held(self, root: str) -> array[int]:
        """Its recordings with a copy on a root."""
        proofs = self.proofs.get(root)
        return NOBODY if proofs is None else proofs.of

    def stands_on(self, recording: int, roots: Container[str]) -> bool:
        """Whether one of its recordings has a copy on any of these roots."""
        held = (proofs.of for root, proofs in self.proofs.items() if root in roots)
        return any(_has(of, recording) for of in held)


@dataclass(frozen=True, slots=True, eq=False)
class Asleep:
    """A day as it is laid down.

    `differing` are its recordings of which a later read gave other bytes; `renewed` load, path and
    number of those that are later versions.
    """

    day: str
    outline: Outline
    differing: Set[int]
    renewed: tuple[tuple[int, bytes, int], ...]


@dataclass(slots=True)
class Sketch:
    """An outline in the making: recordings in the order of their ids, and times in any."""

    recordings: array[int] = field(default_factory=lambda: array("q"))
    sizes: array[int] = field(default_factory=lambda: array("Q"))
    loads: set[int] = field(default_factory=set)
    folders: set[bytes] = field(default_factory=set)
    scenes: set[str] = field(default_factory=set)
    seen_last: int = 0
    latest: int = 0
    total: int = 0
    spans: dict[str, tuple[int, int]] = field(default_factory=dict)
    held: dict[str, array[int]] = field(default_factory=lambda: defaultdict(lambda: array("q")))
    weak: dict[str, set[Proof]] = field(default_factory=lambda: defaultdict(set))

    def add(
        self, recording: int, load: int, size: int, seen_at: int, place: bytes, scene: str
    ) -> None:
        """A recording; its reads and copies are told by themselves."""
        self.seen_last = max(self.seen_last, seen_at) if self.recordings else seen_at
        self.recordings.append(recording)
        self.sizes.append(size)
        self.loads.add(load)
        self.folders.add(top_of(place))
        self.scenes.add(same_words(scene))
        self.note(seen_at)

    def note(self, at: int) -> None:
        """That something was seen, read or proven then."""
        self.latest = max(self.latest, at)
        self.total += at

    def proven(self, root: str, recording: int, at: int, weak: Proof | None) -> None:
        """A copy's proof; `weak` is it without its times, where it is not durable."""
        self.note(at)
        self.held[root].append(recording)
        oldest, newest = self.spans.get(root, (at, at))
        self.spans[root] = min(oldest, at), max(newest, at)
        if weak is not None:
            self.weak[root].add(weak)

    def take(self, recording: Recording, copies: Iterable[Copy]) -> None:
        """A recording with all that is known of it."""
        size, seen_at = recording.stamp.size, recording.seen_at
        (scene, _), place = scene_and_take(recording), recording.place
        self.add(recording.id, recording.load, size, seen_at, place, scene)
        for reading in recording.readings:
            self.note(reading.at)
        for copy in copies:
            proof = copy.proof
            bare = proof._replace(at=0, seen=Seen.UNKNOWN, mtime_ns=0)
            self.proven(copy.root, recording.id, proof.at, None if proof.durable else bare)

    def outline(self) -> Outline:
        """What it comes to."""
        proofs = {
            root: Proofs(self._in_order(root), *span, frozenset(self.weak[root]))
            for root, span in self.spans.items()
        }
        of_all = frozenset(self.loads), frozenset(self.folders), frozenset(self.scenes)
        times = self.seen_last, self.latest, self.total
        return Outline(self.recordings, self.sizes, *of_all, *times, proofs)

    def _in_order(self, root: str) -> array[int]:
        """Mostly a root holds all of a day: then it is one array."""
        of = array("q", sorted(set(self.held[root])))
        return self.recordings if of == self.recordings else of


def _has(of: array[int], number: int) -> bool:
    at = bisect_left(of, number)
    return at < len(of) and of[at] == number


def top_of(place: bytes) -> bytes:
    """The first part of a place, with the slash."""
    return place[: place.find(b"/") + 1]
