"""A set that lacks files here and is whole on the backup card: shown there, not only said.

TOTAL_FILES and FILE_SET_INDEX are of the iXML specification; that a recorder begins a new part
where a file is full, so that all parts but the last are of one length, is common practice, no
source.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any, NamedTuple

import pytest

from takehold.decide.takes import takes
from takehold.decide.whole_beside import is_whole_beside
from takehold.model.finding import Counterpart, Relation, Severity
from takehold.model.recording import Recording
from takehold.model.sound import Track
from takeworld import MORNING, found_on, wav
from twocards import Cards, Line

PRIMARY, BACKUP = 1, 2
LONG = 1_000  # frames of a part
NAMES = ("Mix", "Boom", "Keeper")


def lines(channels: int = 3, frames: int = LONG, seed: int = 1) -> list[Line]:
    """Other samples on each channel."""
    dice = random.Random(seed)
    return [
        tuple(dice.randrange(-(2**22), 2**22) or 1 for _ in range(frames)) for _ in range(channels)
    ]


SLATE: dict[str, Any] = {"tape": "R1", "originator": "recorder A"}


def slate(**more: Any) -> dict[str, Any]:
    return {"scene": "4", "take": "2"} | SLATE | more


def named(*names: str) -> tuple[Track, ...]:
    return tuple(Track(n, n, name) for n, name in enumerate(names, 1))


def monos(made: Cards, of: int, sound: Sequence[Line], which: Sequence[int], total: int) -> None:
    """Files of a set of mono files, by their numbers in it."""
    for n in which:
        said = slate(family_uid=f"F{of}", total_files=total, set_index=str(n))
        tracks = named(NAMES[n - 1])
        made.add(of, f"T2_{n}.WAV", [sound[n - 1]], MORNING, tracks=tracks, **said)


def poly(made: Cards, sound: Sequence[Line], names: Sequence[str] = NAMES, late: int = 0) -> None:
    """One file on the backup card."""
    made.add(BACKUP, "T2.WAV", sound, MORNING + late, tracks=named(*names), **slate())


def part(nth: int, total: int, frames: int = LONG, **more: Any) -> Recording:
    """A part of one poly file; those before it are LONG."""
    at = MORNING + (nth - 1) * LONG
    said = SLATE | {"family_uid": "F", "total_files": total, "set_index": str(nth)} | more
    return wav(nth, b"T2_%d.WAV" % nth, "4", "2", at, frames, **said)


def beside(frames: int, late: int = 0, number: int = 51, **said: Any) -> Recording:
    """A file of the backup card."""
    path = b"T2_%d.WAV" % number
    return wav(number, path, "4", "2", MORNING + late, frames, of=BACKUP, **(SLATE | said))


def whole(mine: Sequence[Recording], *its: Recording, relation: Relation = Relation.LONGER) -> bool:
    """What is found where each of mine is answered so by all of them."""
    ids = tuple(r.id for r in its)
    index = {r.id: Standing(r, Counterpart(r.id, relation, others=ids)) for r in mine}
    index |= {r.id: Standing(r, None) for r in its}
    (take,) = takes(mine)
    others = {number: other for other in takes(its) for number in other.files}
    return is_whole_beside(take, View(index), others)  # type: ignore[arg-type]


class Standing(NamedTuple):
    """As much of one as is asked for."""

    recording: Recording
    answer: Counterpart | None


class View(NamedTuple):
    """As much of a day's view."""

    index: dict[int, Standing]


def severity(made: Cards) -> Severity:
    """Of what is said of the set; what a look says."""
    (found,) = (f for f in found_on(list(made.files.values())) if f.code == "set-incomplete")
    assert ("whole on the backup card" in found.says) == (found.severity is Severity.LOOK)
    return found.severity


@pytest.mark.parametrize("as_set", [False, True])
def test_a_track_that_sounds_at_its_place_there(*, as_set: bool) -> None:
    made, sound = Cards(), lines()
    monos(made, PRIMARY, sound, (1, 3), 3)
    if as_set:
        monos(made, BACKUP, sound, (1, 2, 3), 3)
    else:
        poly(made, sound)
    assert severity(made) is Severity.LOOK


@pytest.mark.parametrize("as_set", [False, True])
def test_a_track_that_is_silent_there_is_on_neither_card(*, as_set: bool) -> None:
    made, sound = Cards(), lines()
    monos(made, PRIMARY, sound, (1, 3), 3)
    silent = [sound[0], (0,) * LONG, sound[2]]
    if as_set:
        monos(made, BACKUP, silent, (1, 2, 3), 3)
    else:
        poly(made, silent)
    assert severity(made) is Severity.HOLD


@pytest.mark.parametrize(
    ("channels", "names"),
    [((0, 2), ("Mix", "Keeper")), ((0, 2, 3), ("Mix", "Keeper", "Amb")),
     ((0, 2, 0), ("Mix", "Keeper", "Mix"))],
)  # fmt: skip
def test_as_many_channels_show_nothing(channels: Sequence[int], names: Sequence[str]) -> None:
    """The one that lacks is none of them."""
    made, sound = Cards(), lines(4)
    monos(made, PRIMARY, sound, (1, 3), 3)
    poly(made, [sound[n] for n in channels], names)
    assert severity(made) is Severity.HOLD


def test_a_backup_that_is_short_itself_is_not_whole() -> None:
    made, sound = Cards(), lines()
    monos(made, PRIMARY, sound, (1, 3), 3)
    poly(made, [line[:-100] for line in sound])
    assert severity(made) is Severity.HOLD


@pytest.mark.parametrize(
    ("here", "holds", "expected"),
    [
        ((1, 2), 2 * LONG, False),  # not one sample more than what is here
        ((1, 2), 2 * LONG + 500, True),
        ((1,), LONG, False),
        ((1,), LONG + 500, False),  # the second part alone was longer
        ((1,), 2 * LONG + 500, True),
        ((1, 3), LONG + 500, False),
        ((1, 3), 2 * LONG + 500, True),
    ],
)
@pytest.mark.parametrize("channels", [2, 3, 8])
def test_parts_that_lack_must_have_room_in_the_backups_file(
    here: Sequence[int], holds: int, expected: bool, channels: int
) -> None:
    """Whatever the number of its channels, which counts no parts."""
    mine = [part(n, 3, channels=channels) for n in here]
    assert whole(mine, beside(holds, channels=channels)) is expected


def test_fewer_channels_are_not_the_whole() -> None:
    mine = [part(n, 3, channels=3) for n in (1, 2)]
    assert not whole(mine, beside(3 * LONG, channels=2))


def test_one_mono_file_of_three_may_lack_tracks_or_parts() -> None:
    """Neither is shown by a longer file of one channel."""
    assert not whole([part(1, 3, channels=1)], beside(3 * LONG, channels=1))


@pytest.mark.parametrize(("late", "expected"), [(0, True), (1, False), (300, False)])
def test_a_first_part_that_lacks_must_begin_there_too(late: int, expected: bool) -> None:
    mine = [part(n, 4, channels=2) for n in (2, 3, 4)]
    its = beside(3 * LONG + 500 - late, late, channels=2)
    assert whole(mine, its) is expected


def test_other_parts_that_hold_no_more_show_nothing() -> None:
    """Two parts that say two of two and hold what two of three parts hold; and that hold more."""
    mine = [part(n, 3, channels=2) for n in (1, 2)]

    def cut(last: int) -> list[Recording]:
        said = {"family_uid": "G", "total_files": 2, "channels": 2}
        return [
            beside(1_500, 0, 51, set_index="1", **said),
            beside(last, 1_500, 52, set_index="2", **said),
        ]

    assert not whole(mine, *cut(500))
    assert whole(mine, *cut(900))


@pytest.mark.parametrize(
    "relation", [Relation.SHORT, Relation.DIFFERENT, Relation.UNCOMPARED, Relation.MISSING]
)
def test_what_answers_by_less_shows_nothing(relation: Relation) -> None:
    mine = [part(n, 3, channels=2) for n in (1, 2)]
    assert not whole(mine, beside(3 * LONG, channels=2), relation=relation)
