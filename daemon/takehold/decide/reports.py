"""The sound reports on a day's cards, and which recordings they mean.

A report is any table that lists file names (formats/report_table). It is one of this card's where
it names at least one of its recordings, or names audio files at all. It may list a whole day, and
what it names be on another card of that role. Reports are written by many programs (common
practice, no source): so the card decides which column has the names, and what each of these means
(decide/shelf). A log, of sentences that end in names, is none.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence, Set
from typing import NamedTuple

from takehold.decide.departed import departed, gone_from
from takehold.decide.litter import holds_audio
from takehold.decide.shelf import Shelf
from takehold.decide.standing import DayStanding
from takehold.formats.report_table import names_audio, unmarked
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.sound import Description, Kind

# Two names of audio make a report; one may stand in a note.
FEWEST = 2
_NO_LETTER = re.compile(r"[\W\d_]+")
# A remark that ends in a name, as `not recorded: S1T4.WAV`: no card takes these in a file's name
# (exFAT file system specification, section 7.7.3).
_REMARK = re.compile(r'["<>?|]|:\s')
# What begins a path.
_PATH = re.compile(r"(?:[A-Za-z]:)?[\\/]")


class Report(NamedTuple):
    """A table, the recordings of its card that it lists, and the names that are of none.

    `beside` are recordings that it lists of the day's other cards of that role; `left` those that
    it names as they are not on their card any more: what was renamed there is listed. `named` are
    those there that its names tell apart, one a name: more are listed with them, as MP3s.
    """

    file: Recording
    lists: tuple[Recording, ...]
    missing: tuple[str, ...]
    beside: tuple[Recording, ...] = ()
    left: tuple[Recording, ...] = ()
    named: tuple[Recording, ...] = ()

    @property
    def day(self) -> str:
        """The newest day that it lists something of, by what tells its date if anything does.

        An MP3 that tells none is of the day when it was seen, though its take is of a night.
        """
        listed = (*self.lists, *self.left)
        dated = [recording for recording in listed if recording.description.metadata.date]
        return max((recording.day for recording in dated or listed), default=self.file.day)


Reports = Mapping[int, tuple[Report, ...]]
"""Those of each load."""


def reports_on(view: DayStanding, ledger: Ledger) -> Reports:
    """The reports on the day's cards, none of a card that was not seen whole yet."""
    cards = {load.id: Card.of(ledger, load) for load in view.loads}
    if not any(_is_table(file) for card in cards.values() for file in card.files):
        return {}
    shelves = {}
    for load in view.loads:
        elsewhere = [one.label for one in view.loads if one.role is not load.role]
        shelves[load.id] = Shelf(cards[load.id].audio(), load.label, elsewhere)
    before = {number: Shelf(card.left) for number, card in cards.items()}
    renamed = {number: now for card in cards.values() for number, now in card.renamed.items()}
    found = {}
    for load in view.loads:
        listed = ledger.listings.get(load.id)
        if listed is None or not listed.untaken:
            shelf = shelves[load.id]
            others = [one.id for one in view.loads if one.role is load.role and one is not load]
            mates = {number: Mate.of(shelves[number], shelf) for number in others}
            apart = [number for number, mate in mates.items() if not mate.names]
            lost = [before[number] for number in (load.id, *apart)]
            tables = [*filter(_is_table, cards[load.id].files)]
            papers = {_folder(file.path) for file in tables}
            made = (_report(file, shelf, mates.values(), lost, renamed, papers) for file in tables)
            found[load.id] = tuple(one for one in made if one is not None)
    return found


class Mate(NamedTuple):
    """Another card of that role, and whether it shares names with a report's own card, and paths.

    Two cards that a recorder filled one after the other share no path, though each scene's folder
    may begin its numbers anew.
    """

    shelf: Shelf
    names: bool
    paths: bool

    @classmethod
    def of(cls, shelf: Shelf, own: Shelf) -> Mate:
        """One beside a report's own card."""
        return cls(shelf, own.shares_names(shelf), own.shares_paths(shelf))

    def may_have(self, name: str, own: Shelf) -> bool:
        """Whether a name that the own card lacks can be that of a file on this one."""
        told = self.shelf.has_folder_of(name, own)
        return not self.names or told or (not self.paths and self.shelf.has_path(name))


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


def _report(
    file: Recording,
    shelf: Shelf,
    mates: Collection[Mate],
    before: Iterable[Shelf],
    renamed: Mapping[int, Recording],
    papers: Set[bytes],
) -> Report | None:
    """A table as a report; None where it is none.

    `shelf` is of its card, `mates` are cards it may list too. `before` hold what has left all these
    cards, and `renamed` tells what they have in the stead of that. `papers` are the card's folders
    with a table.
    """
    said = file.description
    columns = (said.listed, *said.besides)
    here = _in_its_folder(shelf.found(columns), shelf, _folder(file.path), papers)
    there = {name: here[name] for name in _lacking(here)}
    for mate in mates:
        may_be = [name for name in _lacking(there) if mate.may_have(name, shelf)]
        there |= _found(mate.shelf, columns, may_be)
    lost = {name: there[name] for name in _lacking(there)}
    for gone in before:
        lost |= _found(gone, columns, _lacking(lost))
    known = {name for files in (here, there, lost) for name in files if files[name]}
    known |= set(filter(shelf.has_name, there))  # in another folder, or with another ending
    column = _column(said, known)
    listed = _no_remarks(shelf, {name: here[name] for name in column}, loosely=said.loosely)
    lists, beside, left = (_all(listed, files) for files in (here, there, lost))
    now = {new.id: new for old in left if (new := renamed.get(old)) is not None}
    chief = (files[0] for name in listed if (files := here[name] or there[name]))
    named = {r.id: r for r in chief} | now
    lists |= now
    audio = sum(map(names_audio, listed))
    if not lists and not left and audio < FEWEST:
        return None
    missing = [name for name in listed if name in lost and not lost[name]]
    surely = _surely(missing, [name for name in listed if name not in missing])
    told = (tuple(found.values()) for found in (beside, left, named))
    return Report(file, tuple(lists.values()), tuple(surely), *told)


def _in_its_folder(
    here: Mapping[str, list[Recording]], shelf: Shelf, folder: bytes, papers: Set[bytes]
) -> dict[str, list[Recording]]:
    """What names mean in a report that lies in a folder whose names begin anew in another.

    That is what lies in its own, unless a name tells a folder, or the other has no report.
    """
    others = tuple(p for p in papers if not (p.startswith(folder) or folder.startswith(p)))

    def kinds(name: str, *, inside: bool) -> set[Kind]:
        return {r.description.kind for r in here[name] if r.path.startswith(folder) is inside}

    def of_another(name: str) -> bool:
        return all(r.path.startswith(others) for r in shelf.chief(name, here[name]))

    bare = [name for name in here if {"/", "\\"}.isdisjoint(name)]
    anew = any(kinds(name, inside=True) & kinds(name, inside=False) for name in bare)
    return {**here, **{name: [] for name in bare if anew and of_another(name)}}


def _folder(path: bytes) -> bytes:
    return path[: path.rfind(b"/") + 1]


def _no_remarks(shelf: Shelf, found: Mapping[str, object], *, loosely: bool) -> list[str]:
    """The names without the sentences that end in a name, as a log has them.

    Those with blanks that are files of the card are names; the others are too where at least
    as many are, in a table of columns also where none ends in the name of such a file.
    """
    spaced = [name for name in found if " " in name]
    unknown = {n for n in spaced if not found[n] or not _whole(shelf, n, loosely)}
    sentences = loosely or any(_is_there(shelf, name.split()[-1]) for name in unknown)
    if not sentences or 2 * len(unknown) <= len(spaced):
        return list(found)
    return [name for name in found if name not in unknown]


def _is_there(shelf: Shelf, word: str) -> bool:
    """Whether a word is a file's name or path; what a blank in a folder's name parts is no path."""
    rest = not _PATH.match(word) and not {"/", "\\"}.isdisjoint(word)
    return shelf.has_path(word) if rest else bool(shelf.find(word))


def _whole(shelf: Shelf, name: str, loosely: bool) -> bool:
    """Whether the path that a name ends in begins where the name does: no word before it.

    Between marks a volume's name may have blanks, and none at its end.
    """
    first, *rest = name.replace("\\", "/").split("/")
    words = " " in first if loosely else first.endswith(" ")
    return not rest or not words or shelf.has_path(name)


def _column(said: Description, known: Set[str]) -> tuple[str, ...]:
    """The names of a table: what stands in the column that names the most files of the card.

    That is the one in which the table says that they are, or one of whose cells at least half are
    such names: two, if none has the ending of audio. Beside it count those with endings of which
    half are there too: a set's other files, and not what the files were called before.
    """

    def hits(column: Iterable[str]) -> int:
        return sum(name in known for name in column)

    def half(column: Collection[str]) -> bool:
        return 2 * hits(column) >= len(column)

    columns = (said.listed, *said.besides)
    likely = [column for column in columns if half(column)]
    sure = (column for column in likely if _ends(column) or hits(column) >= FEWEST)
    best = max((said.listed, *sure), key=hits)
    others = filter(_ends, likely if hits(best) else columns)
    return tuple(dict.fromkeys(name for column in (best, *others) for name in column))


def _ends(column: tuple[str, ...]) -> bool:
    return any(map(names_audio, column))


def _lacking(found: Mapping[str, Sequence[Recording]]) -> list[str]:
    return [name for name in found if not found[name]]


def _found(
    shelf: Shelf, columns: tuple[tuple[str, ...], ...], names: Collection[str]
) -> dict[str, list[Recording]]:
    """What these names mean there, in a table of all these."""
    meant = shelf.found(columns) if names else {}
    return {name: meant[name] for name in names}


def _all(names: Iterable[str], meant: Mapping[str, Sequence[Recording]]) -> dict[int, Recording]:
    return {r.id: r for name in names for r in meant.get(name, ())}


def _surely(missing: Iterable[str], there: Collection[str]) -> Iterator[str]:
    """Of the names that are of no file, those that are no totals, signatures or remarks.

    Among names with their ending, what has none may be a total or the like; so may what is unlike
    the names that are there. A mark in words, as `(not recorded)`, may say that there is no such
    file, unless a name that is there has it too, as `(circled)`.
    """
    names = [name for name in missing if not _REMARK.search(name)]
    ended = any(names_audio(unmarked(name)) for name in (*names, *there))
    likes = set() if ended else set(map(_likeness, there))
    marks = {_mark(name) for name in there}
    for name in names:
        marked = names_audio(unmarked(name)) and _mark(name) in marks
        if names_audio(name) or marked or _likeness(name) in likes:
            yield name


def _mark(name: str) -> str:
    """The letters of the marks around it."""
    return _NO_LETTER.sub("", name.replace(unmarked(name), "", 1)).casefold()


def _likeness(name: str) -> tuple[bool, bool]:
    """By what a name is told from a total, a head or a signature: blanks, and digits."""
    return " " in name, any(map(str.isdigit, name))
