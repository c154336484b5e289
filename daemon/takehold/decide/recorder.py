"""What one recorder rolled on a day: its takes from all its cards, in the order of timecode."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby, pairwise
from types import MappingProxyType

from takehold.decide.beside_better import beside_better
from takehold.decide.noticed import finding, these
from takehold.decide.one_recording import one_recording
from takehold.decide.standing import DayStanding, Standing
from takehold.decide.takes import in_order, position, takes_of_day
from takehold.formats.names import brief, display, shown
from takehold.formats.timecode import day_samples
from takehold.model.finding import Finding, Severity
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings
from takehold.model.take import Take

# Takes of each of two recorders in one source. Chosen, no source.
FEWEST = 3
NAMED, EACH = 5, 20
"""Takes that are named, and of which something is told of each; more are counted."""
# They are counted by themselves, or not at all. (Common practice, no source.)
UNCOUNTED = frozenset({"WILD_TRACK", "REHEARSAL", "ANNOUNCEMENT", "SOUND_GUIDE"})


@dataclass(frozen=True, slots=True)
class Recorder:
    """A source of the config, and what its cards hold.

    `takes` leave out what was recorded again, and what was made from other files of the card, as
    an MP3 of them.
    `beside` are the takes of the backup cards that may answer them. `originator` names one of
    several recorders whose cards come as one source.
    """

    source: str
    takes: tuple[Take, ...]
    beside: tuple[Take, ...]
    index: Mapping[int, Standing]
    starts_at: int
    originator: str = ""

    @property
    def title(self) -> str:
        """What it is called."""
        named = f" ({brief(self.originator)})" if self.originator else ""
        return shown(self.source) + named

    @property
    def primary(self) -> bool:
        """Whether these are a primary card's takes, not a backup's in place of what is opaque."""
        return all(self.index[take.first].load.role is Role.PRIMARY for take in self.takes)

    def recording(self, number: int) -> Recording:
        """One of its recordings."""
        return self.index[number].recording

    def recordings(self, take: Take) -> list[Recording]:
        """Those of a take, part after part."""
        return [self.recording(number) for number in take.files]

    def name(self, take: Take) -> str:
        """A take as a person knows it: the card and the path of its first file."""
        return self.name_of(take.first)

    def name_of(self, number: int) -> str:
        """A recording as a person knows it."""
        standing = self.index[number]
        return f"{shown(standing.load.label)}/{display(standing.recording.path)}"

    def noticed(
        self,
        take: Take,
        code: str,
        severity: Severity,
        says: str,
        do: str = "",
        beside: Take | None = None,
        of: Sequence[int] = (),
    ) -> Finding:
        """A finding about a take, told of its first file, or of those of its set that it is `of`.

        `beside` is what it was weighed against. A decision on it covers just what it says, of the
        files that these takes have now.
        """
        first, *others = of or (take.first,)
        place = display(self.recording(first).place)
        files = [r for one in (take, beside) if one is not None for r in self.recordings(one)]
        names = ", ".join([self.name_of(first), *map(self._path, others)])
        covers = these(files) + says
        return finding(code, severity, place, f"{names}: {says}.", do, first, covers=covers)

    def _path(self, number: int) -> str:
        return display(self.recording(number).path)

    def alike(self, odd: Iterable[tuple[Take, str]]) -> Iterator[tuple[list[Take], str]]:
        """The takes of one card of which the same is said: a day of them is one decision."""
        found: dict[tuple[int, str], list[Take]] = defaultdict(list)
        for take, says in odd:
            found[take.load, says].append(take)
        for (_, says), takes in found.items():
            yield takes, says

    def noticed_of(
        self,
        takes: list[Take],
        code: str,
        severity: Severity,
        says: str,
        do: str,
        where: Mapping[int, str] = MappingProxyType({}),
        of: Mapping[int, Sequence[int]] = MappingProxyType({}),
    ) -> Finding:
        """One finding about takes of one card; one take more, and it is asked for anew.

        `where` tells of some, by their first recording, what stands beside their names, and `of`
        which files of their sets it is about.
        """
        first = takes[0]
        if len(takes) == 1:
            return self.noticed(first, code, severity, says, do, of=of.get(first.first, ()))
        card = shown(self.index[first.first].load.label)
        most = EACH if where else NAMED
        told_of = ((n, of.get(n, (n,))) for n in (take.first for take in takes[:most]))
        paths = ((n, ", ".join(map(self._path, files))) for n, files in told_of)
        names = ", ".join(f"{p} ({where[n]})" if n in where else p for n, p in paths)
        more = f" and {len(takes) - most} more" if len(takes) > most else ""
        told = f"{card}: {len(takes)} takes: {says}: {names}{more}."
        about = these(r for take in takes for r in self.recordings(take))
        subject = f"{card}: {says}"
        return finding(code, severity, subject, told, do, load=first.load, covers=about)

    def begins(self, take: Take) -> float | None:
        """Seconds of timecode from the day's beginning."""
        at = position(take, self.starts_at)
        return None if at is None or not take.sample_rate else at / take.sample_rate

    def same(self, one: Take, other: Take) -> bool:
        """Whether both hold one recording (decide/one_recording)."""
        return one_recording(one, other, self.recording)


def length(take: Take) -> float:
    """Seconds from its first sample to its last one, gaps between its parts included."""
    last = take.parts[-1]
    if take.start is None or last.start is None or last.frames is None or not take.sample_rate:
        return 0.0
    between = (last.start - take.start) % day_samples(take.sample_rate, take.rate)
    return (between + last.frames) / take.sample_rate


@lru_cache(maxsize=2)  # the check of takes asks, and that of their sound
def recorders(view: DayStanding, settings: Settings) -> tuple[Recorder, ...]:
    """Those whose takes are checked.

    The primary cards' takes; of the backup cards those that may be in a container that cannot be
    looked into, and all where no primary take is known: else each finding would come twice.
    """
    of_role: dict[Role, dict[str, list[Take]]] = {role: defaultdict(list) for role in Role}
    roles = {load.id: load for load in view.loads}
    for number, takes in takes_of_day(view, settings).items():
        load = roles[number]
        if takes:
            of_role[load.role][load.source] += [t for t in takes if not _is_copy(t, view)]
    told = of_role[Role.PRIMARY]
    alone: dict[str, list[Take]] = defaultdict(list)
    beside: list[Take] = []
    for source, found in of_role[Role.BACKUP].items():
        for take in found:
            apart = not told or not view.beside_opaque.isdisjoint(take.files)
            (alone[source] if apart else beside).append(take)
    starts_at = settings.day_starts_at
    return tuple(
        Recorder(source, takes, its, view.index, starts_at, originator)
        for side, its in ((told, tuple(beside)), (alone, ()))
        for source, rolled in sorted(side.items())
        for originator, takes in _by_originator(_in_order(rolled, starts_at), view, starts_at)
    )


def _is_copy(take: Take, view: DayStanding) -> bool:
    """Whether it is another file of that card at a lower quality, and so no take of its own."""
    return all(beside_better(view.index[number], view) for number in take.files)


def by_source(made: Iterable[Recorder]) -> Iterator[Recorder]:
    """Recorders that come as one source as one: they may share the numbers of a scene's takes.

    So may two primary sources: what another one has of a scene stands `beside` this one's takes.
    """
    merged = []
    for _, its in groupby(made, key=lambda recorder: recorder.source):
        first, *others = its
        takes = (*first.takes, *(take for other in others for take in other.takes))
        merged.append(replace(first, takes=takes, originator=""))
    for one in sorted(merged, key=lambda recorder: -len(recorder.takes)):
        also = [other for other in merged if other is not one and one.primary and other.primary]
        taken = (take for other in also for take in other.takes)
        yield replace(one, beside=(*one.beside, *taken))


def _by_originator(
    takes: tuple[Take, ...], view: DayStanding, starts_at: int
) -> list[tuple[str, tuple[Take, ...]]]:
    """The takes of each recorder, where the cards of two units come as one source.

    They are two that name themselves otherwise (bext Originator) and rolled in the same hours: a
    recorder may change that name, as with its firmware. A few may have been edited elsewhere.
    """
    named: dict[str, list[Take]] = defaultdict(list)
    for take in takes:
        named[view.index[take.first].recording.description.metadata.originator].append(take)
    if len(named) < 2 or "" in named or min(map(len, named.values())) < FEWEST:
        return [("", takes)]
    hours = []
    for rolled in named.values():
        at = [p / t.sample_rate for t in rolled if t.sample_rate and (p := position(t, starts_at))]
        hours.append((min(at, default=0), max(at, default=0)))
    hours.sort()
    if all(ended < begun for (_, ended), (begun, _) in pairwise(hours)):
        return [("", takes)]
    return [(originator, tuple(named[originator])) for originator in sorted(named)]


def _in_order(takes: Iterable[Take], starts_at: int) -> tuple[Take, ...]:
    return in_order((t for t in takes if not t.rerecorded and not t.derived), starts_at)
