"""Timecode in exact integers: shapes, limits and round trips (values are in tests/outside)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takehold.formats.timecode import label, label_of_frame, rate_name, rate_named
from takehold.model.sound import Rate
from ways_back import first_sample

NAMES = ["23.976", "24", "25", "29.97", "29.97df", "30", "30df"]
NAMES += ["47.952", "48", "50", "59.94", "59.94df", "60"]


@pytest.mark.parametrize("name", NAMES)
def test_names_go_round(name: str):
    assert rate_name(rate_named(name)) == name


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("23.98", Rate(24000, 1001)),
        ("023.976-ND", Rate(24000, 1001)),
        ("23.976ND", Rate(24000, 1001)),
        ("25.000ND", Rate(25, 1)),
        ("29.97 DF", Rate(30000, 1001, drop=True)),
        ("24000/1001", Rate(24000, 1001)),
        (" 24 ", Rate(24, 1)),
        ("47.95", Rate(48000, 1001)),
    ],
)
def test_other_spellings(text: str, rate: Rate):
    assert rate_named(text) == rate


@pytest.mark.parametrize(
    "text", ["", "fast", "0", "23", "24df", "25 DF", "1/0", "1/", "24.", "-24", "1e9"]
)
def test_what_is_no_rate_has_none(text: str):
    assert rate_named(text) is None


@given(
    name=st.sampled_from(NAMES),
    frame=st.integers(0, 2_000_000),
    sample_rate=st.sampled_from([44100, 48000, 48048, 96000, 192000]),
)
def test_a_frame_s_start_rounded_either_way_gives_its_label(
    name: str, frame: int, sample_rate: int
):
    """Recorders round up or down; one sample before that is the frame before."""
    rate = rate_named(name)
    begin = first_sample(frame, sample_rate, rate)
    floor, ceiling = begin // 1, -(-begin // 1)
    assert label(floor, sample_rate, rate) == label_of_frame(frame, rate)
    assert label(ceiling, sample_rate, rate) == label_of_frame(frame, rate)
    if floor > 2:
        assert label(floor - 2, sample_rate, rate) == label_of_frame(frame - 1, rate)


def test_after_the_last_label_comes_midnight():
    assert label_of_frame(2_073_600, Rate(24000, 1001)) == "00:00:00:00"
    assert label(4_151_347_200, 48000, Rate(24000, 1001)) == "00:00:00:00"


def test_drop_frame_at_a_rate_that_has_none_drops_nothing():
    assert label_of_frame(1500, Rate(25, 1, drop=True)) == "00:01:00:00"
