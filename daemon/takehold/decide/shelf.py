"""Which recordings of a card a name in a sound report means.

Names agree in any case, with or without path and ending, but not with another ending: an MP3 is not
the WAVE file of its name. A take's name stands for the files of its set, and a name with marks
around it for what it is without them, if the card has that.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import (
    Callable,
    Collection,
    Hashable,
    Iterable,
    Iterator,
    Mapping,
    Sequence,
    Set,
)

from takehold.decide.file_set import place, tie
from takehold.decide.take_names import set_name
from takehold.formats.names import same_key
from takehold.formats.report_table import LOSSY, audio_kind, names_audio, unmarked
from takehold.model.recording import Recording
from takehold.model.slate import same_words, scene_and_take

# Parts of a path that are compared.
DEEPEST = 8
# Frames by which tracks of one take may differ: they are stopped a moment apart.
_CLOSE = 48_000
# What a recorder puts behind the name of a take, for the file of a set or a part.
_NUMBER = re.compile(r"_[0-9]{1,3}$")
# That of the first file, and that of a later one.
_FIRST, _LATER = re.compile(r"[\W_]0*[01]?"), re.compile(r"[\W_]0*(?:[2-9]|[1-9][0-9]+)")
# What the names of a set's files begin with beyond what they have in common: a mark, and a word or
# the zeros before a number (`_`, `_Tr`, `-0`).
_OWN = re.compile(r"(?:^|(?<![\W_])[\W_]+)[^\W\d_]*0*$")

_Path = tuple[str, ...]


class Shelf:
    """The recordings of a card by the ends of their paths."""

    def __init__(
        self, audio: Collection[Recording], label: str = "", elsewhere: Iterable[str] = ()
    ) -> None:
        self._ending: dict[_Path, list[Recording]] = defaultdict(list)
        self._of_take: dict[str, list[Recording]] = defaultdict(list)
        self._folders: set[str] = set()
        self._paths: set[_Path] = set()
        self._label = _keyed(label)[-1]  # paths may begin with it
        self._elsewhere = {_keyed(other)[-1] for other in elsewhere} - {self._label}
        self._kind = {recording.id: _kind(_text(recording.path)) for recording in audio}
        self._kinds = set(self._kind.values())
        for recording in audio:
            parts = _parts(recording.path)
            for first in range(len(parts)):
                self._ending[parts[first:]].append(recording)
            self._of_take[_NUMBER.sub("", parts[-1])].append(recording)
            self._folders |= set(parts[:-1])
            self._paths.add(parts)
        for name, files in _sets(audio):
            self._of_take[name] += files
        self._lone_track = _lone_track(audio)
        self._found: dict[tuple[tuple[str, ...], ...], dict[str, list[Recording]]] = {}

    def shares_names(self, other: Shelf) -> bool:
        """Whether the same name is on both: then a name does not tell which card is meant."""
        return any(len(ending) == 1 and ending in other._ending for ending in self._ending)

    def shares_paths(self, other: Shelf) -> bool:
        """Whether the same path is on both, as of two recorders: nor does a path tell it then."""
        return not self._paths.isdisjoint(other._paths)

    def has_folder_of(self, name: str, other: Shelf) -> bool:
        """Whether the path of a name has a folder of this card, or its label, that is not there."""
        mine = (f for f in _keyed(name)[:-1] if f in self._folders or f == self._label)
        return any(folder not in other._folders and folder != other._label for folder in mine)

    def has_name(self, name: str) -> bool:
        """Whether anything is called so, wherever it lies and however its name ends."""
        return bool(self._meant(self._path(name), ""))

    def has_path(self, name: str) -> bool:
        """Whether all of it, folder and name, is the end of a path there; a drive is no folder."""
        path = tuple(part for part in _keyed(name) if not part.endswith(":"))
        return 1 < len(path) < DEEPEST and path in self._ending

    def found(self, columns: tuple[tuple[str, ...], ...]) -> Mapping[str, list[Recording]]:
        """The recordings that each name of a table means, those of its own ending first.

        A name that is a take's, or another's with a mark, is that of a file of its own where the
        table has those that it would stand for besides. Kept: the cards of a day have one table.
        """
        if columns not in self._found:
            self._found[columns] = self._find_all(columns)
        return self._found[columns]

    def _find_all(self, columns: tuple[tuple[str, ...], ...]) -> dict[str, list[Recording]]:
        paths = {name: self._path(name) for column in columns for name in column}
        whole = set(map(_keyed, paths))
        own = {name: self._own(path, _kind(name)) for name, path in paths.items()}
        alone = {r.id for files in own.values() for r in files}
        found: dict[str, list[Recording]] = {}
        for name, path in paths.items():
            files = self._meant(path, _kind(name))
            behind = names_audio(unmarked(name)) and not names_audio(name)  # no part of any name
            marked = path != _keyed(name) and path in whole and not behind
            takes = not own[name] and not alone.isdisjoint(r.id for r in self.chief(name, files))
            found[name] = [] if marked or takes else files
        found |= self._of_tracks(found, whole)
        for column in columns:
            found |= {name: [] for name in {*self._strange(column, paths, found)}}
        return found

    def _of_tracks(
        self, found: Mapping[str, list[Recording]], whole: Set[_Path]
    ) -> dict[str, list[Recording]]:
        """The poly files of which the table names each track, called so, by its names for them.

        Where one of these is a file, the others are files that lack: a number is no track there.
        """
        tracks: dict[_Path, list[str]] = defaultdict(list)
        for name in found:
            *folders, stem = _keyed(name)
            if _NUMBER.search(stem):
                tracks[(*folders, _NUMBER.sub("", stem))].append(name)
        polys: dict[str, list[Recording]] = {}
        for path, its in tracks.items():
            kind = _kind(its[0])
            files = self._own(path, kind)
            rows = path not in whole and not any(found[name] for name in its)
            if files and rows and all(_channels(file) == len(its) > 1 for file in files):
                polys |= dict.fromkeys(its, self._meant(path, kind))
        return polys

    def _strange(
        self,
        column: Iterable[str],
        paths: Mapping[str, _Path],
        found: Mapping[str, list[Recording]],
    ) -> Iterator[str]:
        """The names that mean a file that another name means, by folders that it is not in.

        The same name in several folders is several files, also if the card lacks one of these: a
        file is that of the name whose folders agree the most, and of none of several that agree
        alike. What the names begin with together, as a volume's, tells nothing, nor a medium
        (`SD:`) or a card of another role, which holds the same.
        """
        meant: dict[int, dict[_Path, list[str]]] = defaultdict(dict)
        files: dict[int, Recording] = {}
        for name in column:
            for recording in self.chief(name, found[name]):
                folders = tuple(f for f in paths[name][:-1] if not self._is_medium(f))
                meant[recording.id].setdefault(folders, []).append(name)
                files[recording.id] = recording
        for number, names in meant.items():
            if len(names) > 1:
                its = {self._label, *_parts(files[number].path)[:-1]}
                best, *others = sorted(names, key=lambda f: (-len(its.intersection(f)), len(f), f))
                for folders in others:
                    less = len(its.intersection(folders)) < len(its.intersection(best))
                    alike = not less and _beyond(best, folders, its)
                    if (less or alike) and _beyond(folders, best, its):
                        yield from names[folders]
                        yield from names[best] if alike else ()

    def _is_medium(self, folder: str) -> bool:
        return folder.endswith(":") or folder in self._elsewhere

    def chief(self, name: str, files: Sequence[Recording]) -> Sequence[Recording]:
        """Those of its own ending of what a name means, or all if it is none's."""
        return [r for r in files if self._fits(r, _kind(name))] or files

    def find(self, name: str) -> list[Recording]:
        """The recordings that a report means by a name.

        Where several folders hold that name, those whose folders agree the furthest; where the
        card has a folder that the name tells, what is in that one only. The name of a take means
        all files of its set, and of its first part, if it is there, the other parts. Marks around a
        name are a part of it only if the card has nothing that is called as what is left.
        """
        return self._meant(self._path(name), _kind(name))

    def _path(self, name: str) -> _Path:
        """What is looked for: the whole, or what is left without marks if the card has that."""
        whole, left, kind = _keyed(name), _keyed(unmarked(name)), _kind(name)
        marked = whole != left and not self._meant(whole, kind) and self._meant(left, kind)
        return left if marked else whole

    def _meant(self, parts: _Path, kind: str) -> list[Recording]:
        """What is called so: if a file of that kind is among it, the others are listed with it.

        A name of a lossy file may be that of what it was made of, on a card without any such files.
        """
        if kind in LOSSY and kind not in self._kinds:
            kind = ""
        own = self._own(parts, kind)
        takes = {_take(recording) for recording in own}
        its = self._of_take.get(parts[-1], [])
        its = self._within(parts, [r for r in its if not own or _take(r) in takes])
        fit = [] if own else [r for r in its if self._fits(r, kind)]
        late = _late(parts[-1], fit, self._lone_track)
        found = own + [r for r in its if r.id not in late] + self._named(parts)
        found.sort(key=lambda r: not self._fits(r, kind))
        return found if any(self._fits(r, kind) for r in found[:1]) else []

    def _own(self, parts: _Path, kind: str) -> list[Recording]:
        """The recordings whose own name it is, with its ending."""
        return [r for r in self._named(parts) if self._fits(r, kind)]

    def _fits(self, recording: Recording, kind: str) -> bool:
        """Whether it may have a name of that kind; what has no ending of audio may be any."""
        return not kind or self._kind[recording.id] in (kind, "")

    def _named(self, parts: _Path) -> list[Recording]:
        """The recordings whose own name it is, with any ending."""
        endings = (parts[first:] for first in range(len(parts)))
        return self._within(
            parts, next((self._ending[e] for e in endings if e in self._ending), [])
        )

    def _within(self, parts: _Path, files: list[Recording]) -> list[Recording]:
        told = self._folders.intersection(parts[:-1])
        return [r for r in files if told.issubset(_parts(r.path)[:-1])]


def _sets(audio: Iterable[Recording]) -> Iterator[tuple[str, list[Recording]]]:
    """The sets of files on a card, each by the names that stand for it.

    That is what the names of its files have in common, and the name of a folder that holds nothing
    else. A set is what the files declare as one (decide/file_set), or of one folder, scene and take
    what begins and ends together, as a mix beside the tracks. Each place in it is taken once: what
    was recorded again, or is a copy, has the longer name (common practice, no source).
    """
    sets: dict[Hashable, dict[Hashable, Recording]] = defaultdict(dict)
    folders: dict[bytes, dict[Hashable, Recording]] = defaultdict(dict)
    for recording in sorted(audio, key=lambda recording: len(recording.path)):
        take, said = _take(recording), recording.description
        start = said.metadata.time_reference
        there = (take, start, place(recording))
        sets[take, tie(recording)].setdefault(there, recording)
        if any(take[1:]) and said.frames and start is not None:
            sets[take, start, said.frames].setdefault(there, recording)
        folders[take[0]].setdefault(there, recording)
    found = ([*files.values()] for files in sets.values())
    named = [(_common([_parts(r.path)[-1] for r in files]), files) for files in found]
    for folder, within in folders.items():
        files = [*within.values()]
        takes, ties = {_take(r) for r in files}, {tie(r) for r in files}
        if folder and len(takes) == 1 and (any(_take(files[0])[1:]) or len(ties) == 1):
            whole = _parts(folder)[-1]
            named += [(name, files) for name in {whole, whole.rpartition(".")[0]}]
    for name, files in named:
        several = len(files) > 1 or (files[0].description.metadata.total_files or 0) > 1
        if several and name and name not in map(same_words, scene_and_take(files[0])):
            yield name, files


def _common(names: list[str]) -> str:
    """What the names of a set's files have in common, without what belongs to each of them."""
    if len(names) == 1:
        return set_name(names)
    first, last = min(names), max(names)
    same = next(
        (n for n, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), len(first)
    )
    own = {name[same : same + 1] for name in names}
    return _OWN.sub("", first[:same]) if any(map(str.isalnum, own)) else first[:same]


def _late(name: str, files: Iterable[Recording], by_itself: Callable[[set[str]], bool]) -> set[int]:
    """Those that a name does not stand for: later parts of takes whose first one is gone.

    Tracks may be counted from the first that is armed: they begin and end together, or have the
    number that the file tells. Of a mono file `by_itself` says whether it may be one all the same.
    """
    takes: dict[Hashable, dict[str, Recording]] = defaultdict(dict)
    for recording in files:
        takes[_take(recording)][_parts(recording.path)[-1].removeprefix(name)] = recording
    found: set[int] = set()
    for its in takes.values():
        monos = all(_channels(recording) == 1 for recording in its.values())
        named = monos and all(_number(end) in _numbers(r) for end, r in its.items())
        alone = monos and len(its) == 1 and all(by_itself(_numbers(r)) for r in its.values())
        tracks = named or alone or (len(its) > 1 and _together(its.values()))
        if any(map(_LATER.fullmatch, its)) and not (tracks or any(map(_FIRST.fullmatch, its))):
            found |= {recording.id for recording in its.values()}
    return found


def _number(end: str) -> str:
    return end.strip("_-. ").lstrip("0")


def _numbers(recording: Recording) -> set[str]:
    """Its place in its set, and that of its tracks, as far as it tells them."""
    said = recording.description.metadata
    return {said.set_index.lstrip("0"), *(str(track.channel) for track in said.tracks)} - {""}


def _together(files: Collection[Recording]) -> bool:
    """Whether they begin together, by two of three: a timecode, other tracks each, one length."""
    told = [recording.description for recording in files]
    begins = {said.metadata.time_reference or 0 for said in told}  # 0 without a timecode
    frames = [said.frames or 0 for said in told]
    other = len({said.metadata.tracks for said in told}) == len(told)
    close = max(frames) - min(frames) <= _CLOSE
    return len(begins) == 1 and any(begins) + other + close >= 2


def _lone_track(audio: Iterable[Recording]) -> Callable[[set[str]], bool]:
    """Tells of a card whether a mono file by itself, of these numbers, may be a later track.

    So it may where takes have mono files with a number each that begin together, if it tells no
    number, or those do not tell theirs either.
    """
    takes: dict[Hashable, list[Recording]] = defaultdict(list)
    for recording in audio:
        stem = _parts(recording.path)[-1]
        if _NUMBER.search(stem) and _channels(recording) == 1:
            takes[_take(recording), _NUMBER.sub("", stem)].append(recording)
    sets = [its for its in takes.values() if len(its) > 1 and _together(its)]
    ends = ((r, _number(_NUMBER.findall(_parts(r.path)[-1])[-1])) for its in sets for r in its)
    odd = any(end not in _numbers(recording) for recording, end in ends)
    return lambda told: bool(sets) and (odd or not told)


def _channels(recording: Recording) -> int:
    form = recording.description.format
    return form.channels if form else 0


def _take(recording: Recording) -> tuple[bytes, str, str]:
    """The folder, and the take as the file tells it."""
    said = recording.description.metadata
    return recording.path.rpartition(b"/")[0], said.scene, said.take


def _kind(name: str) -> str:
    return audio_kind(name) or audio_kind(unmarked(name))


def _text(path: bytes) -> str:
    return path.decode("utf-8", "surrogateescape")


def _beyond(folders: _Path, others: _Path, there: set[str]) -> bool:
    """Whether it has folders that are not there, but for those that both begin with."""
    same = next(
        (n for n, (a, b) in enumerate(zip(folders, others, strict=False)) if a != b), len(others)
    )
    return not there.issuperset(folders[same:])


def _keyed(name: str) -> _Path:
    return _parts(name.encode("utf-8", "surrogateescape"))


def _parts(path: bytes) -> _Path:
    """Its last folders and its name, without an audio file's ending, as names agree."""
    *folders, name = same_key(path).replace("\\", "/").split("/")
    stem = name.rpartition(".")[0] if names_audio(name) else name
    return (*[folder for folder in folders if folder][1 - DEEPEST :], stem)
