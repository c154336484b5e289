"""Takes of which only a mix is there, or an MP3, though others have their tracks beside it.

A recorder that writes a mix beside the tracks does so in a folder or under a name that says `mix`
(`MIX/1T01.WAV`, `1T01_MIX.WAV`), and an MP3 tells itself. Where one lies alone, the file that it
was written beside was deleted or lost: the take's number is there, and its tracks are not.
(Common practice, no source.)

What lies beside it has its scene, take and kind of take, or its name, and begins when it does, as
far as both tell that. A name that comes again, as where each scene has a folder of its own, is that
of a file in the same folder, but for those of mixes and MP3s.
"""

from __future__ import annotations

import posixpath
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet

from takehold.decide.beside_better import is_lossy
from takehold.decide.day import DATED
from takehold.decide.one_recording import MOMENT
from takehold.decide.recorder import Recorder
from takehold.decide.take_names import (
    folder_of,
    is_below_mixes,
    same_number,
    says_mix,
    set_name,
    stands_for,
)
from takehold.model.finding import Finding, Severity
from takehold.model.recording import Recording
from takehold.model.slate import same_words, stem
from takehold.model.take import Take

MIX = "only its mix is here, and other takes have their tracks beside it"
LOSSY = "only an MP3 of it is here, and other takes have a better file beside it"
# So many others have their tracks beside them: that is what the recorder does. Chosen, no source.
FEWEST = 2
DO = "Look for the rest on both cards, in the recorder. Keep the cards as they are."
# What each is written beside.
_BETTER = {MIX: ("",), LOSSY: ("", MIX)}
_Named = tuple[Hashable, str]
# In place of the second in which a take begins.
_UNTOLD, _ANY = -2, -3


def mix_findings(recorder: Recorder) -> Iterator[Finding]:
    """Once for all of a card; a card that holds mixes of most takes alone is meant to."""
    takes = [one for rolled in recorder.takes for one in (rolled, *rolled.again)]
    files = {take.first: recorder.recordings(take) for take in takes}
    above = _shared(file.path for its in files.values() for file in its)
    kinds = {first: {_kind(file, above) for file in its} for first, its in files.items()}
    less = {take: kind for take in recorder.takes if (kind := _less(kinds[take.first]))}
    if not less:
        return
    asked = _asked(recorder, less)
    begun = _begun(recorder, takes, kinds, {key for keys in asked.values() for key in keys})
    odd: list[tuple[Take, str]] = []
    whole = Counter(kind for take in recorder.takes for kind in _within(take, kinds[take.first]))
    for take, keys in asked.items():
        kind, begins = less[take], {_second(take), _UNTOLD} if take.start else {_ANY}
        if any(not begun[one, key].isdisjoint(begins) for one in _BETTER[kind] for key in keys):
            whole[kind] += 1
        elif not _may_be_of_another_day(recorder, take):
            odd.append((take, kind))
    alone = Counter(kind for _, kind in odd)
    told = ((take, kind) for take, kind in odd if whole[kind] >= max(FEWEST, alone[kind]))
    for alike, says in recorder.alike(told):
        yield recorder.noticed_of(alike, "set-incomplete", Severity.LOOK, says, DO)


def _may_be_of_another_day(recorder: Recorder, take: Take) -> bool:
    """As an MP3, which names no date: then what it lies beside may be told there."""
    said = recorder.recording(take.first).description
    return any(complaint.code in DATED for complaint in said.complaints)


def _kind(file: Recording, above: int) -> str:
    """`above` so many folders hold all files of the recorder: they tell nothing of this one."""
    if is_lossy(file):
        return LOSSY
    below = b"/".join(file.path.split(b"/")[above:])
    return MIX if says_mix(below) or is_below_mixes(below) else ""


def _shared(paths: Iterable[bytes]) -> int:
    """How many folders, from the top on, all paths have in common."""
    folders = {posixpath.dirname(path) for path in paths} or {b""}
    shared = posixpath.commonpath(folders)
    return len(shared.split(b"/")) if shared else 0


def _less(kinds: AbstractSet[str]) -> str:
    """What there is of a take in place of its tracks, "" where these are there."""
    return "" if "" in kinds else MIX if MIX in kinds else LOSSY


def _within(take: Take, kinds: AbstractSet[str]) -> AbstractSet[str]:
    """What is tied to its tracks as files of one take; a set with a mix tells what it lacks."""
    declared = (take.expected or 0) > 1 or not (take.take or take.start)
    return frozenset() if declared or "" not in kinds else kinds - {""}


def _asked(recorder: Recorder, less: Mapping[Take, str]) -> dict[Take, set[Hashable]]:
    """What each of them has in common with its tracks.

    Where the recorder writes them into one folder, what lies in a folder of tracks is of these. Of
    others a name that as many better takes have as lie there is that of a take in any folder.
    """
    paths = {take: [file.path for file in recorder.recordings(take)] for take in recorder.takes}
    better = {take: _named(take, paths[take], set_too=True) for take in paths if take not in less}
    there = {name for names in better.values() for name in names}
    folders = {folder for folder, _ in there}
    bare = Counter(name for names in better.values() for name in _bare(names))
    mine = {take: _named(take, paths[take], set_too=len(paths[take]) > 1) for take in less}
    beside = {kind for take, kind in less.items() if not there.isdisjoint(mine[take])}
    count = Counter((kind, _name(path)) for take, kind in less.items() for path in paths[take])
    found = {}
    for take, kind in less.items():
        apart = kind not in beside or folders.isdisjoint(folder for folder, _ in mine[take])
        own = {*map(_name, paths[take])}
        alone = all(count[kind, n] <= max(1, *(bare[one] for one in stands_for(n))) for n in own)
        found[take] = {*_slates(take), *mine[take], *(_bare(mine[take]) if apart and alone else ())}
    return found


def _begun(
    recorder: Recorder,
    takes: Iterable[Take],
    kinds: Mapping[int, AbstractSet[str]],
    asked: AbstractSet[Hashable],
) -> Mapping[tuple[str, Hashable], set[int]]:
    """The seconds in which takes begin, by a kind of file that they have, and what is asked for.

    They may begin a moment off. The names that files had before they were renamed count, too.
    """
    before: dict[int, list[bytes]] = defaultdict(list)
    for standing in recorder.index.values():
        if standing.renamed is not None:
            before[standing.renamed.id].append(standing.recording.path)
    found: dict[tuple[str, Hashable], set[int]] = defaultdict(set)
    for take in takes:
        paths = [path for n in take.files for path in (recorder.recording(n).path, *before[n])]
        near = range(_second(take) - MOMENT, _second(take) + MOMENT + 1)
        begins = {_ANY, *(near if take.start else (_UNTOLD,))}
        names = _named(take, paths, set_too=True)
        for key in asked & {*_slates(take), *names, *_bare(names)}:
            for kind in kinds[take.first]:
                found[kind, key] |= begins
    return found


def _second(take: Take) -> int:
    return (take.start or 0) // (take.sample_rate or 1)


def _slates(take: Take) -> Iterator[Hashable]:
    """A scene and take, its type too if no time is told."""
    slate = same_words(take.scene), same_number(take.take)
    if all(slate):
        yield (*slate, frozenset(take.types))
        if take.start:
            yield slate


def _named(take: Take, paths: Iterable[bytes], *, set_too: bool) -> set[_Named]:
    """The names of files, and of what they may lie beside, each with its folder."""
    found: set[_Named] = set()
    for path in paths:
        name, folder = _name(path), same_words(folder_of(path, beside=True))
        names = {*stands_for(name), set_name([name]) if set_too else name} - {""}
        found |= {((take.load, folder), one) for one in names}
    return found


def _bare(names: Iterable[_Named]) -> set[str]:
    return {name for _, name in names}


def _name(path: bytes) -> str:
    return same_words(stem(path))
