"""A mix of a take and a second take, told apart: each of the two taken for the other is found."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from planworld import reading
from takehold.formats.compressed import FLAC
from takehold.formats.levels import packed
from takehold.model.measured import Channel
from takehold.model.recording import Recording
from takehold.model.sound import Coding, Kind, Sound
from takeworld import HOUR, HZ, MORNING, found_on, monos, names, wav

MINE = {"take-twice", "timecode-overlap"}
CHANGES = {"tracks-changed", "channels-changed", "tracks-unnamed"}
LONG = 10 * HZ
# Five milliseconds, and a tenth of a second.
LATE, EARLY = 240, 4800


def told(*files: Recording, of: set[str] = MINE) -> list[tuple[str, int | None]]:
    """What is said of takes, and of which file."""
    return [(one.code, one.recording) for one in found_on(*files) if one.code in of]


def isos(number: int = 1, start: int = MORNING, take: str = "1", **said: Any) -> Recording:
    """Three tracks of a take in one file; without a take's number it names no scene either."""
    told_of = {"channels": 3, "tracks": names("Boom", "Keeper", "Pilot")} | said
    return wav(number, b"ISO/%d.WAV" % number, "1" * bool(take), take, start, **told_of)


def mix(number: int = 2, start: int = MORNING, take: str = "1", **said: Any) -> Recording:
    """Its mix, in a folder of its own."""
    told_of = {"channels": 2, "tracks": names("MixL", "MixR")} | said
    return wav(number, b"MIX/%d.WAV" % number, "1", take, start, **told_of)


@pytest.mark.parametrize(
    ("late", "frames"), [(LATE, LONG), (-LATE, LONG), (0, LONG - EARLY), (0, LONG + EARLY)]
)
def test_a_mix_that_begins_or_ends_a_moment_off_is_no_second_take(late: int, frames: int):
    """Beside a poly file, and beside monos; take after take."""
    day = [
        one
        for n in (1, 2, 3)
        for one in (
            isos(n, MORNING + n * 60 * HZ, str(n)),
            mix(10 + n, MORNING + n * 60 * HZ + late, str(n), frames=frames),
        )
    ]
    assert told(*day, of=MINE | CHANGES) == []
    split = monos(1, "1", "1", MORNING, "Boom", "Keeper", "Pilot")
    assert told(*split, mix(9, MORNING + late, frames=frames)) == []


def test_a_mix_around_midnight_is_none_either():
    begins = 24 * HOUR - LATE // 2
    assert told(isos(start=begins), mix(start=LATE // 2, time="23:59:59")) == []


def test_a_mix_that_was_made_later_from_the_very_samples_is_none_either():
    """As a program does that keeps timecode and slate, and dates its file anew."""
    assert told(isos(), mix(time="18:30:00")) == []


SECOND_TAKES = {
    "the same number later": mix(start=MORNING + 60 * HZ),
    "the same number, begun as the first one ended": mix(start=MORNING + LONG),
    "begun too late for its mix": mix(start=MORNING + 2 * HZ),
    "begun too late, though it ends with it": mix(start=MORNING + 2 * HZ, frames=LONG - 2 * HZ),
    "too short for its mix": mix(frames=LONG - 2 * HZ),
    "by the clock another time, after a jam": mix(start=MORNING + LATE, time="09:00:11"),
    "on no clock": mix(start=MORNING + LATE, time=""),
    "the same tracks": isos(2, MORNING + LATE),
    "of another recorder": mix(start=MORNING + LATE, originator="another"),
    "the same tracks at the same timecode, later": isos(2, time="09:10:00"),
}


@pytest.mark.parametrize("name", SECOND_TAKES)
def test_a_number_that_comes_twice_is_told(name: str):
    codes = dict(told(isos(), SECOND_TAKES[name]))
    assert codes.get("take-twice") == 2


OVERLAPS = {
    "of another take, a moment off": mix(start=MORNING + LATE, take="2"),
    "of another take, at its very samples, by the clock later": isos(2, take="2", time="09:10:00"),
    "of another take, at its very samples, on no clock": isos(2, take="2", time=""),
    "without a slate, by the clock later": isos(2, take="", time="09:10:00"),
    "the same number within it": mix(start=MORNING + 4 * HZ),
}


@pytest.mark.parametrize("name", OVERLAPS)
def test_timecode_that_was_set_back_is_told(name: str):
    """So it is where the take has the very length of one before: its sound is another."""
    assert ("timecode-overlap", 2) in told(isos(), OVERLAPS[name])


def test_recorders_that_begin_each_file_at_0_give_no_number_twice_unseen():
    """Two takes of nearly one length at TimeReference 0: the clock tells them apart."""
    first, second = isos(start=0, time="09:00:00"), mix(start=0, frames=LONG - EARLY)
    assert told(first, replace_time(second, "09:00:00")) == []
    assert told(first, replace_time(second, "09:01:00")) == [("take-twice", 2)]


def replace_time(one: Recording, time: str) -> Recording:
    said = replace(one.description.metadata, time=time)
    return replace(one, description=replace(one.description, metadata=said))


def heard(one: Recording, *digests: str) -> Recording:
    """The recording with channels of these digests."""
    found = [Channel(d * 16, b"", 900, 300.0, 0, 0, 0, 0, LONG - 1, 0) for d in digests]
    sound = Sound(LONG, str(one.id), b"", coding=Coding.INTEGER, levels=packed(found))
    return replace(one, readings=(reading(one.path)._replace(sound=sound),))


def test_monos_that_a_program_split_and_dated_anew_are_no_second_take():
    """Their channels are the poly file's: so they are one recording, whatever they say."""
    poly = heard(isos(), "aa", "bb", "cc")
    split = [
        heard(wav(n, b"%d.wav" % n, "1", slate, MORNING, time="18:30:00"), digest)
        for n, digest, slate in ((5, "aa", "1"), (6, "bb", "7"))
    ]
    assert told(poly, split[0]) == []
    assert told(poly, split[1]) == []
    assert told(poly, heard(split[1], "dd")) == [("timecode-overlap", 6)]


def lossy(path: bytes, frames: int | None = LONG, number: int = 9) -> Recording:
    """An MP3, which tells nothing; as long as it was measured to be."""
    one = wav(number, path, channels=2)
    one = replace(one, description=replace(one.description, kind=Kind.COMPRESSED, frames=None))
    if frames is None:
        return replace(one, readings=())
    sound = Sound(frames, str(number), b"", coding=Coding.INTEGER)
    return replace(one, readings=(reading(path)._replace(sound=sound),))


@pytest.mark.parametrize("path", [b"D/4T1.MP3", b"MP3/4T1.MP3", b"D/4T1_Mix.MP3", b"M/4t1-mix.mp3"])
def test_an_mp3_of_each_take_is_no_second_one(path: bytes):
    """In any folder of the card, with a word behind the name; an encoder adds some milliseconds."""
    take = wav(1, b"D/4T1.WAV", "4", "1", MORNING)
    for frames in (LONG, LONG + 2257, LONG - 1105, None):
        assert told(take, lossy(path, frames)) == []
    split = [wav(n, b"D/4T1_%d.WAV" % n, "4", "1", MORNING, tracks=names("a", first=n))
             for n in (1, 2)]  # fmt: skip
    assert told(*split, lossy(path)) == []


def test_an_mp3_of_another_length_or_name_is_a_take_of_its_own():
    take = wav(1, b"D/4T1.WAV", "4", "1", MORNING)
    assert told(take, lossy(b"MP3/4T1.MP3", 14 * HZ)) == [("take-twice", 9)]
    assert told(take, lossy(b"MP3/4T01.MP3")) == [("take-twice", 9)]
    twice = lossy(b"A/4T1.MP3"), lossy(b"B/4T1.MP3", 14 * HZ, number=10)
    assert told(*twice) == [("take-twice", 10)]


def flac(path: bytes, number: int, channels: int = 3) -> Recording:
    one = lossy(path, number=number)
    made = replace(wav(number, path, channels=channels).description.format, tag=FLAC)  # type: ignore[type-var]
    return replace(one, description=replace(one.description, format=made, frames=LONG))


def test_beside_a_flac_neither_its_mp3_nor_its_mix_is_a_second_take():
    take = flac(b"D/4T1.FLAC", 1)
    assert told(take, lossy(b"MP3/4T1.MP3")) == []
    assert told(take, flac(b"D/4T1_MIX.FLAC", 2, 1)) == []
    assert told(take, flac(b"D/4T1_MIX.FLAC", 2, 1), lossy(b"MP3/4T1_Mix.MP3")) == []
    assert told(wav(3, b"D/4T1.WAV", "4", "1", MORNING), take) == []
    assert told(take, flac(b"E/4T1.FLAC", 2)) == [("take-twice", 2)]
    assert told(take, flac(b"D/4T1_PU.FLAC", 2)) == [("take-twice", 2)]


def test_an_mp3_of_each_part_or_of_all_is_no_second_take():
    parts = [wav(n, b"D/4T1%s.WAV" % word, "4", "1", MORNING + n * LONG, family_uid="F")
             for n, word in enumerate((b"", b"_2", b"_3"), 1)]  # fmt: skip
    each = [lossy(b"D/4T1%s.MP3" % word, number=10 + n) for n, word in enumerate((b"", b"_2"))]
    assert told(*parts, *each) == []
    assert told(*parts, lossy(b"D/4T1.MP3", 3 * LONG)) == []
    assert told(*parts, lossy(b"D/4T1.MP3", 2 * LONG)) == [("take-twice", 9)]
    assert told(*parts, lossy(b"D/4T1_2.MP3", 3 * LONG)) == []


@pytest.mark.parametrize("family", ["", "F"])
def test_an_mp3_beside_a_poly_file_and_its_mix_is_no_second_take(family: str):
    """Both files are one take: that begin together and are of one length, or by their file set."""
    files = [
        wav(n, path, "4", "1", MORNING, tracks=names(*words), channels=len(words),
            family_uid=family, set_index=str(n))
        for n, path, words in (
            (1, b"4T1.WAV", ("Mix", "Boom", "Lav")), (2, b"4T1_MIX.WAV", ("Mix",))
        )
    ]  # fmt: skip
    assert told(*files, lossy(b"4T1.MP3")) == []
    assert told(*files, lossy(b"MP3/4T1_Mix.MP3")) == []
