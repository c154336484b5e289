"""Which volumes a label's pattern means. Matching is checked against Python's fnmatch."""

import fnmatch
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takehold.decide.sources import matches, volumes_for
from takehold.model.volume import Volume


@pytest.mark.parametrize(
    ("pattern", "label", "fits"),
    [
        ("SND_A*", "SND_A", True),
        ("SND_A*", "SND_A01", True),
        ("SND_A*", "SND_B01", False),
        ("snd_a?", "SND_A1", True),
        ("SND_A?", "SND_A", False),
        ("SND_A", "SND_A1", False),
        ("*_A*", "SND_A1", True),
        ("CARD[1]", "card[1]", True),
        ("CARD[1]", "CARD1", False),
        ("", "", True),
        ("", "A", False),
        ("Ton_\u00c4", "TON_A\u0308", True),
    ],
)
def test_a_label_fits_whole_in_any_case(pattern, label, fits):
    assert matches(pattern, label) is fits


@given(st.text("aB*?", max_size=8), st.text("aAbB", max_size=10))
def test_stars_and_question_marks_are_those_of_fnmatch(pattern, label):
    """The standard library's fnmatch is the reference; it has brackets too, left out here."""
    expected = re.match(fnmatch.translate(pattern.lower()), label.lower()) is not None
    assert matches(pattern, label) is expected


def test_many_stars_take_no_time():
    assert not matches("*a" * 100 + "b", "a" * 255)


def volume(label, device="8:1", mount=b"/media/x"):
    return Volume(
        mount, f"{device}@{mount!r}", device, label, f"uuid:{device}", "exfat", frozenset()
    )


def test_the_volumes_are_named_in_order_and_one_mounted_twice_once():
    a, again = volume("SND_A1"), volume("SND_A1", mount=b"/media/y")
    b, other = volume("SND_A2", "8:2"), volume("MUSIC", "8:3")
    assert volumes_for("SND_A*", (a, other, again, b)) == (a, b)


def test_a_volume_without_a_label_answers_to_nothing():
    assert volumes_for("*", (volume(""),)) == ()
