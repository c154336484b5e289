"""Mono files that tell nothing of themselves, or no timecode, beside the poly file of the take."""

from __future__ import annotations

from zlib import crc32

import pytest

from planworld import cards as both_cards
from planworld import copied, ledger, settings, taken, target, view
from takehold.decide.check import Around, check
from takehold.decide.match import match
from takehold.decide.spread import later
from takehold.decide.takes import takes
from takehold.decide.unit import Unit
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation
from twocards import HZ, Cards, Line

NINE = 9 * 3_600 * HZ


def line(word: str, frames: int = 40) -> Line:
    """A channel that is like no other."""
    return tuple(crc32(f"{word} {n}".encode()) % 2**24 - 2**23 or 1 for n in range(frames))


BOOM, ANNA, MIX = (line(word) for word in ("boom", "anna", "mix"))
TRACKS = (MIX, BOOM, ANNA)


def monos(made: Cards, *lines: Line, start: int | None = None, name: str = "REC2_%d") -> list[int]:
    return [made.add(2, f"{name % n}.WAV", [one], start) for n, one in enumerate(lines, 1)]


@pytest.mark.parametrize("name", ["REC2_%d", "REC2_Tr%d", "12A-T02_%d"])
def test_files_without_metadata_are_a_set_by_their_names(name: str) -> None:
    made = Cards()
    numbers = monos(made, *TRACKS, name=name)
    assert [take.files for take in takes(made.card(2))] == [tuple(numbers)]


@pytest.mark.parametrize("name", ["REC_00%d", "NOTE%d", "A%d"])
def test_names_of_no_set_and_other_lengths_are_takes_of_their_own(name: str) -> None:
    made = Cards()
    monos(made, *TRACKS, name=name)
    monos(made, BOOM[:9], name="REC2_%d")
    monos(made, ANNA[:8], name="REC2_%d")
    assert len(takes(made.card(2))) == 5


@pytest.mark.parametrize("start", [None, 0])
@pytest.mark.parametrize("begin", [None, NINE])
def test_a_poly_file_is_held_against_the_whole_set_of_its_name(
    start: int | None, begin: int | None
) -> None:
    """All of it is cut: no digest of a channel agrees."""
    made = Cards()
    poly = made.add(1, "REC2.WAV", TRACKS, begin)
    numbers = monos(made, *(one[:-5] for one in TRACKS), start=start)
    found = match(made.card(1), made.card(2))
    assert found.uncompared == (((poly,), tuple(numbers)),)
    assert all(answer.others == (poly,) for answer in found.backups)


def test_one_track_gone_wrong_of_a_bare_set_asks_for_a_comparison_of_all() -> None:
    made = Cards()
    poly = made.add(1, "REC2.WAV", TRACKS, NINE)
    numbers = monos(made, MIX, (*BOOM[:-1], 0), ANNA)
    assert match(made.card(1), made.card(2)).uncompared == (((poly,), tuple(numbers)),)


def test_a_mix_in_wave_and_a_track_of_one_name_are_no_copies_by_their_words() -> None:
    """What is the word behind a lossy copy's name is the track of a set's file."""
    made = Cards()
    made.add(1, "REC2_Boom.WAV", [BOOM], None)
    made.add(2, "REC2_Mix.WAV", [MIX[:-5]], None)
    found = match(made.card(1), made.card(2))
    assert [a.relation for a in found.primaries] == [Relation.MISSING]
    assert found.uncompared == ()


@pytest.mark.parametrize(("begins", "lies"), [((NINE, 0), None), ((0, 0), 7), ((NINE, NINE), 7)])
def test_a_timecode_of_0_on_one_side_says_not_where_it_lies(
    begins: tuple[int, int], lies: int | None
) -> None:
    made = Cards()
    pair = [made.add(of, "A.WAV", [BOOM], begin) for of, begin in enumerate(begins, 1)]
    ours, theirs = (Unit(((made.files[number],),)) for number in pair)
    found = Comparison(ours.side, theirs.side, Relation.SHORT, 1, offset=7)
    assert later(ours, theirs, found) == lies


def test_backups_without_timecode_are_told_once() -> None:
    """Two takes an hour apart, as monos that begin at 0."""
    made = Cards()
    for n in (1, 2):
        lines = [line(f"{word} {n}") for word in ("boom", "anna")]
        made.add(1, f"REC{n}.WAV", lines, NINE + n * 3_600 * HZ)
        monos(made, *lines, start=0, name=f"REC{n}_%d")
    there = [
        fact for file in made.files.values() for fact in copied(file, target("a"), target("b"))
    ]
    known = ledger(both_cards(), taken(*made.files.values()), there)
    told = [x.says for x in check(view(known), known, settings(), Around())]
    says = "SND_B1: 4 of its recordings hold the same audio and their timecode is 0:"
    assert [x for x in told if "timecode is 0" in x] == [
        f"{says} REC1_1.WAV, REC1_2.WAV, REC2_1.WAV and 1 more."
    ]
    assert not any("by timecode" in x for x in told)
