"""The sound reports on a day's cards, and which recordings they mean.

A report is any table that lists file names (formats/report_table). It is one of this card's where
it names at least one of its recordings, or names audio files at all. It may list a whole day, and
what it names be on another card of that role. Names agree in any case, with or without path and
ending: reports are written by many programs (common practice, no source). So the card decides which
column has the names. A log, of sentences that end in names, is none.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Set
from typing import NamedTuple

from takehold.decide.departed import departed, gone_from
from takehold.decide.litter import holds_audio
from takehold.decide.standing import DayStanding
from takehold.formats.names import same_key
from takehold.formats.report_table import names_audio
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.sound import Description, Kind

# Two names of audio make a report; one may stand in a note.
FEWEST = 2
# Parts of a path that are compared.
DEEPEST = 8
# What a recorder puts behind the name of a take, for the file of a set or a part.
_NUMBER = re.compile(r"_[0-9]{1,3}$")
# A remark that ends in a name, as `not recorded: S1T4.WAV`: no card takes these in a file's name
# (exFAT file system specification, section 7.7.3).
_REMARK = re.compile(r'["<>?|]|:\s')

_Path = tuple[str, ...]


class Report(NamedTuple):
    """A table, the recordings of its card that it lists, and the names that are of none.

    `beside` are recordings that it lists of the day's other cards of that role; `left` those that
    it names as they are not on their card any more: what was renamed there is listed.
    """

    file: Recording
    lists: tuple[Recording, ...]
    missing: tuple[str, ...]
    beside: tuple[Recording, ...] = ()
    left: tuple[Recording, ...] = ()

    @property
    def day(self) -> str:
        """The newest day that it lists something of."""
        listed = (*self.lists, *self.left)
        return max((recording.day for recording in listed), default=self.file.day)


Reports = Mapping[int, tuple[Report, ...]]
"""Those of each load."""


def reports_on(view: DayStanding, ledger: Ledger) -> Reports:
    """The reports on the day's cards, none of a card that was not seen whole yet."""
    cards = {load.id: Card.of(ledger, load) for load in view.loads}
    if not any(_is_table(file) for card in cards.values() for file in card.files):
        return {}
    shelves = {number: _Shelf(card.audio()) for number, card in cards.items()}
    before = {number: _Shelf(card.left) for number, card in cards.items()}
    renamed = {number: now for card in cards.values() for number, now in card.renamed.items()}
    found = {}
    for load in view.loads:
        listed = ledger.listings.get(load.id)
        if listed is None or not listed.untaken:
            shelf = shelves[load.id]
            mates = [one.id for one in view.loads if one.role is load.role and one is not load]
            mates = [mate for mate in mates if not shelf.shares_names(shelves[mate])]
            others = [shelves[mate] for mate in mates]
            lost = [before[number] for number in (load.id, *mates)]
            tables = filter(_is_table, cards[load.id].files)
            made = (shelf.report(file, others, lost, renamed) for file in tables)
            found[load.id] = tuple(one for one in made if one is not None)
    return found


class Card(NamedTuple):
    """The files that lie on a card as it was last seen, and the recordings that have left it.

    `renamed` tells what lies there in the stead of some of these.
    """

    files: list[Recording]
    left: list[Recording]
    renamed: Mapping[int, Recording]

    @classmethod
    def of(cls, ledger: Ledger, load: Load) -> Card:
        """That of a load.

        A report that was deleted there, or replaced by one of another name, counts no more. A day
        that is gone as a whole was cleared: of that is known what lay there before.
        """
        newest = [ledger.recordings[ids[-1]] for ids in ledger.of_load.get(load.id, {}).values()]
        away, gone = departed(newest, ledger.listings), gone_from(ledger.listings.get(load.id))
        days = {r.day for r in newest if _is_audio(r) and r.path not in gone}
        papers = {r.id for r in newest if not _is_audio(r) and r.path in gone and r.day in days}
        files = [r for r in newest if r.id not in away and r.id not in papers]
        left = [r for r in newest if r.id in away and _is_audio(r)]
        return cls(files, left, away.renamed)

    def audio(self) -> list[Recording]:
        """Its recordings."""
        return list(filter(_is_audio, self.files))


def _is_audio(file: Recording) -> bool:
    return file.description.kind is not Kind.OTHER or holds_audio(file.path)


def _is_table(file: Recording) -> bool:
    return bool(file.description.listed or file.description.besides)


class _Shelf:
    """The recordings of a card by the ends of their paths."""

    def __init__(self, audio: Iterable[Recording]) -> None:
        self._ending: dict[_Path, list[Recording]] = defaultdict(list)
        self._numbered: dict[str, list[Recording]] = defaultdict(list)
        self._folders: set[str] = set()
        for recording in audio:
            parts = _parts(recording.path)
            for first in range(len(parts)):
                self._ending[parts[first:]].append(recording)
            self._numbered[_NUMBER.sub("", parts[-1])].append(recording)
            self._folders |= set(parts[:-1])

    def shares_names(self, other: _Shelf) -> bool:
        """Whether the same name is on both: then a name does not tell which card is meant."""
        return any(len(ending) == 1 and ending in other._ending for ending in self._ending)

    def report(
        self,
        file: Recording,
        others: Iterable[_Shelf],
        before: Iterable[_Shelf],
        renamed: Mapping[int, Recording],
    ) -> Report | None:
        """A table as a report; None where it is none.

        `others` are of cards it may list too, `before` hold what has left all these cards, and
        `renamed` tells what they have in the stead of that.
        """
        said = file.description
        here = self._found(name for column in (said.listed, *said.besides) for name in column)
        there = {name: _first(others, name) for name in here if not here[name]}
        lost = {name: _first(before, name) for name in there if not there[name]}
        known = {name for files in (here, there, lost) for name in files if files[name]}
        column = _column(said, known)
        listed = self._no_remarks({name: here[name] for name in column}, loosely=said.loosely)
        lists, beside, left = (_all(listed, files) for files in (here, there, lost))
        lists |= {now.id: now for old in left if (now := renamed.get(old)) is not None}
        audio = sum(map(names_audio, listed))
        if not lists and not left and audio < FEWEST:
            return None
        missing = [name for name in listed if name in lost and not lost[name]]
        # Among names with their ending, what has none may be a total or the like; so may what is
        # unlike the names that are there.
        likes = set() if audio else {_likeness(name) for name in listed if name not in missing}
        named = (name for name in missing if not _REMARK.search(name))
        surely = (name for name in named if names_audio(name) or _likeness(name) in likes)
        told = (tuple(found.values()) for found in (beside, left))
        return Report(file, tuple(lists.values()), tuple(surely), *told)

    def _no_remarks(self, shelves: Mapping[str, object], *, loosely: bool) -> list[str]:
        """The names without the sentences that end in a name, as a log has them.

        Those with blanks that are files of the card are names; the others are too where at least
        as many are, in a table of columns also where none ends in the name of such a file.
        """
        spaced = [name for name in shelves if " " in name]
        unknown = {n for n in spaced if not shelves[n] or not self._whole(n, loosely)}
        sentences = loosely or any(self.find(name.split()[-1]) for name in unknown)
        if not sentences or 2 * len(unknown) <= len(spaced):
            return list(shelves)
        return [name for name in shelves if name not in unknown]

    def _whole(self, name: str, loosely: bool) -> bool:
        """Whether the path that a name ends in begins where the name does: no word before it.

        Between marks a volume's name may have blanks, and none at its end.
        """
        first, *rest = name.replace("\\", "/").split("/")
        known = len(rest) < DEEPEST and _keyed(name) in self._ending
        words = " " in first if loosely else first.endswith(" ")
        return not rest or not words or known

    def _found(self, names: Iterable[str]) -> dict[str, list[Recording]]:
        """The recordings that each name means."""
        found = {name: self.find(name) for name in names}
        tracks: dict[_Path, list[str]] = defaultdict(list)
        for name in (name for name, files in found.items() if not files):
            *folders, stem = _keyed(name)
            if _NUMBER.search(stem):
                tracks[(*folders, _NUMBER.sub("", stem))].append(name)
        whole = set(map(_keyed, found)) if tracks else set()
        for path, its in tracks.items():
            files = self._meant(path)
            if path not in whole and all(_channels(file) == len(its) > 1 for file in files):
                found |= dict.fromkeys(its, files)
        return found

    def find(self, name: str) -> list[Recording]:
        """The recordings that a report means by a name.

        Where several folders hold that name, those whose folders agree the furthest; where the
        card has a folder that the name tells, what is in that one only. The name of a take means
        all files of its set, and of its first part the other parts.
        """
        return self._meant(_keyed(name))

    def _meant(self, parts: _Path) -> list[Recording]:
        endings = (parts[first:] for first in range(len(parts)))
        found = next((self._ending[e] for e in endings if e in self._ending), [])
        takes = {_take(recording) for recording in found}
        numbered = self._numbered.get(parts[-1], [])
        found = found + [r for r in numbered if not found or _take(r) in takes]
        folder = next((part for part in reversed(parts[:-1]) if part in self._folders), None)
        return [r for r in found if folder is None or folder in _parts(r.path)[:-1]]


def _column(said: Description, known: Set[str]) -> tuple[str, ...]:
    """The names of a table: what stands in the column that names the most files of the card.

    That is the one in which the table says that they are, or one of whose cells at least half are
    such names: two, if none has the ending of audio. Beside it count those with endings of which
    half are there too: a set's other files, and not what the files were called before.
    """

    def hits(column: tuple[str, ...]) -> int:
        return sum(name in known for name in column)

    columns = (said.listed, *said.besides)
    half = [column for column in columns if 2 * hits(column) >= len(column)]
    sure = (column for column in half if _ends(column) or hits(column) >= FEWEST)
    best = max((said.listed, *sure), key=hits)
    others = filter(_ends, half if hits(best) else columns)
    return tuple(dict.fromkeys(name for column in (best, *others) for name in column))


def _ends(column: tuple[str, ...]) -> bool:
    return any(map(names_audio, column))


def _first(shelves: Iterable[_Shelf], name: str) -> list[Recording]:
    return next(filter(None, (shelf.find(name) for shelf in shelves)), [])


def _all(names: Iterable[str], meant: Mapping[str, list[Recording]]) -> dict[int, Recording]:
    return {r.id: r for name in names for r in meant.get(name, ())}


def _likeness(name: str) -> tuple[bool, bool]:
    """By what a name is told from a total, a head or a signature: blanks, and digits."""
    return " " in name, any(map(str.isdigit, name))


def _channels(recording: Recording) -> int:
    form = recording.description.format
    return form.channels if form else 0


def _take(recording: Recording) -> tuple[bytes, str, str]:
    """The folder, and the take as the file tells it."""
    said = recording.description.metadata
    return recording.path.rpartition(b"/")[0], said.scene, said.take


def _keyed(name: str) -> _Path:
    return _parts(name.encode("utf-8", "surrogateescape"))


def _parts(path: bytes) -> _Path:
    """Its last folders and its name, without an audio file's ending, as names agree."""
    *folders, name = same_key(path).replace("\\", "/").split("/")
    stem = name.rpartition(".")[0] if names_audio(name) else name
    return (*[folder for folder in folders if folder][1 - DEEPEST :], stem)
