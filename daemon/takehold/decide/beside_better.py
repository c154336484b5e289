"""A file that stands beside a better one of its sound, as an MP3 of each take."""

from __future__ import annotations

from collections.abc import Sequence

from takehold.decide.by_digest import HELD, WHOLE
from takehold.decide.standing import DayStanding, Standing
from takehold.decide.take_names import set_name, without_word
from takehold.formats.names import same_key
from takehold.model.finding import Relation
from takehold.model.recording import Recording
from takehold.model.sound import Kind


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
    anywhere = _is_lossy(standing.recording)
    found = filter(None, map(view.of, its.answer.others))
    mates = [mate for mate in found if anywhere or not _is_lossy(mate.recording)]
    own = standing.recording.id in its.answer.others
    return not own and any(anywhere or m.load.id == standing.load.id for m in mates)


def spare_beside_better(standing: Standing, mine: Standing, view: DayStanding) -> bool:
    """Whether a lossy file on a backup card is there beside what answers the recording whole."""
    relation = standing.answer.relation if standing.answer else Relation.MISSING
    if not _is_lossy(standing.recording) or relation is not Relation.REDUCED or mine.answer is None:
        return False
    its = [view.of(number) for number in mine.answer.others]
    beside = any(other and other.load.id == standing.load.id for other in its)
    return beside and mine.answer.relation in WHOLE


def lossy_beside(one: Sequence[Recording], other: Sequence[Recording]) -> bool:
    """Whether one of two takes of a card is a lossy file with the other's name, or that of its set.

    In any folder, but for the ending, and a word behind the name, as `_Mix`.
    """
    lossy, exact = sorted((one, other), key=lambda files: not _is_lossy(files[0]))
    if one[0].load != other[0].load or _is_lossy(exact[0]) or not _is_lossy(lossy[0]):
        return False
    paths = (same_key(r.path).rpartition("/")[2] for r in (lossy[0], *exact))
    name, *names = (path.rpartition(".")[0] for path in paths)
    shared = set_name(names) if len(names) > 1 else names[0]
    return bool(shared) and shared in (name, without_word(name))


def _is_lossy(recording: Recording) -> bool:
    return recording.description.kind is Kind.COMPRESSED
