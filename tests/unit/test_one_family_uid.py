"""Takes whose files all tell one FAMILY_UID, as some recorders write it."""

from __future__ import annotations

import pytest

from takehold.decide.takes import takes
from takehold.model.recording import Recording
from takeworld import HZ, MORNING, found_on, monos, wav

ZEROS = "0" * 16
MINUTE = 60 * HZ


def polys(*slates: tuple[str, str], family: str) -> list[Recording]:
    """A take a minute, of these scenes and takes."""
    return [
        wav(n, b"T%02d.WAV" % n, scene, take, MORNING + n * MINUTE, family_uid=family)
        for n, (scene, take) in enumerate(slates, 1)
    ]


@pytest.mark.parametrize("family", [ZEROS, "constant"])
def test_unlike_takes_of_one_uid_are_takes_of_their_own(family: str):
    made = polys(("1", "1"), ("1", "2"), ("1", "3"), ("2", "1"), ("2", "2"), family=family)
    assert [take.files for take in takes(made)] == [(1,), (2,), (3,), (4,), (5,)]
    assert not {"part-missing", "part-gap", "take-numbers"} & {x.code for x in found_on(made)}


@pytest.mark.parametrize("family", [ZEROS, "constant"])
def test_so_are_mono_sets_and_what_one_lacks_is_told(family: str):
    sets = [
        monos(10 * n, "1", str(n), MORNING + n * MINUTE, "Boom", "Lav", family_uid=family)
        for n in (1, 2, 3)
    ]
    assert [take.files for take in takes([x for one in sets for x in one])] == [
        *((10, 11), (20, 21), (30, 31))
    ]
    (found,) = (x for x in found_on(sets[0], sets[1][:1], sets[2]) if x.code == "set-incomplete")
    assert "scene 1, take 2 is incomplete: 1 of 2 files are there" in found.says


def test_a_take_that_is_missing_among_them_is_told():
    """It was taken for the gap of a split one."""
    found = found_on(polys(("1", "1"), ("1", "2"), ("1", "4"), family="constant"))
    assert "primary: scene 1 has no take 3." in [x.says for x in found]


def test_a_false_start_of_the_same_number_is_no_part_where_the_uid_is_zeros():
    made = polys(("1", "1"), ("1", "1"), ("1", "2"), family=ZEROS)
    assert len(takes(made)) == 3


def test_parts_of_one_take_stay_one_take():
    """Also those that a gap parts, if they name one scene and take."""
    made = polys(("1", "1"), ("1", "1"), family="F")
    assert [take.files for take in takes(made)] == [(1, 2)]
    assert "part-missing" in {x.code for x in found_on(made)}


def test_one_file_of_a_set_that_was_named_otherwise_stays_in_it():
    """Its metadata were edited alone: it begins with the others."""
    one, other = monos(1, "1", "1", MORNING, "Boom", "Lav")
    again = wav(2, other.path, "1", "7", MORNING, family_uid="F1-1", total_files=2, set_index="02")
    assert [take.files for take in takes([one, again])] == [(1, 2)]
