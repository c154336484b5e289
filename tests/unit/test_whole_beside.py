"""A set that lacks files here and is whole on the backup card: shown there, not only said.

TOTAL_FILES and FILE_SET_INDEX are of the iXML specification; that a recorder begins a new part
where a file is full, so that all parts but the last are of one length, is common practice, no
source.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import pytest

from planworld import reading
from takehold.decide.takes import takes
from takehold.decide.whole_beside import whole_beside
from takehold.formats.levels import packed
from takehold.model.finding import Counterpart, Relation, Severity
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.sound import Coding, Sound, Track
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
    return sounding(wav(nth, b"T2_%d.WAV" % nth, "4", "2", at, frames, **said))


def beside(frames: int, late: int = 0, number: int = 51, **said: Any) -> Recording:
    """A file of the backup card."""
    path, said = b"T2_%d.WAV" % number, SLATE | said
    return sounding(wav(number, path, "4", "2", MORNING + late, frames, of=BACKUP, **said))


def sounding(made: Recording, within: Sequence[int] = (), gap: int = 0) -> Recording:
    """It has sound on each channel, from the first frame to the last one unless told."""
    frames, form = made.description.frames or 0, made.description.format
    first, last = within or (0, frames - 1)
    levels = [
        Channel(f"{made.id:016x}{n:016x}", b"", 900, 0.1, 0, gap, 0, first, last)
        for n in range(form.channels if form else 0)
    ]
    sound = Sound(frames, str(made.id), b"", coding=Coding.INTEGER, levels=packed(levels))
    return replace(made, readings=(reading(made.path)._replace(sound=sound),))


def whole(mine: Sequence[Recording], *its: Recording, relation: Relation = Relation.LONGER) -> bool:
    """What is found where each of mine is answered so by all of them."""
    ids = tuple(r.id for r in its)
    index = {r.id: Standing(r, Counterpart(r.id, relation, others=ids)) for r in mine}
    index |= {r.id: Standing(r, None) for r in its}
    (take,) = takes(mine)
    others = {number: other for other in takes(its) for number in other.files}
    return whole_beside(take, View(index), others) is not None  # type: ignore[arg-type]


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


@pytest.mark.parametrize("value", [0, 5])
@pytest.mark.parametrize("as_set", [False, True])
def test_a_track_that_is_silent_there_is_on_neither_card(*, as_set: bool, value: int) -> None:
    """Digital silence, or an idle input of one value."""
    made, sound = Cards(), lines()
    monos(made, PRIMARY, sound, (1, 3), 3)
    silent = [sound[0], (value,) * LONG, sound[2]]
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


def polys(made: Cards, of: int, sound: Sequence[Line], which: Iterable[int], **cut: int) -> None:
    """Parts of a poly file of three parts; `cut` are the frames of one, by `_` and its number."""
    for n in which:
        said = slate(family_uid="F", total_files=3, set_index=str(n))
        begin, frames = (n - 1) * LONG, cut.get(f"_{n}", LONG)
        piece = [line[begin : begin + frames] for line in sound]
        tracks = named(*NAMES[: len(sound)])
        made.add(of, f"T2_{n}.WAV", piece, MORNING + begin, tracks=tracks, **said)


def test_a_part_that_lacks_is_there_bit_for_bit() -> None:
    made, sound = Cards(), lines(2, 3 * LONG)
    polys(made, PRIMARY, sound, (1, 3))
    polys(made, BACKUP, sound, (1, 2, 3))
    assert severity(made) is Severity.LOOK


def test_parts_with_the_mix_only_hold_no_isos() -> None:
    made, sound = Cards(), lines(3, 3 * LONG)
    polys(made, PRIMARY, sound, (1, 2))
    polys(made, BACKUP, sound[:1], (1, 2, 3))
    assert severity(made) is Severity.HOLD


def test_a_part_that_is_cut_there_is_on_neither_card() -> None:
    made, sound = Cards(), lines(2, 3 * LONG)
    polys(made, PRIMARY, sound, (1, 3))
    polys(made, BACKUP, sound, (1, 2, 3), _2=100)
    assert severity(made) is Severity.HOLD


@pytest.mark.parametrize(("mute", "expected"), [((0, 1), "hold"), ((1,), "hold"), ((), "look")])
def test_a_part_of_zeros_is_on_neither_card(mute: Sequence[int], expected: str) -> None:
    made, sound = Cards(), lines(2, 3 * LONG)
    polys(made, PRIMARY, sound, (1, 3))
    its = [
        line[:LONG] + (0,) * LONG + line[2 * LONG :] if n in mute else line
        for n, line in enumerate(sound)
    ]
    polys(made, BACKUP, its, (1, 2, 3))
    assert severity(made) == Severity(expected)


def test_a_track_that_is_never_used_need_not_sound_there() -> None:
    made, sound = Cards(), lines(2, 3 * LONG)
    sound[1] = (0,) * (3 * LONG)
    polys(made, PRIMARY, sound, (1, 3))
    polys(made, BACKUP, sound, (1, 2, 3))
    assert severity(made) is Severity.LOOK


def test_a_part_that_is_a_copy_of_another_is_none() -> None:
    made, sound = Cards(), lines(2, 3 * LONG)
    polys(made, PRIMARY, sound, (1, 3))
    polys(made, BACKUP, [line[:LONG] * 2 + line[2 * LONG :] for line in sound], (1, 2, 3))
    assert severity(made) is Severity.HOLD


def test_a_torso_of_the_file_that_lacks_is_not_it() -> None:
    made, sound = Cards(), lines()
    monos(made, PRIMARY, sound, (1, 3), 3)
    monos(made, BACKUP, [sound[0], sound[1][:100], sound[2]], (1, 2, 3), 3)
    assert severity(made) is Severity.HOLD


@pytest.mark.parametrize("as_set", [False, True])
def test_another_track_once_more_is_not_the_one_that_lacks(*, as_set: bool) -> None:
    made, sound = Cards(), lines()
    monos(made, PRIMARY, sound, (1, 3), 3)
    twice = [sound[0], sound[0], sound[2]]
    if as_set:
        monos(made, BACKUP, twice, (1, 2, 3), 3)
    else:
        poly(made, twice, ("Mix", "Mix", "Keeper"))
    assert severity(made) is Severity.HOLD


@pytest.mark.parametrize(
    ("within", "gap", "expected"),
    [
        ((0, 2_999), 0, True),
        ((0, 1_999), 0, False),  # zeros where the last part should be
        ((0, 2_000), 0, True),
    ],
)
def test_a_longer_file_must_sound_where_the_last_part_lacks(
    within: Sequence[int], gap: int, expected: bool
) -> None:
    mine = [part(n, 3, channels=2) for n in (1, 2)]
    assert whole(mine, sounding(beside(3 * LONG, channels=2), within, gap)) is expected


@pytest.mark.parametrize(("gap", "expected"), [(LONG - 1, True), (LONG, False)])
def test_a_longer_file_must_sound_where_a_part_between_lacks(gap: int, expected: bool) -> None:
    mine = [part(n, 3, channels=2) for n in (1, 3)]
    assert whole(mine, sounding(beside(3 * LONG, channels=2), (), gap)) is expected


def test_the_stretch_that_lacks_ends_where_the_next_part_begins() -> None:
    """The last part is longer than the first: what sounds in it is not the one that lacks."""
    last = sounding(
        wav(3, b"T2_3.WAV", "4", "2", MORNING + 2 * LONG, LONG + 300, channels=2,
            **(SLATE | {"family_uid": "F", "total_files": 3, "set_index": "3"}))
    )  # fmt: skip
    mine, its = [part(1, 3, channels=2), last], beside(3 * LONG + 300, channels=2)
    assert whole(mine, its)
    assert not whole(mine, sounding(its, (), LONG))


def test_letters_number_the_parts_too() -> None:
    mine = [part(n, 3, channels=2, set_index="ABC"[n - 1]) for n in (1, 2)]
    assert whole(mine, beside(2 * LONG + 500, channels=2))
    assert not whole(mine, beside(2 * LONG, channels=2))
    late = [part(n, 3, channels=2, set_index="ABC"[n - 1]) for n in (2, 3)]
    assert whole(late, beside(3 * LONG, channels=2))
    assert not whole(late, beside(2 * LONG, LONG, channels=2))


def test_what_was_not_measured_shows_nothing() -> None:
    mine = [part(n, 3, channels=2) for n in (1, 2)]
    assert not whole(mine, replace(beside(3 * LONG, channels=2), readings=()))


def split_monos(made: Cards, sound: Sequence[Line], *lacks: tuple[int, int], index: bool) -> None:
    """Three mono files in two parts on the primary card."""
    for k in (1, 2):
        for n in (1, 2, 3):
            if (k, n) in lacks:
                continue
            said = slate(family_uid="F", total_files=3, set_index=str(n) * index)
            piece = [sound[n - 1][(k - 1) * LONG : k * LONG]]
            tracks = (Track(n, 1, NAMES[n - 1]),)
            at = MORNING + (k - 1) * LONG
            made.add(PRIMARY, f"P{k}_{n}.WAV", piece, at, tracks=tracks, **said)


@pytest.mark.parametrize("index", [True, False])
@pytest.mark.parametrize("silent", [False, True])
def test_a_file_of_the_last_part_is_in_the_longer_file_there(*, index: bool, silent: bool) -> None:
    made, sound = Cards(), lines(3, 2 * LONG)
    split_monos(made, sound, (2, 3), index=index)
    if silent:
        sound[2] = sound[2][:LONG] + (0,) * LONG
    poly(made, sound)
    mine = [r for r in made.files.values() if r.load == PRIMARY]
    (its,) = (r for r in made.files.values() if r.load == BACKUP)
    assert whole(mine, its) is not silent


def mirror(made: Cards, of: int) -> list[Recording]:
    """The files, those of the backup card's number as another primary card's."""
    return [replace(r, load=of) if r.load == BACKUP else r for r in made.files.values()]


@pytest.mark.parametrize(("changed", "expected"), [(False, Severity.LOOK), (True, Severity.HOLD)])
def test_a_second_primary_card_counts_like_a_backup_card(
    *, changed: bool, expected: Severity
) -> None:
    """A mirror, but not a card with other sound of that name."""
    made, sound = Cards(), lines()
    monos(made, PRIMARY, sound, (1, 3), 3)
    monos(made, BACKUP, lines(seed=2) if changed else sound, (1, 2, 3), 3)
    files = mirror(made, 9)
    index = {r.id: Standing(r, None) for r in files}
    (take,) = takes(r for r in files if r.load == PRIMARY)
    others = takes(r for r in files if r.load == 9)
    found = whole_beside(take, View(index), {}, others)  # type: ignore[arg-type]
    assert (found is not None) is (expected is Severity.LOOK)
