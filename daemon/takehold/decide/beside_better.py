"""A file that stands beside a better one of its sound, as an MP3 of each take."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from takehold.decide.by_digest import HELD, WHOLE
from takehold.decide.standing import DayStanding, Standing
from takehold.decide.take_names import says_mix, set_name, stands_for
from takehold.formats.names import same_key
from takehold.model.finding import Relation
from takehold.model.recording import Recording
from takehold.model.sound import FLAC_TAG, Kind
from takehold.model.take import Take


def beside_better(standing: Standing, view: DayStanding) -> bool:
    """Whether the backup's file that holds it is there for a better one of a primary card.

    Of the same card, or of any if it is a lossy file.
    """
    answer = standing.answer
    if answer is None or answer.relation is not Relation.REDUCED or answer.channels:
        return False
    its = view.of(answer.others[0])
    if its is None or its.answer is None or its.answer.relation not in HELD:
        return False
    anywhere = is_lossy(standing.recording)
    found = filter(None, map(view.of, its.answer.others))
    mates = [mate for mate in found if anywhere or not is_lossy(mate.recording)]
    own = standing.recording.id in its.answer.others
    return not own and any(anywhere or m.load.id == standing.load.id for m in mates)


def spare_beside_better(standing: Standing, mine: Standing, view: DayStanding) -> bool:
    """Whether a lossy file on a backup card is there beside what answers the recording whole."""
    relation = standing.answer.relation if standing.answer else Relation.MISSING
    if not is_lossy(standing.recording) or relation is not Relation.REDUCED or mine.answer is None:
        return False
    its = [view.of(number) for number in mine.answer.others]
    beside = any(other and other.load.id == standing.load.id for other in its)
    return beside and mine.answer.relation in WHOLE


def compressed_beside(one: Sequence[Recording], other: Sequence[Recording]) -> bool:
    """Whether one of two takes of a card is a compressed file beside the other, by its name.

    In any folder, but for the ending, and a word behind the name, as `_Mix`.
    """
    less, better = sorted((one, other), key=_rank)
    if one[0].load != other[0].load or _rank(less) == _rank(better):
        return False
    return not _asked(less).isdisjoint(_names(better))


def without_copies(
    takes: Iterable[Take], files: Callable[[Take], Sequence[Recording]]
) -> tuple[Take, ...]:
    """Takes, but for the compressed files beside others of them."""
    its = [(take, files(take)) for take in takes]
    if not any(_is_compressed(made[0]) for _, made in its):
        return tuple(take for take, _ in its)
    best: dict[tuple[int, str], tuple[int, bool]] = {}
    for take, made in its:
        rank = _rank(made)
        for key in ((take.load, name) for name in _names(made)):
            best[key] = max(best.get(key, _LEAST), rank)

    def is_copy(take: Take, made: Sequence[Recording]) -> bool:
        if not _is_compressed(made[0]):
            return False
        found = (best.get((take.load, name), _LEAST) for name in _asked(made))
        return _rank(made) < max(found, default=_LEAST)

    return tuple(take for take, made in its if not is_copy(take, made))


def is_lossy(recording: Recording) -> bool:
    """Whether it holds less than what it was made of, as an MP3; a FLAC holds all."""
    made = recording.description.format
    return _is_compressed(recording) and not (made and made.tag == FLAC_TAG)


def _is_compressed(recording: Recording) -> bool:
    return recording.description.kind is Kind.COMPRESSED


# Lossy, compressed without loss, not compressed; of the first two a mix is less than its tracks.
_LEAST, _EXACT = (0, False), (2, True)


def _rank(files: Sequence[Recording]) -> tuple[int, bool]:
    """What is better is more."""
    first = files[0]
    return (int(not is_lossy(first)), not says_mix(first.path)) if _is_compressed(first) else _EXACT


def _asked(files: Sequence[Recording]) -> set[str]:
    """The names of takes that a compressed file may lie beside."""
    return stands_for(_stem(files[0]))


def _names(files: Sequence[Recording]) -> set[str]:
    """Those of a take's files, that of its set, and of a mix that of its tracks."""
    names = [*map(_stem, files)]
    of_mix = stands_for(names[0]) if says_mix(files[0].path) else set()
    return {*names, *of_mix, set_name(names) if len(names) > 1 else ""} - {""}


def _stem(recording: Recording) -> str:
    name = same_key(recording.path).rpartition("/")[2]
    return name.rpartition(".")[0] or name
