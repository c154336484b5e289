"""Does a sound report on a card list what is on that card, and nothing else?

A report is any table that lists file names (formats/report_table). It is one of this card's where
it names at least one of its recordings, or names audio files at all. It may list a whole day, and
what it names be on another card of that role. Names agree in any case, with or without path and
ending: reports are written by many programs (common practice, no source). A log, of sentences that
end in names, is none.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from takehold.decide.litter import holds_audio
from takehold.decide.noticed import finding
from takehold.decide.standing import DayStanding
from takehold.formats.names import display, same_key, shown
from takehold.formats.report_table import names_audio
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.settings import Role
from takehold.model.sound import Kind

REPORT_CODES = frozenset({"report-names-missing", "report-agrees", "report-of-other-day"})
"""What is said of a report itself, one of them in the day of its file."""

NAMED = 5
"""Names that are told; more are counted."""

# Two names of audio make a report; one may stand in a note.
FEWEST = 2
# Parts of a path that are compared.
DEEPEST = 8
# What a recorder puts behind the name of a take, for the file of a set or a part.
_NUMBER = re.compile(r"_[0-9]{1,3}$")

_Path = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """A table, the recordings of its card that it lists, and the names that are of none.

    `beside` are recordings that it lists of the day's other cards of that role.
    """

    file: Recording
    lists: tuple[Recording, ...]
    missing: tuple[str, ...]
    beside: tuple[Recording, ...] = ()

    @property
    def day(self) -> str:
        """The newest day that it lists something of."""
        return max((recording.day for recording in self.lists), default=self.file.day)


Reports = Mapping[int, tuple[Report, ...]]
"""Those of each load."""


def reports_on(view: DayStanding, ledger: Ledger) -> Reports:
    """The reports on the day's cards, none of a card that was not seen whole yet."""
    files = {load.id: _newest(ledger, load) for load in view.loads}
    tables = {number for number, its in files.items() if any(f.description.listed for f in its)}
    if not tables:
        return {}
    shelves = {number: _Shelf(_audio(its)) for number, its in files.items()}
    found = {}
    for load in view.loads:
        listed = ledger.listings.get(load.id)
        if listed is None or not listed.untaken:
            shelf = shelves[load.id]
            mates = [one for one in view.loads if one.role is load.role and one is not load]
            others = [shelves[m.id] for m in mates if not shelf.shares_names(shelves[m.id])]
            made = (shelf.report(file, others) for file in files[load.id] if load.id in tables)
            found[load.id] = tuple(one for one in made if one is not None)
    return found


def _newest(ledger: Ledger, load: Load) -> list[Recording]:
    return [ledger.recordings[ids[-1]] for ids in ledger.of_load.get(load.id, {}).values()]


def _audio(files: Iterable[Recording]) -> list[Recording]:
    return [f for f in files if f.description.kind is not Kind.OTHER or holds_audio(f.path)]


def report_findings(view: DayStanding, ledger: Ledger, found: Reports) -> Iterator[Finding]:
    """Each report is told of in its newest day, and in its own that it is."""
    listed: dict[Role, set[int]] = defaultdict(set)
    for load in view.loads:
        for report in found.get(load.id, ()):
            listed[load.role] |= {r.id for r in (*report.lists, *report.beside)}
            if report.day == view.day:
                yield from _compared(load, report, ledger)
            elif report.file.day == view.day:
                yield _elsewhere(load, report)
    for load in view.loads:
        if load.id in found and listed[load.role]:
            today = [r for r in _audio(_newest(ledger, load)) if r.day == view.day]
            omitted = [recording for recording in today if recording.id not in listed[load.role]]
            if omitted and len(omitted) < len(today):
                yield _omits(load, omitted)


def _compared(load: Load, report: Report, ledger: Ledger) -> Iterator[Finding]:
    """What is said of a report in the newest day that it lists something of."""
    on = Counter(ledger.loads[recording.load].label for recording in report.beside)
    cards = ", ".join(f"{count} on {shown(label)}" for label, count in sorted(on.items()))
    yield _missing(load, report, cards) if report.missing else _agrees(load, report, cards)


def _agrees(load: Load, report: Report, cards: str) -> Finding:
    name = f"{shown(load.label)}/{display(report.file.path)}"
    count = len(report.lists) + len(report.beside)
    what = (
        "the recording that it names is" if count == 1 else f"all {count} recordings it names are"
    )
    what += f" there, of them {cards}" if cards else " there"
    whose = "the day's cards" if cards else "its card"
    says = f"{name} is a sound report and was compared with {whose}: {what}."
    place = display(report.file.place)
    return finding("report-agrees", Severity.NOTE, place, says, "", report.file.id)


def _elsewhere(load: Load, report: Report) -> Finding:
    name = f"{shown(load.label)}/{display(report.file.path)}"
    says = f"{name} is a sound report of {report.day}: what it names is compared in that day."
    place = display(report.file.place)
    return finding("report-of-other-day", Severity.NOTE, place, says, "", report.file.id)


def _missing(load: Load, report: Report, cards: str) -> Finding:
    name = f"{shown(load.label)}/{display(report.file.path)}"
    count = len(report.missing)
    files = "a file that is" if count == 1 else f"{count} files that are"
    says = f"{name} is a sound report and names {files} not on that card: {_some(report.missing)}"
    says += f"; of others that it names are {cards}." if cards else "."
    do = "Was it deleted, renamed, or is it on another card? Tell post, or correct the report."
    covers = "\n".join(sorted(report.missing))
    return finding(
        "report-names-missing",
        Severity.LOOK,
        display(report.file.place),
        says,
        do,
        report.file.id,
        covers=covers,
    )


def _omits(load: Load, omitted: list[Recording]) -> Finding:
    names = sorted(display(recording.path) for recording in omitted)
    count = "1 recording is" if len(names) == 1 else f"{len(names)} recordings are"
    label = shown(load.label)
    says = f"{label}: {count} in no sound report: {_some(names, escaped=True)}."
    do = "Correct the report, or tell post of them."
    covers = "\n".join(names)
    return finding("report-omits", Severity.LOOK, label, says, do, load=load.id, covers=covers)


def _some(names: Iterable[str], *, escaped: bool = False) -> str:
    told = [name if escaped else shown(name) for name in names]
    more = f" and {len(told) - NAMED} more" if len(told) > NAMED else ""
    return ", ".join(told[:NAMED]) + more


class _Shelf:
    """The recordings of a card by the ends of their paths."""

    def __init__(self, audio: Iterable[Recording]) -> None:
        self._ending: dict[_Path, list[Recording]] = defaultdict(list)
        self._numbered: dict[_Path, list[Recording]] = defaultdict(list)
        for recording in audio:
            parts = _parts(recording.path)
            for first in range(len(parts)):
                self._ending[parts[first:]].append(recording)
            self._numbered[(_NUMBER.sub("", parts[-1]),)].append(recording)

    def shares_names(self, other: _Shelf) -> bool:
        """Whether the same name is on both: then a name does not tell which card is meant."""
        return any(len(ending) == 1 and ending in other._ending for ending in self._ending)

    def report(self, file: Recording, others: Iterable[_Shelf] = ()) -> Report | None:
        """A file as a report; None where it is none. `others` are of cards it may list too."""
        said = file.description.listed
        shelves = {name: self.find(name) for name in said}
        listed = self._no_remarks(shelves, loosely=file.description.loosely)
        unknown = [name for name in listed if shelves[name] is None]
        beside = {name: next(filter(None, (o.find(name) for o in others)), []) for name in unknown}
        missing = tuple(name for name in unknown if not beside[name])
        found = {r.id: r for name in listed for r in shelves[name] or ()}
        audio = sum(map(names_audio, listed))
        if not found and audio < FEWEST:
            return None
        # Among names with their ending, what has none may be a total or the like.
        surely = tuple(name for name in missing if names_audio(name) or not audio)
        further = {r.id: r for name in unknown for r in beside[name]}
        return Report(file, tuple(found.values()), surely, tuple(further.values()))

    def _no_remarks(self, shelves: Mapping[str, object], *, loosely: bool) -> list[str]:
        """The names without the sentences that end in a name, as a log has them.

        Those with blanks that are files of the card are names; the others are too where at least
        as many are, in a table of columns also where none ends in the name of such a file.
        """
        spaced = [name for name in shelves if " " in name]
        unknown = [n for n in spaced if shelves[n] is None or not self._whole(n, loosely)]
        sentences = loosely or any(self.find(name.split()[-1]) for name in unknown)
        if not sentences or 2 * len(unknown) <= len(spaced):
            return list(shelves)
        return [name for name in shelves if name not in set(unknown)]

    def _whole(self, name: str, loosely: bool) -> bool:
        """Whether the path that a name ends in begins where the name does: no word before it.

        Between marks a volume's name may have blanks, and none at its end.
        """
        first, *rest = name.replace("\\", "/").split("/")
        known = len(rest) < DEEPEST and _keyed(name) in self._ending
        words = " " in first if loosely else first.endswith(" ")
        return not rest or not words or known

    def find(self, name: str) -> list[Recording] | None:
        """The recordings that a report means by a name.

        Where several folders hold that name, those whose folders agree the furthest. The name of a
        take means all files of its set.
        """
        parts = _keyed(name)
        endings = (parts[first:] for first in range(len(parts)))
        found = next((self._ending[e] for e in endings if e in self._ending), None)
        return found or self._numbered.get(parts[-1:])


def _keyed(name: str) -> _Path:
    return _parts(name.encode("utf-8", "surrogateescape"))


def _parts(path: bytes) -> _Path:
    """Its last folders and its name, without an audio file's ending, as names agree."""
    *folders, name = same_key(path).replace("\\", "/").split("/")
    stem = name.rpartition(".")[0] if names_audio(name) else name
    return (*[folder for folder in folders if folder][1 - DEEPEST :], stem)
