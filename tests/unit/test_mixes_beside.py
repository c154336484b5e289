"""Mixes that lie beside a recorder's takes, and files whose format cannot name tracks."""

from __future__ import annotations

from dataclasses import replace

from planworld import settings
from takehold.formats.names import LONGEST_NAMED
from takehold.model.finding import Finding
from takehold.model.recording import Recording
from takehold.model.settings import Expect
from takehold.model.sound import Kind
from takeworld import HZ, MORNING, found_on, names, wav

MINE = {"tracks-unnamed", "tracks-changed", "channels", "channels-changed", "format-changed"}
ISOS = ("Boom", "Lav", "Plant")


def iso(number: int, *words: str, **said: object) -> Recording:
    """A poly file of named tracks."""
    words = words or ISOS
    start = MORNING + number * 60 * HZ
    return wav(number, b"S1T%d.WAV" % number, "1", str(number), start, channels=len(words),
               tracks=names(*words), **said)  # fmt: skip


def mix(number: int, start: int | None = 0) -> Recording:
    """A stereo mix of that take in a folder of its own, without any track name."""
    at = None if start is None else MORNING + (number * 60 + start) * HZ
    path = b"MIX/S1T%d.WAV" % number
    return wav(100 + number, path, "1", str(number), at, channels=2)


def lossy(number: int) -> Recording:
    """The same as an MP3, which tells no timecode and no tracks."""
    one = mix(number, start=None)
    return replace(one, description=replace(one.description, kind=Kind.COMPRESSED))


def told(*files: Recording, **expect: int) -> list[Finding]:
    made = settings(expect=Expect(**expect))  # type: ignore[arg-type]
    return [one for one in found_on(list(files), made=made) if one.code in MINE]


def test_a_mix_of_each_take_is_no_take_without_names():
    """Nor does the number of channels change to and fro with them."""
    assert told(iso(1), mix(1), iso(2), mix(2), iso(3), mix(3)) == []
    assert told(iso(1), lossy(1), iso(2), lossy(2)) == []


def test_a_mix_does_not_hide_a_name_that_changes():
    (found,) = told(iso(1), mix(1), iso(2, "Boom", "Lav", "Car"), mix(2))
    assert (found.code, "track 3 was Plant and is Car" in found.says) == ("tracks-changed", True)


def test_what_was_rolled_at_another_time_is_a_take_of_its_own():
    """One decision for all of a card."""
    found = [one for one in told(iso(1), mix(1, start=20), mix(3), mix(4))
             if one.code == "tracks-unnamed"]  # fmt: skip
    (one,) = found
    assert "3 takes: none of its tracks has a name" in one.says


def test_a_compressed_take_of_its_own_is_none_without_names():
    codes = [one.code for one in told(iso(1), lossy(2))]
    assert "tracks-unnamed" not in codes


def test_an_mp3_changes_no_format():
    """By its name it is that of a take, whatever timecode or slate it tells; or it stands alone."""
    for start in (MORNING, None):
        day = []
        for number in (1, 2, 3):
            path, at = b"REC%03d.WAV" % number, start and start + number * 60 * HZ
            day += [wav(number, path, start=at, channels=3, tracks=names(*ISOS))]
            mp3 = lossy(number)
            made = replace(wav(9, b"", channels=2, hz=44_100).description, kind=Kind.COMPRESSED)
            day += [replace(mp3, path=path.replace(b"WAV", b"MP3"), description=made)]
        assert told(*day) == []
        assert told(*day[:2], *day[3:]) == []


def test_mp3s_are_held_against_each_other():
    at_44_1 = wav(9, b"", channels=2, hz=44_100).description
    other = replace(lossy(3), description=replace(at_44_1, kind=Kind.COMPRESSED))
    assert [one.code for one in told(lossy(1), lossy(2), other)] == ["format-changed"]


def test_channels_are_those_of_the_poly_file_or_of_all_files():
    """Three isos in one file, and two of a named mix in another one of the same take."""
    named = {"time_reference": MORNING + 60 * HZ, "tracks": names("L", "R", first=4)}
    beside = wav(9, b"S1T1_MIX.WAV", "1", "1", MORNING + 60 * HZ, channels=2, **named)
    assert told(iso(1), beside, channels=3) == []
    assert told(iso(1), beside, channels=5) == []
    (found,) = told(iso(1), beside, channels=2)
    assert "5 channels, the day is set up for 2" in found.says


def test_long_names_are_cut_in_sentences():
    """A file may hold iXML a million letters; two names of 100,000 made a sentence as long."""
    first, second = ("Boom" + "x" * 100_000 + "end", "Boom" + "y" * 100_000 + "end")
    (found,) = told(iso(1, first), iso(2, second))
    assert found.code == "tracks-changed"
    assert len(found.says) < 4 * LONGEST_NAMED
    assert "xend" in found.says
    assert "yend" in found.says
