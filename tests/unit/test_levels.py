"""What is kept of each channel: in a few bytes, and in the manifest, and back again."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from takehold.decide.manifest_levels import known_again, told
from takehold.formats.canonical import canonical, parse
from takehold.formats.levels import channels_of, digests_of, packed
from takehold.model.errors import Malformed
from takehold.model.measured import Channel
from takehold.model.sound import Coding, Sound

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "manifest.schema.json").read_text())
LEVEL = Draft202012Validator({"$ref": "#/$defs/level", "$defs": SCHEMA["$defs"]})
MOST = 2**53 - 1

counts = st.integers(0, MOST)
spans = st.none() | counts


@st.composite
def channels(draw: st.DrawFn, coding: Coding) -> Channel:
    """Any channel that can be measured; it has a first sound if it has a last one."""
    peak = (
        draw(st.integers(0, 2**31))
        if coding is Coding.INTEGER
        else draw(st.floats(0, 2**53 - 2**30, width=32))
    )
    first = draw(spans)
    last = draw(counts) if first is not None else None
    return Channel(
        draw(st.binary(min_size=16, max_size=16)).hex(),
        b"",
        peak,
        draw(st.floats(0, 2)),
        draw(counts),
        draw(counts),
        draw(counts),
        first,
        last,
        draw(counts) if coding is not Coding.INTEGER else 0,
    )


sounds = st.sampled_from(Coding).flatmap(
    lambda coding: st.lists(channels(coding), min_size=1, max_size=5).map(
        lambda made: (Sound(9, "ab" * 16, b"", coding=coding, levels=packed(made)), tuple(made))
    )
)


@given(sounds)
def test_channels_come_back_from_their_bytes(made: tuple[Sound, tuple[Channel, ...]]) -> None:
    sound, known = made
    assert channels_of(sound) == known
    assert [digest.hex() for digest in digests_of(sound)] == [one.digest for one in known]


@given(sounds)
def test_channels_come_back_from_a_manifest(made: tuple[Sound, tuple[Channel, ...]]) -> None:
    """Through canonical JSON (RFC 8785), and each entry is as the published schema has it."""
    sound, _ = made
    entry = parse(canonical(told(sound)), cap=1 << 20)
    assert isinstance(entry, dict)
    for level in entry["levels"]:
        LEVEL.validate(level)
    bare = Sound(9, "ab" * 16, b"")
    assert known_again(bare, entry) == sound


def test_levels_of_no_sense_are_told_as_the_largest_number_that_a_manifest_can_hold() -> None:
    """A peak of 1e30, as in a file that is none of float: the manifest must still be readable."""
    wild = packed([Channel("0" * 32, b"", 1e30, 1e25, 0, 0, 0, 0, 8)])
    sound = Sound(9, "ab" * 16, b"", coding=Coding.FLOAT32, levels=wild)
    entry = parse(canonical(told(sound)), cap=1 << 20)
    assert isinstance(entry, dict)
    (channel,) = channels_of(known_again(Sound(9, "ab" * 16, b""), entry))
    assert (channel.peak, channel.rms) == (MOST, MOST)


def test_where_no_channel_was_measured_nothing_is_told() -> None:
    bare = Sound(9, "ab" * 16, b"")
    assert told(bare) == {}
    assert channels_of(bare) == ()
    assert known_again(bare, {}) == bare


GOOD = {"digest": "0" * 32, "peak": 1, "rms": 0.5, "zeros": 0, "longest_gap": 0, "clipped": 0}


@pytest.mark.parametrize(
    "spoiled",
    [
        {"coding": "words", "levels": [GOOD]},
        {"levels": [GOOD]},
        {"coding": "integer", "levels": "x"},
        {"coding": "integer", "levels": [3]},
        *(
            {"coding": "integer", "levels": [GOOD | odd]}
            for odd in (
                {"digest": "0" * 31},
                {"digest": "G" * 32},
                {"digest": None},
                {"peak": "1"},
                {"rms": None},
                {"zeros": -1},
                {"zeros": 2**53},
                {"zeros": None},
                {"first_sound": 1.5},
            )
        ),
    ],
    ids=str,
)
def test_what_cannot_be_is_refused(spoiled: dict[str, object]) -> None:
    with pytest.raises(Malformed, match="levels"):
        known_again(Sound(9, "ab" * 16, b""), spoiled)
