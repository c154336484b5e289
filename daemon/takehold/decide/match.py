"""Which files of a backup card answer which primary recording, and how?

1. What the digests say comes first: the same bytes, the same payload, the same channels in another
   layout. What is left is paired by its names and its timecode (decide/candidates), and what its
   blocks do not tell is said by a comparison of the samples, once that was made.
2. One to one: a backup's channel answers one part of a take only, the strongest relation first. A
   second primary card that holds the same takes is answered by what answers the first.
3. What was made from other files of its card (decide/derived) takes no channel from them: it is
   answered by what answers them.
4. The order of the files does not matter.
5. Only reads count: a file that was not read yet confirms nothing.
6. Files of other days (decide/astray) are known by their audio: before names are looked at.
Cost: linear in the number of files, but for sorting.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from takehold.decide.board import Board, by_load
from takehold.decide.derived import derived
from takehold.decide.hints import beginnings
from takehold.decide.tracks_beside import held_beside, known_beside
from takehold.decide.twins import Twins
from takehold.decide.weighing import Compared
from takehold.model.comparison import Side
from takehold.model.finding import Counterpart
from takehold.model.recording import Recording


class Matched(NamedTuple):
    """The answers for the primary recordings, and for the backup's, in the order of their paths.

    `uncompared` are pairs of sides whose samples should be compared.
    """

    primaries: tuple[Counterpart, ...]
    backups: tuple[Counterpart, ...]
    uncompared: tuple[tuple[Side, Side], ...]


class Left(NamedTuple):
    """What the digests of a day's own cards leave open: primary recordings, and the backup's.

    `held` are the primary recordings that they answer, and how.
    """

    ours: tuple[Recording, ...] = ()
    theirs: tuple[Recording, ...] = ()
    held: tuple[tuple[Recording, Counterpart], ...] = ()


@dataclass(frozen=True, slots=True)
class Beyond:
    """What other days' cards have to do with a day: the answers, seen from both cards.

    `answers` are those for its primary recordings, `mirrors` those for its backup's; `files` are
    the other days' recordings in them.
    """

    answers: dict[int, Counterpart] = field(default_factory=dict)
    mirrors: dict[int, Counterpart] = field(default_factory=dict)
    files: tuple[Recording, ...] = ()
    uncompared: tuple[tuple[Side, Side], ...] = ()

    def told(self) -> tuple[Counterpart, ...]:
        """All of them."""
        return (*self.answers.values(), *self.mirrors.values())


def match(
    primaries: Iterable[Recording],
    backups: Iterable[Recording],
    compared: Compared | None = None,
    words: Iterable[str] = (),
    beyond: Beyond | None = None,
) -> Matched:
    """Match two cards; `words` mark what was recorded again (decide/takes)."""
    ours, theirs = _in_order(primaries), _in_order(backups)
    other = beyond or Beyond()
    made = _made(ours)
    board = Board([r for r in ours if r.id not in made], theirs, tuple(words), compared or {})
    board.by_digests()
    board.twins |= other.answers
    board.used |= other.mirrors.keys()
    board.by_names()
    if made:
        board.ours = ours
        board.derive(made, other.files)
        board.by_digests()
        board.by_names()
    board.prefer_the_better(other.answers)
    board.second_cards(other.files)
    board.mirrors_that_differ()
    board.tracks_beside(other.files)
    board.lower_copies()
    ours_told, theirs_told = board.told()
    ours_told = tuple(held_beside(ours_told, ours, (*theirs, *other.files)))
    theirs_told = tuple(known_beside(theirs_told, ours_told, ours, theirs))
    told = tuple(other.mirrors.get(answer.recording, answer) for answer in theirs_told)
    return Matched(ours_told, told, (*board.uncompared, *other.uncompared))


def left_open(
    primaries: Iterable[Recording], backups: Iterable[Recording], words: Iterable[str]
) -> Left:
    """What the digests of these cards leave open.

    None of it: the backup's own twins, and what is the beginning of one another.
    """
    ours, theirs = _in_order(primaries), _in_order(backups)
    made = _made(ours)
    board = Board([r for r in ours if r.id not in made], theirs, tuple(words), {})
    board.by_digests()
    board.second_cards()
    cut = {number for pair in beginnings(board.left(), board.free()) for number in pair}
    held = Twins(ours)
    free = (r for r in board.free() if r.id not in cut and held.of(r) is None)
    known = {**board.twins, **board.answers}
    answered = tuple((r, known[r.id]) for r in ours if r.id in known and known[r.id].others)
    return Left(tuple(r for r in board.left() if r.id not in cut), tuple(free), answered)


def by_audio_alone(
    ours: Iterable[Recording],
    theirs: Iterable[Recording],
    compared: Compared,
    words: Iterable[str],
) -> Matched:
    """Match what names and timecode say nothing of: by digests, or a beginning with real sound.

    Only what is answered, or must be compared, is told.
    """
    board = Board(_in_order(ours), _in_order(theirs), tuple(words), compared)
    board.by_audio()
    ours_told, theirs_told = board.told()
    used = {answer.recording for answer in theirs_told if answer.recording in board.used}
    return Matched(
        tuple(a for a in ours_told if a.others),
        tuple(a for a in theirs_told if a.recording in used),
        tuple(board.uncompared),
    )


def _made(ours: Iterable[Recording]) -> set[int]:
    return {number for files in by_load(ours).values() for number in derived(files)}


def _in_order(recordings: Iterable[Recording]) -> list[Recording]:
    return sorted(recordings, key=lambda r: (r.path, r.id))
