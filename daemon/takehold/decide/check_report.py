"""Does a sound report on a card list what is on that card, and nothing else?

A report is any table that lists file names (formats/report_table). It is one of this card's where
it names at least one of its recordings, or names audio files at all. Names agree in any case, with
or without path and ending: reports are written by many programs (common practice, no source).
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from takehold.decide.litter import holds_audio
from takehold.decide.noticed import finding
from takehold.decide.standing import DayStanding
from takehold.formats.names import display, same_key, shown
from takehold.formats.report_table import names_audio
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.sound import Kind

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
class _Report:
    """A table, the recordings of its card that it lists, and the names that are of none."""

    file: Recording
    lists: tuple[Recording, ...]
    missing: tuple[str, ...]

    @property
    def day(self) -> str:
        """The newest day that it lists something of."""
        return max((recording.day for recording in self.lists), default=self.file.day)


def report_findings(view: DayStanding, ledger: Ledger) -> Iterator[Finding]:
    """Each report is told of in its newest day; nothing is said of a card not yet seen whole."""
    for load in view.loads:
        listed = ledger.listings.get(load.id)
        if listed is None or not listed.untaken:
            yield from _of_card(view, ledger, load)


def _of_card(view: DayStanding, ledger: Ledger, load: Load) -> Iterator[Finding]:
    files = [ledger.recordings[ids[-1]] for ids in ledger.of_load.get(load.id, {}).values()]
    if not any(file.description.listed for file in files):
        return
    audio = [f for f in files if f.description.kind is not Kind.OTHER or holds_audio(f.path)]
    shelf = _Shelf(audio)
    reports = [made for file in files if (made := shelf.report(file)) is not None]
    for report in reports:
        if report.missing and report.day == view.day:
            yield _missing(load, report)
    listed = {recording.id for report in reports for recording in report.lists}
    today = [recording for recording in audio if recording.day == view.day]
    omitted = [recording for recording in today if recording.id not in listed]
    if omitted and len(omitted) < len(today):
        yield _omits(load, omitted)


def _missing(load: Load, report: _Report) -> Finding:
    name = f"{shown(load.label)}/{display(report.file.path)}"
    count = len(report.missing)
    files = "a file that is" if count == 1 else f"{count} files that are"
    says = f"{name} is a sound report and names {files} not on that card: {_some(report.missing)}."
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
    says = f"{label}: {count} in no sound report that is on it: {_some(names, escaped=True)}."
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

    def report(self, file: Recording) -> _Report | None:
        """A file as a report; None where it is none."""
        listed = file.description.listed
        shelves = [self._find(name) for name in listed]
        missing = tuple(n for n, there in zip(listed, shelves, strict=True) if there is None)
        different = {id(there): there for there in shelves if there is not None}
        found = {recording.id: recording for there in different.values() for recording in there}
        audio = sum(map(names_audio, listed))
        if not found and audio < FEWEST:
            return None
        # Among names with their ending, what has none may be a total or the like.
        surely = tuple(name for name in missing if names_audio(name) or not audio)
        return _Report(file, tuple(found.values()), surely)

    def _find(self, name: str) -> list[Recording] | None:
        """The recordings that a report means by a name.

        Where several folders hold that name, those whose folders agree the furthest. The name of a
        take means all files of its set.
        """
        parts = _parts(name.encode("utf-8", "surrogateescape"))
        endings = (parts[first:] for first in range(len(parts)))
        found = next((self._ending[e] for e in endings if e in self._ending), None)
        return found or self._numbered.get(parts[-1:])


def _parts(path: bytes) -> _Path:
    """Its last folders and its name, without an audio file's ending, as names agree."""
    *folders, name = same_key(path).replace("\\", "/").split("/")
    stem = name.rpartition(".")[0] if names_audio(name) else name
    return (*[folder for folder in folders if folder][1 - DEEPEST :], stem)
