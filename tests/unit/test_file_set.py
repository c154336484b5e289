"""What a set of files lacks by its own account: TOTAL_FILES, FILE_SET_INDEX (iXML), its tracks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pytest

from takehold.decide.file_set import lacks
from takehold.decide.takes import takes
from takehold.model.recording import Recording
from takeworld import HZ, MORNING, names, wav

LONG = 10 * HZ
WORDS = ("Boom", "Keeper", "Lav")
Cell = tuple[int, int]


def mono(
    part: int,
    nth: int,
    *,
    total: int | None = 3,
    index: str = "",
    at: int | None = None,
    frames: int = LONG,
    track: int = 0,
) -> Recording:
    """A mono file of a set in parts; its track tells its channel."""
    start = MORNING + (part - 1) * LONG if at is None else at
    tracks = names(WORDS[nth - 1], first=track or nth)
    said = {"family_uid": "F", "total_files": total, "set_index": index, "tracks": tracks}
    return wav(10 * part + nth, b"P%d_%d.WAV" % (part, nth), "1", "1", start, frames, **said)


def said(files: Iterable[Recording]) -> str:
    """What the only take of these lacks."""
    known = {file.id: file for file in files}
    (take,) = takes(known.values())
    return lacks(take, known.__getitem__)


ALL = [(part, nth) for part in (1, 2) for nth in (1, 2, 3)]


@pytest.mark.parametrize("total", [3, None, 1])
@pytest.mark.parametrize("index", [True, False])
def test_a_file_that_lacks_in_the_last_part(*, total: int | None, index: bool) -> None:
    """Though all files together are as many as a part should have."""
    cells = [cell for cell in ALL if cell != (2, 3)]
    made = [mono(part, n, total=total, index=str(n) * index) for part, n in cells]
    assert said(made).startswith("2 of 3 files are there")
    assert said([mono(part, n, total=total, index=str(n) * index) for part, n in ALL]) == ""


@pytest.mark.parametrize(
    ("cells", "total", "says"),
    [
        ([(1, 1), (1, 2), (2, 3)], 3, "1 of 3 files are there, not 1, 2"),
        ([(1, 1), (2, 2)], 2, "1 of 2 files are there, not 2"),
        ([(1, 1), (2, 2), (3, 3)], 3, "1 of 3 files are there, not 2, 3"),
    ],
)
def test_parts_with_other_tracks_are_no_whole_set(cells: list[Cell], total: int, says: str) -> None:
    assert said([mono(part, n, total=total, index=str(n)) for part, n in cells]) == says


def test_files_that_are_counted_on_from_part_to_part() -> None:
    made = [mono(part, n, total=6, index=str(3 * (part - 1) + n)) for part, n in ALL]
    assert said(made) == ""
    assert said(made[:5]) == "5 of 6 files are there, not 6"


@pytest.mark.parametrize("total", [2, None])
def test_parts_of_one_poly_file_are_counted(total: int | None) -> None:
    made = [
        wav(n, b"P%d.WAV" % n, "1", "1", MORNING + n * LONG, LONG, channels=2, family_uid="F",
            total_files=total, set_index=str(n), tracks=names("Boom", "Lav"))
        for n in (1, 2)
    ]  # fmt: skip
    assert said(made) == ""


@pytest.mark.parametrize("late", [1, HZ // 25])
def test_a_file_that_begins_a_little_later_lies_in_the_same_part(late: int) -> None:
    made = [mono(1, n, index=str(n), at=MORNING + late * (n == 3)) for n in (1, 2, 3)]
    assert said(made) == ""


def test_a_mix_that_is_not_split_as_the_others_are_is_in_both_parts() -> None:
    made = [mono(part, 1, total=3, index=str(part)) for part in (1, 2)]
    assert said([*made, mono(1, 3, index="3", frames=2 * LONG)]) == ""


def test_a_number_of_many_digits_is_none() -> None:
    """Python converts no more than 4,300 digits."""
    made = [mono(1, nth, total=4, index="9" * nth * 2500) for nth in (1, 2)]
    assert said(made) == "2 of 4 files are there"


def test_a_set_that_lies_twice_on_its_card_is_told_once() -> None:
    """The copy has the first part only in part; it is whole where the original is."""
    made = [mono(part, n, index=str(n)) for part, n in ALL]
    known = {file.id: file for file in made}
    copies = {n + 100: replaced(known[n], n + 100) for n in (11, 12, 13, 21)}
    first, again = sorted(takes([*made, *copies.values()]), key=lambda take: take.first)
    assert lacks(first, (known | copies).__getitem__) == ""
    assert lacks(again, (known | copies).__getitem__) == ""


def replaced(one: Recording, number: int) -> Recording:
    """The same file in another folder."""
    return replace(one, id=number, path=b"COPY/" + one.path)
