"""Takes of which only a mix or an MP3 is there, where others have their tracks beside it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from takehold.decide.mix_only import LOSSY, MIX
from takehold.model.finding import Severity
from takehold.model.recording import Recording
from takehold.model.sound import Complaint, Kind
from takeworld import HZ, MORNING, found_on, monos, names, wav

ISOS = ("Mix", "Boom", "Lav", "Plant")


def poly(number: int, *words: str, path: bytes = b"A/1T%02d.WAV", **said: object) -> Recording:
    """A take's poly file."""
    words = words or ISOS
    return wav(number, path % number, "1", str(number), MORNING + number * 60 * HZ,
               channels=len(words), tracks=names(*words), **said)  # fmt: skip


def mix(number: int, *, path: bytes = b"MIX/1T%02d.WAV", channels: int = 1) -> Recording:
    """The mix of the same moments, without names."""
    return wav(100 + number, path % number, "1", str(number), MORNING + number * 60 * HZ,
               channels=channels)  # fmt: skip


def mp3(number: int, path: bytes = b"A/1T%02d.MP3") -> Recording:
    """The same as an MP3, which tells nothing but its name."""
    one = wav(200 + number, path % number, channels=2, date="", timecode_rate=None, originator="")
    return replace(one, description=replace(one.description, kind=Kind.COMPRESSED))


def told(*files: Recording) -> list[str]:
    found = [x for x in found_on(list(files)) if x.code == "set-incomplete"]
    assert all(x.severity is Severity.LOOK for x in found)
    return [x.says for x in found]


@pytest.mark.parametrize(
    "path", [b"MIX/1T%02d.WAV", b"MIX/1T%02d_MIX.WAV", b"A/1T%02d_Mix.WAV", b"MIX/A/1T%02d.WAV"]
)
def test_a_mix_whose_tracks_are_gone_is_looked_at(path: bytes):
    mixes = [mix(n, path=path) for n in range(1, 7)]
    assert told(*map(poly, range(1, 7)), *mixes) == []
    name = (path % 3).decode()
    assert told(*map(poly, (1, 2, 4, 5, 6)), *mixes) == [f"SND_A1/{name}: {MIX}."]


@pytest.mark.parametrize("above", [b"IN THE MIX/", b"MIX/DAY1/", b"SUMMER MIX/"])
@pytest.mark.parametrize(
    ("tracks", "mixes"),
    [
        (b"A/1T%02d.WAV", b"MIX/1T%02d.WAV"),
        (b"D12_ISO/R1/1T%02d.WAV", b"D12_MIX/R1/1T%02d.WAV"),
        (b"1T%02d.WAV", b"1T%02d_MIX.WAV"),
    ],
)
def test_a_folder_above_all_files_makes_no_mixes(above: bytes, tracks: bytes, mixes: bytes):
    """As a title with that word in it."""
    lie = [mix(n, path=above + mixes) for n in range(1, 7)]
    left = [poly(n, path=above + tracks) for n in (1, 2, 4, 5, 6)]
    assert told(*left, poly(3, path=above + tracks), *lie) == []
    assert told(*left, *lie) == [f"SND_A1/{(above + mixes % 3).decode()}: {MIX}."]


def test_all_tracks_of_a_scene_are_one_decision():
    assert told(*map(poly, (1, 2, 3)), *map(mix, range(1, 7))) == [
        f"SND_A1: 3 takes: {MIX}: MIX/1T04.WAV, MIX/1T05.WAV, MIX/1T06.WAV."
    ]


@pytest.mark.parametrize("path", [b"A/1T%02d.MP3", b"MP3/1T%02d_MIX.MP3"])
def test_an_mp3_whose_wav_is_gone_is_looked_at(path: bytes):
    lossy = [mp3(n, path) for n in range(1, 7)]
    assert told(*map(poly, range(1, 7)), *lossy) == []
    name = (path % 3).decode()
    assert told(*map(poly, (1, 2, 4, 5, 6)), *lossy) == [f"SND_A1/{name}: {LOSSY}."]


def test_a_mix_that_has_an_mp3_is_told_and_its_mp3_is_not():
    lossy, mixes = [mp3(n) for n in range(1, 5)], [mix(n) for n in range(1, 5)]
    assert told(*map(poly, range(1, 5)), *mixes, *lossy) == []
    assert told(*map(poly, (1, 2, 4)), *mixes, *lossy) == [f"SND_A1/MIX/1T03.WAV: {MIX}."]


def test_a_set_of_monos_beside_its_mix():
    sets = {
        n: monos(10 * n, "1", str(n), MORNING + n * 60 * HZ, "Boom", "Lav", "Plant")
        for n in (1, 2, 3)
    }
    mixes = [mix(n, path=b"1-T%d_Mix.WAV", channels=2) for n in (1, 2, 3)]
    assert told(*(x for one in sets.values() for x in one), *mixes) == []
    assert told(*sets[1], *sets[3], *mixes) == [f"SND_A1/1-T2_Mix.WAV: {MIX}."]


def scenes(path: bytes, *counts: int) -> list[Recording]:
    """Takes that begin anew in each scene's folder."""
    return [
        wav(100 * scene + n, path % (scene, n), str(scene), str(n), MORNING + n * 60 * HZ,
            channels=4, tracks=names(*ISOS))
        for scene, count in enumerate(counts, 1) for n in range(1, count + 1)
    ]  # fmt: skip


def circled(path: bytes, *takes: tuple[int, int]) -> list[Recording]:
    """MP3s of some of these, by scene and take."""
    found = []
    for scene, n in takes:
        found.append(replace(mp3(n, b"%d"), id=1000 * scene + n, path=path % (scene, n)))
    return found


def test_the_last_take_of_a_scene_is_not_that_of_another():
    """Of the circled takes the recorder wrote MP3s; names begin anew in each scene's folder."""
    some = [(1, 1), (1, 2), (1, 4), (2, 1), (2, 3), (3, 2), (3, 3)]
    lossy = circled(b"SC%d/MP3/T%02d.MP3", *some)
    assert told(*scenes(b"SC%d/T%02d.WAV", 4, 3, 3), *lossy) == []
    lost = [f"SND_A1/SC2/MP3/T03.MP3: {LOSSY}."]
    assert told(*scenes(b"SC%d/T%02d.WAV", 4, 2, 3), *lossy) == lost
    assert told(*scenes(b"SC%d/T%02d.WAV", 4, 2), *lossy[:5]) == lost


QUIET = {
    "MP3s in folders of their own, beside sets whose names begin anew": [
        *(replace(one, id=10 * one.id + n, path=one.path.replace(b".WAV", b"_%d.WAV" % n),
                  description=replace(one.description, metadata=replace(
                      one.description.metadata, family_uid=str(one.id), total_files=3,
                      set_index=str(n), tracks=names(ISOS[n]))))
          for one in scenes(b"SC%d/T%02d.WAV", 8, 2) for n in (1, 2, 3)),
        *circled(b"SC%d/Proxy/T%02d.MP3", *((1, n) for n in range(1, 9)), (2, 1), (2, 2)),
    ],
    "no take has a mix": [poly(1), poly(2, "Mix"), poly(3, "Boom")],
    "no take has tracks": [mix(1), mix(2), mix(3)],
    "mixes from some take on": [poly(1), poly(2), poly(3), mix(3), poly(4), mix(4)],
    "a room tone of one track beside a mix of two": [
        poly(1), mix(1, channels=2), poly(2), mix(2, channels=2),
        poly(3, "Boom"), mix(3, channels=2),
    ],
    "a wild track of one track beside a mix of one": [
        poly(1), mix(1), poly(2), mix(2), poly(3, "Boom"), mix(3)
    ],
    "a wild track without a mix": [poly(1), mix(1), poly(2), mix(2), poly(3, "Mix")],
    "a false start and the take in its stead": [
        poly(1), mp3(1), poly(2), mp3(2),
        replace(poly(3, path=b"A/1T%02dfs.WAV", types=("FALSE_START",)), id=50),
    ],
    "a take in parts, and one MP3 of all": [
        poly(1), mp3(1), poly(2), mp3(2), poly(3, path=b"A/1T%02d-1.WAV"),
        wav(4, b"A/1T03-2.WAV", "1", "3", MORNING + 190 * HZ, channels=4, tracks=names(*ISOS)),
        mp3(3),
    ],
    "what was recorded again, told by its note alone, with an MP3": [
        poly(1), mp3(1), poly(2), mp3(2), poly(3, note="rerec of take 2"), mp3(3)
    ],
    "an MP3 that may be of another day, as its WAV is": [
        poly(1), mp3(1), poly(2), mp3(2), replace(mp3(3), description=replace(
            mp3(3).description, complaints=(Complaint("date-doubtful", "written yesterday"),)))
    ],
    "playback of two files": [
        poly(1), wav(7, b"SONG1_Vox.WAV", channels=2), wav(8, b"SONG1_Mix.WAV", channels=2),
        wav(9, b"SONG2_Mix.WAV", channels=2),
    ],
    "folders with numbers of their own, and fewer tracks in one": [
        *(poly(n, path=b"SC1/T%02d.WAV") for n in (1, 2, 3)),
        *(wav(n, b"SC2/T%02d.WAV" % (n - 10), "2", str(n - 10), MORNING + n * 60 * HZ, channels=2)
          for n in range(11, 16)),
    ],
    "names that tell no take": [
        one
        for n in (1, 2, 3)
        for one in (poly(n, path=b"REC%03d.WAV"), mp3(n, b"REC%03d.MP3"))
    ],
    "no card of it has folders, and mixes stand by their numbers": [
        poly(1, path=b"%03d.WAV"), mix(1, path=b"10%d.WAV"), mix(2, path=b"10%d.WAV")
    ],
}  # fmt: skip


@pytest.mark.parametrize("name", QUIET)
def test_an_ordinary_day_is_not_told(name: str):
    assert told(*QUIET[name]) == []
