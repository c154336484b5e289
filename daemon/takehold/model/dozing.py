"""A ledger of which old days are not in memory, and answers all the same.

Rules of this file:
1. A day sleeps whole. Of its recordings, their files and copies there is an outline only; what else
   is known of it stays.
2. Whatever asks for anything of it wakes it: it is told again, as it was recorded. So no question
   is answered "not there" because of sleep; what differs is how long it takes.
3. What is applied was recorded before, and a day that was told again would hold it already: the
   days that facts are about are roused before they are recorded.
4. A day may fall asleep whenever another one wakes. Values that were handed out stay as they are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import (
    Callable,
    Collection,
    Container,
    ItemsView,
    Iterable,
    Iterator,
    KeysView,
    Mapping,
    ValuesView,
)
from typing import Any, Protocol, TypeVar

from takehold.model import facts as f
from takehold.model.ledger import Ledger
from takehold.model.outline import Asleep, Sketch
from takehold.model.recording import Recording, Trace

V = TypeVar("V")
# Recordings that may be awake, if no more are at work: two large days. Chosen, no source.
AWAKE = 2_000


class Kept(Protocol):
    """Where what sleeps is told: the catalogue."""

    def but_files(self) -> Iterable[f.Fact]:
        """All that is known, but for recordings that are there, and copies."""

    def sleepers(self) -> Iterable[Asleep]:
        """The rest of it, in outline."""

    def of_day(self, day: str) -> Iterable[f.Fact]:
        """The `Inventoried` and `Proven` facts of the recordings of a day, as they stand now."""

    def traces(self, load: int) -> list[Trace]:
        """As `Ledger.traces`."""


class Dozing(Ledger):
    """`asleep` are the days that sleep. Its questions raise what `kept` raises."""

    __slots__ = (
        "_asked",
        "_days_of",
        "_folding",
        "_here",
        "_in",
        "_kept",
        "_most",
        "_roused",
        "_sleepers",
        "_use",
    )

    def __init__(self, kept: Kept, most: int = AWAKE) -> None:
        """`most` recordings are awake, if no more are at work; to begin with there are none."""
        super().__init__()
        self._kept = kept
        self._most = most
        self._sleepers: dict[int, str] = {}
        self._days_of: dict[int, set[str]] = defaultdict(set)
        self._in: frozenset[int] = frozenset()
        self._here: frozenset[str] = frozenset()
        self._roused: set[str] = set()
        self._use: dict[str, int] = {}
        self._asked = 0
        self._folding = False
        self.recordings = _ByRecording(self._wake, self._sleepers, lambda: self._sleepers)
        self.copies = _ByRecording(self._wake, self._sleepers, self._copied)
        self.of_load = _ByLoad(self._wake_load, self._days_of)

    # -- what is told

    @classmethod
    def laid(cls, kept: Kept, most: int = AWAKE) -> Dozing:
        """All that is known, nothing of it awake."""
        known = cls(kept, most)
        known.apply(kept.but_files())
        for day in kept.sleepers():
            known.lay_down(day)
        return known

    def lay_down(self, known: Asleep) -> None:
        """A whole day that is known, and not in memory."""
        outline = known.outline
        mine = {number: number for number in outline.recordings}  # one object each, everywhere
        self._sleepers.update(dict.fromkeys(mine, known.day))
        self.of_day[known.day].update(mine)
        for load in outline.loads:
            self._days_of[load].add(known.day)
        self.differing |= known.differing
        for load, path, version in known.renewed:
            self._note_version(load, path, version, known.day)
        self.asleep[known.day] = outline
        self.next_id = max(self.next_id, outline.recordings[-1] + 1)
        self.serial += 1

    def rouse(self, facts: Iterable[f.Fact]) -> None:
        """Wake the days that facts are about, before they are recorded; till they are applied."""
        self._roused = set()
        for fact in facts:
            self._roused |= self._days_about(fact)
        for day in sorted(self._roused & self.asleep.keys()):
            self._wake(day)

    def _days_about(self, fact: f.Fact) -> set[str]:
        match fact:
            case f.Inventoried(recording):
                return {recording.day, self.day_of(recording.id)}
            case f.Proven(copy):
                return {self.day_of(copy.recording)}
            case (
                f.WasRead(recording=number)
                | f.WasMeasured(recording=number)
                | f.SameBytes(recording=number)
                | f.Gone(recording=number)
                | f.Broken(recording=number)
            ):
                return {self.day_of(number)}
            case _:
                return set()

    def apply(self, facts: Iterable[f.Fact]) -> None:
        """Fold facts in, in order; those about a day that sleeps were announced to `rouse`."""
        self._folding = True
        try:
            super().apply(facts)
        finally:
            self._folding, self._roused = False, set()
        self._ease()

    def _keep(self, recording: Recording) -> None:
        super()._keep(recording)
        self._days_of[recording.load].add(recording.day)
        if recording.load in self._in:
            self._here |= {recording.day}

    # -- asleep and awake

    def stay(self, loads: Iterable[int]) -> None:
        """These loads are in: their days are asked for all the time. Others may sleep."""
        self._in = frozenset(loads)
        self._here = frozenset(day for load in self._in for day in self._days_of.get(load, ()))
        self._ease()

    def _wake(self, day: str) -> None:
        """Have it told again; where that fails, it sleeps on."""
        if self._folding:
            raise RuntimeError(f"facts about {day}, which was not roused, are applied")
        told = list(self._kept.of_day(day))
        for number in self.asleep.pop(day).recordings:
            del self._sleepers[number]
        for fact in told:
            match fact:
                case f.Inventoried(recording):
                    dict.__setitem__(self.recordings, recording.id, recording)
                    self._place(recording)
                case f.Proven(copy):
                    held = self.copies.setdefault(copy.recording, {})
                    held[(copy.root, copy.path)] = copy
                    self.held.setdefault(copy.root, set()).add(copy.recording)
                case _:
                    raise TypeError(f"no fact of one day: {fact!r:.60}")
        self._touch(day)
        self._ease(day)

    def _place(self, recording: Recording) -> None:
        """Among the files of its load: made anew, for who asked before may look through them."""
        paths = self.of_load.setdefault(recording.load, {})
        paths[recording.path] = sorted({*paths.get(recording.path, ()), recording.id})

    def _wake_load(self, load: int) -> None:
        sleeping = self._days_of.get(load, set()) & self.asleep.keys()
        if sleeping:
            here, self._here = self._here, self._here | self._days_of[load]
            try:
                for day in sorted(sleeping):
                    self._wake(day)
            finally:
                self._here = here

    def _touch(self, day: str) -> None:
        self._asked += 1
        self._use[day] = self._asked

    def _ease(self, waking: str = "") -> None:
        """Let days sleep until few enough are awake: what was not asked for longest comes first."""
        awake = dict.__len__(self.recordings)
        if awake <= self._most:
            return
        busy = {*self._here, *self._roused, waking}
        idle = [d for d, of in self.of_day.items() if of and d not in self.asleep and d not in busy]
        for day in sorted(idle, key=lambda day: (self._use.get(day, 0), day)):
            if awake <= self._most:
                return
            awake -= len(self.of_day[day])
            self._sleep(day)

    def _sleep(self, day: str) -> None:
        sketch, numbers = Sketch(), sorted(self.of_day[day])
        for number in numbers:
            recording = dict.__getitem__(self.recordings, number)
            sketch.take(recording, dict.get(self.copies, number, {}).values())
        outline = sketch.outline()
        for load in outline.loads:
            self._leave(load, self.of_day[day])
        for number in numbers:
            dict.__delitem__(self.recordings, number)
            dict.pop(self.copies, number, None)
            self._sleepers[number] = day
        for root, proofs in outline.proofs.items():
            self.held[root].difference_update(proofs.of)
        self.asleep[day] = outline

    def _leave(self, load: int, gone: set[int]) -> None:
        """Forget the files of a load that are of a day; who asked for them before keeps them."""
        paths = dict.get(self.of_load, load, {})
        kept = {path: [n for n in of if n not in gone] for path, of in paths.items()}
        dict.__setitem__(self.of_load, load, {path: of for path, of in kept.items() if of})

    def _copied(self) -> set[int]:
        outlines = self.asleep.values()
        return {n for outline in outlines for p in outline.proofs.values() for n in p.of}

    # -- what wakes nobody

    def day_of(self, recording: int) -> str:
        """The day of a recording, "" of one that is not known."""
        day = self._sleepers.get(recording)
        return super().day_of(recording) if day is None else day

    def day(self, day: str) -> list[Recording]:
        """All recordings of a day in the order they were met."""
        if day in self.of_day:
            self._touch(day)
        return super().day(day)

    def on(self, root: str) -> frozenset[int]:
        """The recordings with a proven copy on a root."""
        return super().on(root).union(*(outline.held(root) for outline in self.asleep.values()))

    def held_of(self, day: str, root: str) -> set[int]:
        """The recordings of a day with a proven copy on a root."""
        outline = self.asleep.get(day)
        return super().held_of(day, root) if outline is None else set(outline.held(root))

    def lacking(self, root: str) -> set[int]:
        """The recordings without a proven copy on a root."""
        lacks = set(dict.__iter__(self.recordings)) - self.held.get(root, set())
        for outline in self.asleep.values():
            if len(outline.held(root)) < len(outline.recordings):
                lacks |= set(outline.recordings) - set(outline.held(root))
        return lacks

    def stands_on(self, recording: int, roots: Container[str]) -> bool:
        """Whether a recording has a proven copy on any of these roots."""
        day = self._sleepers.get(recording)
        if day is None:
            return super().stands_on(recording, roots)
        return self.asleep[day].stands_on(recording, roots)

    def size_of(self, recording: int) -> int:
        """Bytes of a recording."""
        day = self._sleepers.get(recording)
        return super().size_of(recording) if day is None else self.asleep[day].size_of(recording)

    def is_below(self, recording: int, folder: bytes) -> bool:
        """Whether a recording's place begins with that first part."""
        day = self._sleepers.get(recording)
        folders = self.asleep[day].folders if day is not None else frozenset()
        if len(folders) == 1 or (folders and folder not in folders):
            return folder in folders
        return super().is_below(recording, folder)

    def traces(self, load: int) -> list[Trace]:
        """What tells the recordings of a load on its card again, in the order they were met."""
        if self._days_of.get(load, set()) & self.asleep.keys():
            return self._kept.traces(load)
        return super().traces(load)

    def scenes(self, day: str) -> frozenset[str]:
        """The scenes of a day's recordings, as they compare; "" for those that tell none."""
        outline = self.asleep.get(day)
        return super().scenes(day) if outline is None else outline.scenes

    def seen_last(self, day: str) -> int | None:
        """When the newest recording of a day was met, None if it has none."""
        outline = self.asleep.get(day)
        return super().seen_last(day) if outline is None else outline.seen_last

    def times(self, day: str) -> tuple[int, int]:
        """The latest and the sum of the times of what was seen, read and proven of a day."""
        outline = self.asleep.get(day)
        return super().times(day) if outline is None else (outline.latest, outline.total)


class _ByRecording(dict[int, V]):
    """What of it sleeps is woken when it is asked for; `asleep` are the keys of that."""

    __slots__ = ("_asleep", "_sleepers", "_wake")

    def __init__(
        self,
        wake: Callable[[str], None],
        sleepers: Mapping[int, str],
        asleep: Callable[[], Collection[int]],
    ) -> None:
        super().__init__()
        self._wake, self._sleepers, self._asleep = wake, sleepers, asleep

    def _ask(self, key: Any) -> None:
        day = self._sleepers.get(key)
        if day is not None:
            self._wake(day)

    def __missing__(self, key: int) -> V:
        if key not in self._sleepers:
            raise KeyError(key)
        self._ask(key)
        return self[key]

    def get(self, key: Any, default: Any = None) -> Any:
        self._ask(key)
        return super().get(key, default)

    def __contains__(self, key: object) -> bool:
        return super().__contains__(key) or key in self._asleep()

    def __iter__(self) -> Iterator[int]:
        return iter([*super().__iter__(), *self._asleep()])

    def __len__(self) -> int:
        return super().__len__() + len(self._asleep())

    def keys(self) -> KeysView[int]:  # type: ignore[override]
        return KeysView(self)

    def values(self) -> ValuesView[V]:  # type: ignore[override]
        return ValuesView(self)

    def items(self) -> ItemsView[int, V]:  # type: ignore[override]
        return ItemsView(self)


class _ByLoad(dict[int, dict[bytes, list[int]]]):
    """The files of a load; all its days are awake when they are asked for."""

    __slots__ = ("_days_of", "_wake")

    def __init__(self, wake: Callable[[int], None], days_of: Mapping[int, set[str]]) -> None:
        super().__init__()
        self._wake, self._days_of = wake, days_of

    def __getitem__(self, key: int) -> dict[bytes, list[int]]:
        self._wake(key)
        return super().__getitem__(key)

    def get(self, key: Any, default: Any = None) -> Any:
        self._wake(key)
        return super().get(key, default)

    def __contains__(self, key: object) -> bool:
        return super().__contains__(key) or key in self._days_of

    def __iter__(self) -> Iterator[int]:
        return iter(list({**dict.fromkeys(super().__iter__()), **dict.fromkeys(self._days_of)}))

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def keys(self) -> KeysView[int]:  # type: ignore[override]
        return KeysView(self)

    def values(self) -> ValuesView[dict[bytes, list[int]]]:  # type: ignore[override]
        return ValuesView(self)

    def items(self) -> ItemsView[int, dict[bytes, list[int]]]:  # type: ignore[override]
        return ItemsView(self)
