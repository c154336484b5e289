"""All that is known, indexed: the catalogue's facts, folded one after the other.

Rules of this file:
1. The ledger holds what the facts say and decides nothing.
2. `apply` is the only way in, so that catalogue and memory can never disagree.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable
from dataclasses import dataclass, field, replace

from takehold.model import facts as f
from takehold.model.comparison import Comparison, Side
from takehold.model.outline import Outline
from takehold.model.recording import Copy, Load, Recording, Trace
from takehold.model.slate import same_words, scene_and_take

CopyKey = tuple[str, bytes]


@dataclass(slots=True, eq=False)
class Ledger:
    """Facts by what they are about. `copies` are by recording, then (root, path).

    `held` are the recordings with a copy on a root; `differing` those of which a later read gave
    other bytes; `renewed` the days of the later versions of a file, by their numbers. `serial`
    counts the facts, `news` those that tell something new of the recordings of a day, and of the
    loads under "". `asleep` are days that are not in memory, where a ledger has any (model/dozing):
    of those `held` tells nothing.
    """

    loads: dict[int, Load] = field(default_factory=dict)
    listings: dict[int, f.Listed] = field(default_factory=dict)
    recordings: dict[int, Recording] = field(default_factory=dict)
    of_load: dict[int, dict[bytes, list[int]]] = field(default_factory=dict)
    of_day: dict[str, set[int]] = field(default_factory=lambda: defaultdict(set))
    asleep: dict[str, Outline] = field(default_factory=dict)
    copies: dict[int, dict[CopyKey, Copy]] = field(default_factory=dict)
    held: dict[str, set[int]] = field(default_factory=dict)
    differing: set[int] = field(default_factory=set)
    renewed: dict[tuple[int, bytes], dict[int, str]] = field(default_factory=dict)
    comparisons: dict[tuple[Side, Side], Comparison] = field(default_factory=dict)
    broken: dict[int, list[f.Broken]] = field(default_factory=dict)
    salvaged: dict[int, list[f.Salvaged]] = field(default_factory=dict)
    revisions: dict[str, list[f.Revised]] = field(default_factory=dict)
    published: set[tuple[str, int, str]] = field(default_factory=set)
    weighed: dict[str, int] = field(default_factory=dict)
    met: dict[tuple[str, int, str], f.Met] = field(default_factory=dict)
    troubles: dict[str, f.Trouble] = field(default_factory=dict)
    acks: dict[str, f.Acked] = field(default_factory=dict)
    receipts: list[f.Receipt] = field(default_factory=list)
    asked: dict[int, f.Asked] = field(default_factory=dict)
    answers: dict[int, f.Answered] = field(default_factory=dict)
    next_id: int = 1
    chain_end: f.Revised | None = None
    serial: int = 0
    news: dict[str, int] = field(default_factory=lambda: defaultdict(int))

    @classmethod
    def of(cls, facts: Iterable[f.Fact]) -> Ledger:
        """What these facts say."""
        known = cls()
        known.apply(facts)
        return known

    def apply(self, facts: Iterable[f.Fact]) -> None:
        """Fold facts in, in order."""
        for fact in facts:
            self._apply(fact)
            self.serial += 1

    def _apply(self, fact: f.Fact) -> None:
        match fact:
            case f.LoadSeen(load):
                self.loads[load.id] = load
                self.news[""] += 1
                self.next_id = max(self.next_id, load.id + 1)
            case f.Listed(load=load_id):
                before = self.listings.get(load_id)
                self.listings[load_id] = fact
                # What is not on its card any more is weighed otherwise.
                self.news[""] += before is None or before.skipped != fact.skipped
            case f.Inventoried(recording):
                self._keep(recording)
            case f.WasRead(recording=rid, reading=reading):
                known = self.recordings[rid]
                self.recordings[rid] = replace(known, readings=(*known.readings, reading))
                self._note_differing(self.recordings[rid])
                # A further read that agrees with those before tells nothing new of its bytes.
                self.news[known.day] += not known.readings or rid in self.differing
                # The version before it may be of another day, and is none of that one's any more.
                self.news[""] += not known.readings and known.version > 1
            case f.SameBytes(recording=rid, stamp=stamp):
                self.recordings[rid] = replace(self.recordings[rid], stamp=stamp)
            case f.Gone(recording=rid):
                self._forget(rid)
                self.salvaged.pop(rid, None)
            case f.Proven(copy):
                self.copies.setdefault(copy.recording, {})[(copy.root, copy.path)] = copy
                self.held.setdefault(copy.root, set()).add(copy.recording)
            case f.Broken():
                self._break(fact)
            case f.Salvaged():
                self.salvaged.setdefault(fact.recording, []).append(fact)
            case _:
                self._apply_rest(fact)

    def _apply_rest(self, fact: f.Fact) -> None:
        match fact:
            case f.WasMeasured():
                self._measure(fact)
            case f.Compared(comparison):
                self.comparisons[(comparison.ours, comparison.theirs)] = comparison
            case f.Revised():
                self._revise(fact)
            case f.Published():
                self.published.add((fact.day, fact.number, fact.root))
            case f.Unpublished():
                self.published.discard((fact.day, fact.number, fact.root))
            case f.Weighed(day=day, times=times):
                self.weighed[day] = times
            case f.Met():
                self.met[(fact.day, fact.number, fact.root)] = fact
            case f.Trouble(key=key):
                self.troubles[key] = fact
            case f.TroubleOver(key=key):
                self.troubles.pop(key, None)
            case _:
                self._apply_answer(fact)

    def _apply_answer(self, fact: f.Fact) -> None:
        match fact:
            case f.Acked(finding=finding):
                self.acks[finding] = fact
            case f.Receipt():
                self.receipts.append(fact)
            case f.Asked(id=asked):
                self.asked[asked] = fact
            case f.Answered(id=asked):
                self.answers[asked] = fact
                self.asked.pop(asked, None)

    def _measure(self, fact: f.WasMeasured) -> None:
        known = self.recordings[fact.recording]
        first, *later = known.readings
        readings = (first._replace(sound=fact.sound), *later)
        self.recordings[known.id] = replace(known, description=fact.description, readings=readings)
        self.news[known.day] += 1

    def _break(self, fact: f.Broken) -> None:
        left = self.copies.get(fact.recording, {})
        left.pop((fact.root, fact.path), None)
        if all(root != fact.root for root, _ in left):
            self.held.get(fact.root, set()).discard(fact.recording)
        self.broken.setdefault(fact.recording, []).append(fact)

    def _revise(self, fact: f.Revised) -> None:
        """One that was found again has no basis: it never ends a chain that was written on."""
        mine = self.revisions.setdefault(fact.day, [])
        mine.append(fact)
        mine.sort(key=lambda revised: revised.number)
        if fact.basis or self.chain_end is None or not self.chain_end.basis:
            self.chain_end = fact

    def _keep(self, recording: Recording) -> None:
        known = self.recordings.get(recording.id)
        if known is not None:
            self._forget(recording.id)
        self.recordings[recording.id] = recording
        self._note_differing(recording)
        paths = self.of_load.setdefault(recording.load, {})
        paths.setdefault(recording.path, []).append(recording.id)
        paths[recording.path].sort()
        self.of_day[recording.day].add(recording.id)
        self._note_version(recording.load, recording.path, recording.version, recording.day)
        self.news[recording.day] += 1
        self.next_id = max(self.next_id, recording.id + 1)

    def _note_differing(self, recording: Recording) -> None:
        if any(reading.digests != recording.digests for reading in recording.readings):
            self.differing.add(recording.id)

    def _note_version(self, load: int, path: bytes, version: int, day: str) -> None:
        if version > 1:
            self.renewed.setdefault((load, path), {})[version] = day

    def _forget(self, rid: int) -> None:
        self.differing.discard(rid)
        known = self.recordings.pop(rid, None)
        if known is None:
            return
        paths = self.of_load.setdefault(known.load, {})  # never woken: it is awake
        paths[known.path].remove(rid)
        if not paths[known.path]:
            del paths[known.path]
        self.of_day[known.day].discard(rid)
        self.renewed.get((known.load, known.path), {}).pop(known.version, None)
        self.news[known.day] += 1

    def rouse(self, facts: Iterable[f.Fact]) -> None:
        """These are about to be recorded, and applied then."""

    def stay(self, loads: Iterable[int]) -> None:
        """These loads are in."""

    def versions(self, load: int, path: bytes) -> list[Recording]:
        """All versions of one file of a load, oldest first."""
        return [self.recordings[i] for i in self.of_load.get(load, {}).get(path, ())]

    def current(self, load: int, path: bytes) -> Recording | None:
        """The newest version of one file of a load."""
        versions = self.versions(load, path)
        return versions[-1] if versions else None

    def traces(self, load: int) -> list[Trace]:
        """What tells the recordings of a load on its card again, in the order they were met."""
        ids = sorted(number for of in self.of_load.get(load, {}).values() for number in of)
        known = (self.recordings[number] for number in ids)
        return [Trace(r.path, r.stamp, bool(r.readings)) for r in known]

    def day(self, day: str) -> list[Recording]:
        """All recordings of a day in the order they were met."""
        return [self.recordings[i] for i in sorted(self.of_day.get(day, ()))]

    def day_of(self, recording: int) -> str:
        """The day of a recording, "" of one that is not known."""
        known = self.recordings.get(recording)
        return "" if known is None else known.day

    def size_of(self, recording: int) -> int:
        """Bytes of a recording."""
        return self.recordings[recording].stamp.size

    def is_below(self, recording: int, folder: bytes) -> bool:
        """Whether a recording's place begins with that first part."""
        return self.recordings[recording].place.startswith(folder)

    def scenes(self, day: str) -> frozenset[str]:
        """The scenes of a day's recordings, as they compare; "" for those that tell none."""
        known = (self.recordings[number] for number in self.of_day.get(day, ()))
        return frozenset(same_words(scene_and_take(recording)[0]) for recording in known)

    def seen_last(self, day: str) -> int | None:
        """When the newest recording of a day was met, None if it has none."""
        seen = (self.recordings[number].seen_at for number in self.of_day.get(day, ()))
        return max(seen, default=None)

    def times(self, day: str) -> tuple[int, int]:
        """The latest and the sum of the times of what was seen, read and proven of a day."""
        times: list[int] = []
        for number in self.of_day.get(day, ()):
            recording = self.recordings[number]
            times += (recording.seen_at, *(reading.at for reading in recording.readings))
            times += (copy.proof.at for copy in self.copies.get(number, {}).values())
        return max(times, default=0), sum(times)

    def copies_of(self, recording: int) -> tuple[Copy, ...]:
        """The proven copies of a recording."""
        return tuple(self.copies.get(recording, {}).values())

    def on(self, root: str) -> frozenset[int]:
        """The recordings with a proven copy on a root."""
        return frozenset(self.held.get(root, ()))

    def held_of(self, day: str, root: str) -> set[int]:
        """The recordings of a day with a proven copy on a root."""
        return self.of_day.get(day, set()) & self.held.get(root, set())

    def lacking(self, root: str) -> set[int]:
        """The recordings without a proven copy on a root."""
        return set().union(*self.of_day.values()) - self.held.get(root, set())

    def stands_on(self, recording: int, roots: Container[str]) -> bool:
        """Whether a recording has a proven copy on any of these roots."""
        return any(root in roots for root, _ in self.copies.get(recording, ()))

    def newest(self, day: str) -> f.Revised | None:
        """The newest revision of a day's manifest, by its number."""
        revisions = self.revisions.get(day)
        return revisions[-1] if revisions else None

    def last_revision(self) -> f.Revised | None:
        """The revision that was written last, of whatever day and whatever the clock said."""
        return self.chain_end

    def name_taken(self, revised: f.Revised, root: str) -> bool:
        """Whether another manifest stands on that drive under the number of this one."""
        met = self.met.get((revised.day, revised.number, root))
        return met is not None and met.sha256 != revised.sha256

    def loose(self) -> list[f.Met]:
        """Our manifests that were found again and that none names yet, one of each."""
        found = {met.sha256: met for met in self.met.values() if met.loose}
        return sorted(found.values(), key=lambda met: (met.day, met.number, met.sha256))
