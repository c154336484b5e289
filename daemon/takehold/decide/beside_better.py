"""A file that stands beside a better one of its sound on one card, as an MP3 of each take."""

from __future__ import annotations

from takehold.decide.by_digest import HELD, WHOLE
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import same_key
from takehold.model.finding import Relation
from takehold.model.recording import Recording
from takehold.model.sound import Kind


def beside_better(standing: Standing, view: DayStanding) -> bool:
    """Whether the backup's file that holds it is there for a better one of the same card."""
    answer = standing.answer
    if answer is None or answer.relation is not Relation.REDUCED or answer.channels:
        return False
    its = view.of(answer.others[0])
    if its is None or its.answer is None or its.answer.relation not in HELD:
        return False
    mates = [view.of(number) for number in its.answer.others]
    own = standing.recording.id in its.answer.others
    return not own and any(mate and mate.load.id == standing.load.id for mate in mates)


def spare_beside_better(standing: Standing, mine: Standing, view: DayStanding) -> bool:
    """Whether a lossy file on a backup card is there beside what answers the recording whole."""
    relation = standing.answer.relation if standing.answer else Relation.MISSING
    lossy = standing.recording.description.kind is Kind.COMPRESSED
    if not lossy or relation is not Relation.REDUCED or mine.answer is None:
        return False
    its = [view.of(number) for number in mine.answer.others]
    beside = any(other and other.load.id == standing.load.id for other in its)
    return beside and mine.answer.relation in WHOLE


def lossy_beside(one: Recording, other: Recording) -> bool:
    """Whether one of two files is lossy, and they differ in their names by the ending only."""
    lossy = [r.description.kind is Kind.COMPRESSED for r in (one, other)]
    return lossy[0] != lossy[1] and one.load == other.load and _stem(one) == _stem(other)


def _stem(recording: Recording) -> str:
    return same_key(recording.path).rpartition(".")[0]
