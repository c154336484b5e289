"""Which track of a set goes on in which file of its take's next part."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planworld import reading
from takehold.formats.levels import packed
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.sound import Coding, Sound
from takeworld import HZ, MORNING, found_on, names, wav

LONG = 10 * HZ
WORDS = ("Boom", "Lav", "Plant")
OPEN = Channel("00" * 16, b"", 900, 300.0, 0, 0, 0, 0, LONG - 1, 0)
MUTE = Channel("00" * 16, b"", 0, 0.0, LONG, 0, 0, None, None, 0)


def part(nth: int, mute: str = "", lacks: str = "", *, by: str = "channel") -> list[Recording]:
    """A part of a set of mono files; `by` says what tells the files of a part apart."""
    made = []
    for place, word in enumerate(WORDS):
        said = {"family_uid": "F1", "total_files": len(WORDS)}
        tracks = names(word, first=place + 1 if by == "channel" else 1)
        index = "" if by == "channel" else str(place + 1)
        one = wav(10 * nth + place, b"%d_%d.wav" % (nth, place), "1", "1", MORNING + nth * LONG,
                  LONG, tracks=tracks, set_index=index, **said)  # fmt: skip
        levels = packed([MUTE if word == mute else OPEN])
        sound = Sound(LONG, str(one.id), b"", coding=Coding.INTEGER, levels=levels)
        if word != lacks:
            made.append(replace(one, readings=(reading(one.path)._replace(sound=sound),)))
    return made


def told(*parts: list[Recording]) -> list[str]:
    """What is said of silence."""
    return [
        one.says
        for one in found_on(*parts)
        if one.code in {"track-dead", "track-silent", "zero-tail"}
    ]


@pytest.mark.parametrize("by", ["channel", "set index"])
def test_a_part_that_lacks_a_file_names_the_right_track(by: str):
    """The second part has no Boom: its first file is the Lav's."""
    (says,) = told(part(0, by=by), part(1, mute="Lav", lacks="Boom", by=by))
    assert "goes dead within the take: Lav (10.0 s at its end" in says


@pytest.mark.parametrize("by", ["channel", "set index"])
def test_a_track_that_only_a_later_part_has_is_heard_too(by: str):
    (says,) = told(part(0, lacks="Plant", by=by), part(1, mute="Plant", by=by))
    assert "no sound at all on Plant" in says


def test_a_set_that_is_whole_says_nothing():
    assert told(part(0), part(1)) == []
