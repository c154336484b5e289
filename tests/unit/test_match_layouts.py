"""The same audio in other files: by the digests of the channels, then by comparing whole takes."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, permutations
from zlib import crc32

import pytest

from planworld import recording
from takehold.decide.match import match
from takehold.model.comparison import Comparison
from takehold.model.finding import Counterpart, Relation
from twocards import HZ, Cards, Line, relations

START = 9 * 3600 * HZ
SAID = {"scene": "12A", "take": "3"}


def line(word: str, frames: int = 40) -> Line:
    """A channel that is like no other."""
    return tuple(crc32(f"{word} {n}".encode()) % 2**24 - 2**23 or 1 for n in range(frames))


BOOM, ANNA, BERT, MIX = (line(word) for word in ("boom", "anna", "bert", "mix"))
NOTHING: Line = (0,) * 40


def monos(cards: Cards, of: int, *lines: Line, start: int = START, **said: object) -> list[int]:
    """A set with one file for each track."""
    return [
        cards.add(of, f"12A-T03_{n}.WAV", [one], start, set_index=str(n), **SAID, **said)
        for n, one in enumerate(lines, 1)
    ]


def poly(cards: Cards, of: int, *lines: Line, path: str = "12A-T03.WAV", **more: object) -> int:
    return cards.add(of, path, lines, **{"start": START, **SAID, **more})


@pytest.mark.parametrize("order", list(permutations((BOOM, ANNA, BERT))))
def test_a_poly_file_is_answered_by_a_set_of_monos_in_any_order(order: tuple) -> None:
    cards = Cards()
    one = poly(cards, 1, BOOM, ANNA, BERT)
    files = monos(cards, 2, *order)
    found = match(cards.card(1), cards.card(2))
    (answer,) = found.primaries
    assert (answer.recording, answer.relation) == (one, Relation.OTHER_LAYOUT)
    assert set(answer.others) == set(files)
    assert found.backups == tuple(
        Counterpart(n, Relation.OTHER_LAYOUT, one, others=(one,)) for n in files
    )
    assert found.uncompared == ()


def test_monos_are_answered_by_their_tracks_of_a_poly_file() -> None:
    cards = Cards()
    files = monos(cards, 1, BOOM, ANNA)
    one = poly(cards, 2, ANNA, BOOM)
    found = match(cards.card(1), cards.card(2))
    assert [(a.relation, a.others) for a in found.primaries] == [
        (Relation.OTHER_LAYOUT, (one,))
    ] * 2
    (mirrored,) = found.backups
    assert (mirrored.relation, set(mirrored.others)) == (Relation.OTHER_LAYOUT, set(files))


def test_a_poly_file_with_another_order_of_tracks() -> None:
    cards = Cards()
    poly(cards, 1, BOOM, ANNA)
    poly(cards, 2, ANNA, BOOM)
    assert relations(match(cards.card(1), cards.card(2)), [1000]) == [Relation.OTHER_LAYOUT]


@pytest.mark.parametrize("more", [{}, {"path": "X.WAV", "scene": "9", "start": None}])
def test_sixteen_bits_padded_to_twenty_four(more: dict) -> None:
    """Same samples in a wider format, under any name."""
    coarse = tuple(s >> 8 << 8 for s in BOOM)
    cards = Cards()
    one = poly(cards, 1, coarse, bits=16)
    poly(cards, 2, coarse, bits=24, **more)
    assert relations(match(cards.card(1), cards.card(2)), [one]) == [Relation.OTHER_LAYOUT]


def test_unused_tracks_may_be_absent_on_either_side() -> None:
    for mine, its in (((BOOM, NOTHING), (BOOM,)), ((BOOM,), (BOOM, NOTHING))):
        cards = Cards()
        one = poly(cards, 1, *mine)
        poly(cards, 2, *its)
        assert relations(match(cards.card(1), cards.card(2)), [one]) == [Relation.OTHER_LAYOUT]


def test_a_silent_mono_goes_with_the_others_of_its_take() -> None:
    cards = Cards()
    files = monos(cards, 1, BOOM, NOTHING)
    poly(cards, 2, BOOM)
    found = match(cards.card(1), cards.card(2))
    assert relations(found, files) == [Relation.SAME_AUDIO, Relation.OTHER_LAYOUT]
    cards = Cards()
    one = poly(cards, 1, BOOM)
    files = monos(cards, 2, BOOM, NOTHING)
    found = match(cards.card(1), cards.card(2))
    assert relations(found, [one]) == [Relation.SAME_AUDIO]
    assert {b.relation for b in found.backups} == {Relation.SAME_AUDIO, Relation.OTHER_LAYOUT}


def test_silence_finds_no_counterpart_by_itself() -> None:
    """Two takes of which all is silence are alike, and that says nothing."""
    cards = Cards()
    one = cards.add(1, "A.WAV", [NOTHING])
    cards.add(2, "B.WAV", [NOTHING], note="x")
    assert relations(match(cards.card(1), cards.card(2)), [one]) == [Relation.MISSING]


def test_a_mix_names_the_tracks_that_have_no_backup() -> None:
    cards = Cards()
    one = poly(cards, 1, MIX, BOOM, NOTHING, ANNA)
    mix = poly(cards, 2, MIX)
    (answer,) = match(cards.card(1), cards.card(2)).primaries
    assert answer == Counterpart(one, Relation.REDUCED, mix, others=(mix,), channels=(2, 4))


def test_a_mono_that_the_backups_mix_does_not_hold_is_missing() -> None:
    cards = Cards()
    files = monos(cards, 1, MIX, BOOM)
    poly(cards, 2, MIX, start=None, scene="", take="")
    found = match(cards.card(1), cards.card(2))
    assert relations(found, files) == [Relation.SAME_AUDIO, Relation.MISSING]


def test_of_two_equal_tracks_one_backup_is_enough() -> None:
    cards = Cards()
    one = poly(cards, 1, BOOM, BOOM)
    poly(cards, 2, BOOM)
    assert relations(match(cards.card(1), cards.card(2)), [one]) == [Relation.OTHER_LAYOUT]


FLIPPED: Line = (BOOM[0] ^ 1, *BOOM[1:])


@pytest.mark.parametrize("split", [False, True])
@pytest.mark.parametrize("side", [1, 2])
def test_one_of_two_equal_tracks_that_went_wrong_on_either_side_is_other_audio(
    side: int, split: bool
) -> None:
    """As a mono mix on two tracks: the other one is no backup of what differs."""
    tracks = {side: (MIX, BOOM, FLIPPED), 3 - side: (MIX, BOOM, BOOM)}
    cards = Cards()
    one = poly(cards, 1, *tracks[1])
    if split:
        monos(cards, 2, *tracks[2])
    else:
        poly(cards, 2, *tracks[2], note="x", path="B.WAV")
    answers = {a.recording: a for a in cards.match().primaries}
    assert (answers[one].relation, answers[one].channels) == (Relation.DIFFERENT, (3,))


def test_a_channel_answers_one_take_only() -> None:
    """Two takes with the same samples need two backups."""
    cards = Cards()
    files = [
        poly(cards, 1, BOOM, path="A.WAV"),
        poly(cards, 1, BOOM, path="B.WAV", start=START + HZ * 60),
    ]
    cards.add(2, "X.WAV", [BOOM, NOTHING])
    found = match(cards.card(1), cards.card(2))
    assert relations(found, files) == [Relation.OTHER_LAYOUT, Relation.MISSING]


def test_a_track_gone_wrong_asks_for_a_comparison_of_the_whole_take() -> None:
    """Seven of eight tracks are there, and one more that is none of ours."""
    cards = Cards()
    wrong = (*ANNA[:7], ANNA[7] ^ 1, *ANNA[8:])
    files = monos(cards, 1, BOOM, ANNA)
    one = poly(cards, 2, BOOM, wrong, path="X.WAV", start=None, scene="", take="")
    found = match(cards.card(1), cards.card(2))
    assert relations(found, files) == [Relation.UNCOMPARED] * 2
    assert found.uncompared == ((tuple(files), (one,)),)
    (right, bad) = cards.match().primaries
    assert (right.relation, bad.relation) == (Relation.OTHER_LAYOUT, Relation.DIFFERENT)
    assert (bad.frames, bad.channels) == (7, (1,))


def test_a_poly_file_with_one_wrong_track_says_which_at_once() -> None:
    cards = Cards()
    wrong = (*ANNA[:7], ANNA[7] ^ 1, *ANNA[8:])
    one = poly(cards, 1, BOOM, ANNA)
    poly(cards, 2, BOOM, wrong)
    first = match(cards.card(1), cards.card(2))
    (answer,) = first.primaries
    assert (answer.relation, answer.frames, answer.channels) == (Relation.DIFFERENT, 0, (2,))
    assert len(first.uncompared) == 1, "the frame is found by comparing"
    (answer,) = cards.match().primaries
    assert (answer.recording, answer.frames, answer.channels) == (one, 7, (2,))


# -- splits


def split(cards: Cards, of: int, lines: list[Line], *cuts: int, mono: bool = False) -> list[int]:
    """Parts that end at these frames, each with the timecode of its first sample."""
    edges = [0, *cuts, len(lines[0])]
    numbers = []
    for part, (begin, end) in enumerate(pairwise(edges), 1):
        pieces = [one[begin:end] for one in lines]
        for track, group in enumerate([[p] for p in pieces] if mono else [pieces], 1):
            path = f"12A-T03_{part}_{track}.WAV"
            more = {"set_index": str(track)} if mono else {}
            numbers.append(cards.add(of, path, group, START + begin, **SAID, **more))
    return numbers


@pytest.mark.parametrize("mono", [False, True])
@pytest.mark.parametrize("lost", [{2}, {3}, {2, 3}])
def test_a_part_that_is_missing_in_the_middle(lost: set[int], mono: bool) -> None:
    """The parts behind it are no recordings of their own, however small the parts are."""
    cards = Cards()
    one = poly(cards, 1, BOOM, ANNA, path="12A-T03.WAV", **SAID)
    made = split(cards, 2, [BOOM, ANNA], 10, 20, 30, mono=mono)
    width = 1 + mono
    for number in (n for k, n in enumerate(made) if k // width + 1 in lost):
        del cards.files[number]
    found = match(cards.card(1), cards.card(2))
    left = tuple(n for n in made if n in cards.files)
    assert found.uncompared == (((one,), left),)
    assert all(b.relation is not Relation.MISSING for b in found.backups)


def test_another_take_behind_a_short_backup_stays_one() -> None:
    """It begins within the primary's timecode, and ends beyond it; or is of another scene."""
    cards = Cards()
    poly(cards, 1, BOOM, path="12A-T03.WAV", **SAID)
    poly(cards, 2, BOOM[:10], path="12A-T03.WAV", **SAID)
    long = poly(cards, 2, ANNA * 1000, path="X.WAV", start=START + 20, **SAID)
    other = SAID | {"scene": "99"}
    strange = poly(cards, 2, ANNA[:5], path="Y.WAV", start=START + 25, **other)
    answers = {b.recording: b.relation for b in match(cards.card(1), cards.card(2)).backups}
    assert {answers[long], answers[strange]} == {Relation.MISSING}


@pytest.mark.parametrize("mono", [False, True])
@pytest.mark.parametrize("cuts", [(), (20,), (7, 30)])
def test_a_split_at_another_place(cuts: tuple, mono: bool) -> None:
    cards = Cards()
    files = split(cards, 1, [BOOM, ANNA], 10)
    split(cards, 2, [BOOM, ANNA], *cuts, mono=mono)
    first = match(cards.card(1), cards.card(2))
    assert set(relations(first, files)) == {Relation.UNCOMPARED}
    assert relations(cards.match(), files) == [Relation.OTHER_LAYOUT] * 2


def test_a_split_at_the_same_place_needs_no_comparison() -> None:
    cards = Cards()
    files = split(cards, 1, [BOOM, ANNA], 10)
    split(cards, 2, [BOOM, ANNA], 10, mono=True)
    found = match(cards.card(1), cards.card(2))
    assert relations(found, files) == [Relation.OTHER_LAYOUT] * 2
    assert found.uncompared == ()


def test_of_a_short_backup_each_part_gets_its_share() -> None:
    cards = Cards()
    files = split(cards, 1, [BOOM], 10, 20, 30)
    cards.add(2, "X.WAV", [BOOM[:25]], START, **SAID)
    answers = cards.match().primaries
    assert [(a.recording, a.relation, a.frames, a.since) for a in answers] == [
        (files[0], Relation.OTHER_LAYOUT, None, None),
        (files[1], Relation.OTHER_LAYOUT, None, None),
        (files[2], Relation.SHORT, 5, 5),
        (files[3], Relation.MISSING, None, None),
    ]


def test_of_a_wrong_backup_the_parts_before_are_the_same_audio() -> None:
    cards = Cards()
    files = split(cards, 1, [BOOM], 10, 20, 30)
    cards.add(2, "X.WAV", [(*BOOM[:25], 5, *BOOM[26:])], START, **SAID)
    answers = cards.match().primaries
    assert [(a.relation, a.frames) for a in answers] == [
        (Relation.OTHER_LAYOUT, None),
        (Relation.OTHER_LAYOUT, None),
        (Relation.DIFFERENT, 5),
        (Relation.DIFFERENT, None),
    ]
    assert [a.recording for a in answers] == files


def test_the_last_part_is_the_one_that_is_cut() -> None:
    cards = Cards()
    files = split(cards, 1, [BOOM[:30]], 10)
    (other,) = [cards.add(2, "X.WAV", [BOOM], START, **SAID)]
    pair = (tuple(files), (other,))
    longer = Comparison(*pair, Relation.LONGER, 1, frames=10)
    found = match(cards.card(1), cards.card(2), {pair: longer})
    assert [(a.relation, a.frames) for a in found.primaries] == [
        (Relation.OTHER_LAYOUT, None),
        (Relation.LONGER, 10),
    ]


# -- what is compared with what


def test_fewer_bits_are_compared_and_the_figures_kept() -> None:
    cards = Cards()
    one = poly(cards, 1, BOOM, ANNA)
    other = poly(cards, 2, BOOM, ANNA, bits=16)
    first = match(cards.card(1), cards.card(2))
    assert relations(first, [one]) == [Relation.UNCOMPARED]
    assert first.uncompared == (((one,), (other,)),)
    (answer,) = cards.match().primaries
    assert (answer.relation, answer.residual_db, answer.channels) == (Relation.REDUCED, -90, ())


def test_a_reduced_mix_of_monos_leaves_the_others_missing() -> None:
    cards = Cards()
    files = monos(cards, 1, MIX, BOOM)
    poly(cards, 2, MIX, bits=16)
    assert relations(cards.match(), files) == [Relation.REDUCED, Relation.MISSING]


@pytest.mark.parametrize(
    ("mine", "its"),
    [
        ({"path": "A.WAV", "start": None, "file_uid": "U"}, {"start": None, "file_uid": "U"}),
        ({"path": "A.WAV", "start": None}, {"path": "B/A.WAV", "start": None}),
        ({"path": "A.WAV", "start": None, "scene": "", "take": ""}, {"path": "A.wave"}),
        ({"path": "A.WAV", "start": None}, {"start": None}),
        ({"path": "A.WAV", "scene": "1"}, {"path": "B.WAV", "scene": "2"}),
        ({"path": "A.WAV", "scene": "1"}, {"path": "B.WAV", "scene": "2", "start": START + 9}),
    ],
    ids=["file UID", "name", "name, other ending", "slate", "begin and length", "overlap"],
)
def test_each_tie_finds_what_should_be_compared(mine: dict, its: dict) -> None:
    cards = Cards()
    one = poly(cards, 1, BOOM, **mine)
    other = poly(cards, 2, BOOM, bits=16, **its)
    assert match(cards.card(1), cards.card(2)).uncompared == (((one,), (other,)),)


@pytest.mark.parametrize(("who", "relation"), [("", "short"), ("another recorder", "missing")])
def test_a_cut_backup_of_another_name_and_scene_is_known_by_where_it_begins(who, relation) -> None:
    """To the sample, and of one recorder: it was edited on one card, and the other was cut."""
    cards = Cards()
    lines = line("Boom", HZ // 2), line("Anna", HZ // 2)
    one = poly(cards, 1, *lines, path="A.WAV", scene="1")
    its = {"scene": "2", "family_uid": "F", "originator": who}
    for number, whole in enumerate(lines, 1):
        cards.add(2, f"B_{number}.WAV", [whole[: HZ // 8]], START, **its)
    assert relations(cards.match(), [one]) == [Relation(relation)]


def test_of_takes_with_one_track_in_common_those_that_begin_together_are_compared() -> None:
    """A tone from a file is on a track of each; the first take has no backup, names differ."""
    cards = Cards()
    rows = [(line(f"boom {n}"), MIX) for n in range(12)]
    ours = [poly(cards, 1, *rows[n], path=f"A{n:02}.WAV", start=START + n * HZ) for n in range(12)]
    its = {
        n: poly(cards, 2, line(f"other {n}"), MIX, path=f"B{99 - n}.WAV", start=START + n * HZ)
        for n in range(1, 12)
    }
    wanted = match(cards.card(1), cards.card(2)).uncompared
    assert set(wanted) == {((ours[n],), (its[n],)) for n in range(1, 12)}


def test_so_it_is_by_name_where_there_is_no_timecode() -> None:
    """The second has no backup."""
    cards = Cards()
    pairs = {}
    for n in range(12):
        one = poly(cards, 1, line(f"boom {n}"), MIX, path=f"A/{n:02}.WAV", start=0)
        if n != 1:
            its = poly(cards, 2, line(f"other {n}"), MIX, path=f"B{20 - n}/{n:02}.WAV", start=0)
            pairs[one] = its
    wanted = match(cards.card(1), cards.card(2)).uncompared
    assert set(wanted) == {((one,), (its,)) for one, its in pairs.items()}


def test_of_takes_that_begin_together_that_with_most_in_common_is_compared() -> None:
    cards = Cards()
    one = poly(cards, 1, BOOM, ANNA, MIX)
    poly(cards, 2, line("x"), line("y"), MIX, path="A.WAV")
    most = poly(cards, 2, BOOM, line("z"), MIX, path="B.WAV", start=START + HZ)
    assert match(cards.card(1), cards.card(2)).uncompared[0] == ((one,), (most,))


def test_nothing_in_common_is_missing_and_not_compared() -> None:
    cards = Cards()
    one = poly(cards, 1, BOOM, path="A.WAV", scene="1")
    poly(cards, 2, ANNA, path="B.WAV", scene="2", start=START + HZ * 60)
    found = match(cards.card(1), cards.card(2))
    assert relations(found, [one]) == [Relation.MISSING]
    assert found.uncompared == ()


def test_what_was_not_read_is_not_compared() -> None:
    cards = Cards()
    files = monos(cards, 1, BOOM, ANNA)
    one = poly(cards, 2, BOOM, ANNA)
    cards.files[one] = replace(cards.files[one], readings=())
    found = match(cards.card(1), cards.card(2))
    assert relations(found, files) == [Relation.UNREAD] * 2
    assert found.uncompared == ()


def test_files_that_cannot_be_decoded_are_not_compared() -> None:
    found = match([recording(1, audio=None)], [recording(2, of=2, audio=None, head=b"x")])
    assert [a.relation for a in found.primaries] == [Relation.DIFFERENT]
    assert found.uncompared == ()


def test_a_second_backup_of_the_same_audio_is_not_on_the_backup_only() -> None:
    cards = Cards()
    poly(cards, 1, BOOM, ANNA)
    monos(cards, 2, BOOM, ANNA)
    poly(cards, 2, BOOM, ANNA, path="AGAIN.WAV", note="x")
    assert {b.relation for b in match(cards.card(1), cards.card(2)).backups} <= {
        Relation.SAME_AUDIO,
        Relation.OTHER_LAYOUT,
    }


def test_a_set_that_is_short_is_told_by_its_blocks_at_once() -> None:
    """Files of the same names; the last one is missing. No sample is asked for."""
    cards = Cards()
    long = [line(word, 2 * HZ) for word in ("boom", "anna", "bert")]
    files = monos(cards, 1, *long)
    monos(cards, 2, *(one[:HZ] for one in long[:2]))
    found = match(cards.card(1), cards.card(2))
    assert relations(found, files) == [Relation.SHORT, Relation.SHORT, Relation.MISSING]
    assert {a.frames for a in found.primaries} == {HZ, None}
    assert found.uncompared == ()


@pytest.mark.parametrize("value", [1, -1, 3])
def test_an_idle_input_is_evidence_for_nothing(value: int) -> None:
    """It stands at one value in every take of that length, as silence does."""
    cards = Cards()
    idle = (value,) * 40
    cards.add(1, "A.WAV", [BOOM, idle], START)
    cards.add(2, "B.WAV", [ANNA, idle], START + HZ)
    found = match(cards.card(1), cards.card(2))
    assert [a.relation for a in found.primaries] == [Relation.MISSING]
    assert [a.relation for a in found.backups] == [Relation.MISSING]
    assert found.uncompared == ()


def test_a_loud_square_wave_is_evidence() -> None:
    """It has one magnitude, too, and sounds."""
    cards = Cards()
    square = (2**22, -(2**22)) * 20
    cards.add(1, "A.WAV", [square], START)
    cards.add(2, "B.WAV", [square], START + HZ)
    found = match(cards.card(1), cards.card(2))
    assert [a.relation for a in found.primaries] == [Relation.SAME_AUDIO]
