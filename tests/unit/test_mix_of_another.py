"""The tracks of some takes are gone, and their mix or MP3 could be taken for that of another."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import pytest

from planworld import DAY as TODAY
from planworld import NOON, cards, copied, ledger, settings, taken, view
from takehold.decide.check import Around, check
from takehold.decide.listing import listing
from takehold.decide.mix_only import LOSSY, MIX
from takehold.formats.compressed import FLAC, MP3
from takehold.model.recording import Recording
from takehold.model.sound import Kind, WaveFormat
from takeworld import DRIVES, HZ, MORNING, found_on, names, wav

ISOS = ("Mix", "Boom", "Lav", "Plant")
NUMBERS = count(1)


def tracks(path: str, slate: str = "", at: int | None = None, **said: object) -> Recording:
    """A poly file; `at` is in minutes from the morning, and `slate` a scene and a take."""
    told_of = {"channels": 4, "tracks": names(*ISOS)} | said
    scene, take = slate.split() if slate else ("", "")
    start = None if at is None else MORNING + at * 60 * HZ
    return wav(next(NUMBERS), path.encode(), scene, take, start, **told_of)  # type: ignore[arg-type]


def mix(path: str, slate: str = "", at: int | None = None, **said: object) -> Recording:
    return tracks(path, slate, at, **{"channels": 1, "tracks": ()} | said)


def compressed(path: str, tag: int = MP3, channels: int = 2) -> Recording:
    """A file that tells nothing but its name."""
    one = wav(next(NUMBERS), path.encode(), date="", timecode_rate=None, originator="")
    made = WaveFormat(tag, channels, HZ, 24, channels * 3)
    return replace(one, description=replace(one.description, kind=Kind.COMPRESSED, format=made))


def told(*files: Recording) -> list[str]:
    return [x.says for x in found_on(list(files)) if x.code == "set-incomplete"]


SCENES = [(scene, take) for scene in (1, 2) for take in (1, 2, 3)]


@pytest.mark.parametrize("slated", [True, False])
@pytest.mark.parametrize("timed", [True, False])
def test_where_each_scene_s_folder_counts_anew_a_mix_is_that_of_its_own(
    *, slated: bool, timed: bool
):
    """By timecode, by scene and take, or by the folder alone."""

    def of(scene: int, take: int) -> tuple[str, int | None]:
        return f"{scene} {take}" * slated, scene * 20 + take if timed else None

    mixes = [mix(f"SC{s}/MIX/T{t:02}.WAV", *of(s, t)) for s, t in SCENES]
    polys = [tracks(f"SC{s}/T{t:02}.WAV", *of(s, t)) for s, t in SCENES]
    assert told(*mixes, *polys) == []
    gone = "SC2/MIX/T01.WAV, SC2/MIX/T02.WAV, SC2/MIX/T03.WAV"
    assert told(*mixes, *polys[:3]) == [f"SND_A1: 3 takes: {MIX}: {gone}."]


@pytest.mark.parametrize("path", ["SC{}/T{:02}.MP3", "SC{}/MP3/T{:02}.MP3", "MP3/SC{}/T{:02}.MP3"])
def test_so_is_an_mp3(path: str):
    lossy = [compressed(path.format(*one)) for one in SCENES]
    polys = [tracks(f"SC{s}/T{t:02}.WAV", f"{s} {t}", s * 20 + t) for s, t in SCENES]
    assert told(*lossy, *polys) == []
    gone = ", ".join(path.format(2, take) for take in (1, 2, 3))
    assert told(*lossy, *polys[:3]) == [f"SND_A1: 3 takes: {LOSSY}: {gone}."]


def test_mp3s_in_a_folder_of_any_name_are_found_by_theirs():
    lossy = [compressed(f"PROXY/REC{n:03}.MP3") for n in range(1, 6)]
    polys = [tracks(f"SOUND/REC{n:03}.WAV", f"1 {n}", n) for n in range(1, 6)]
    assert told(*lossy, *polys) == []
    assert told(*lossy, *polys[:4]) == [f"SND_A1/PROXY/REC005.MP3: {LOSSY}."]


@pytest.mark.parametrize("timed", [True, False])
@pytest.mark.parametrize(("name", "kind"), [("1W03", "WILD_TRACK"), ("1T03fs", "FALSE_START")])
def test_what_is_counted_by_itself_are_not_the_tracks_of_that_number(
    name: str, kind: str, *, timed: bool
):
    def at(minute: int) -> int | None:
        return minute if timed else None

    mixes = [mix(f"A/1T{n:02}_MIX.WAV", f"1 {n}", at(n)) for n in range(1, 5)]
    polys = [tracks(f"A/1T{n:02}.WAV", f"1 {n}", at(n)) for n in (1, 2, 4)]
    apart = tracks(f"A/{name}.WAV", "1 3", at(30), types=(kind,))
    assert told(*mixes, *polys, apart) == [f"SND_A1/A/1T03_MIX.WAV: {MIX}."]
    its = mix(f"A/{name}_MIX.WAV", "1 3", at(30))
    assert told(*mixes[:2], mixes[3], *polys, apart, its) == []


@pytest.mark.parametrize(
    "path",
    ["A/MIX_1T{:02}.WAV", "A/1T{:02}_Mix1.WAV", "A/1T{:02}_Mix_L.WAV", "MIX/1T{:02}_LR.WAV",
     "A/1T{:02}_StereoMix.WAV", "MIX_1/1T{:02}.WAV"],
)  # fmt: skip
@pytest.mark.parametrize("slated", [True, False])
def test_a_mix_is_known_by_any_word_of_its_name_or_its_folder(path: str, *, slated: bool):
    slates = {n: f"1 {n}" * slated for n in range(1, 5)}
    mixes = [mix(path.format(n), slate, n) for n, slate in slates.items()]
    polys = [tracks(f"A/1T{n:02}.WAV", slate, n) for n, slate in slates.items()]
    assert told(*mixes, *polys) == []
    assert told(*mixes, *polys[:2], polys[3]) == [f"SND_A1/{path.format(3)}: {MIX}."]


def test_a_mixer_s_folder_is_none_of_mixes():
    files = [
        one
        for n in (1, 2, 3)
        for one in (tracks(f"Mixer_A/1T{n:02}.WAV", f"1 {n}", n), compressed(f"MP3/1T{n:02}.MP3"))
    ]
    assert told(*files) == []
    assert told(*files[:2], *files[3:]) == [f"SND_A1/MP3/1T02.MP3: {LOSSY}."]


def test_a_flac_holds_its_tracks_as_a_wav_does():
    flacs = [compressed(f"REC{n:03}.FLAC", FLAC, 4) for n in range(1, 6)]
    lossy = [compressed(f"REC{n:03}.MP3") for n in range(1, 6)]
    assert told(*flacs, *lossy) == []
    gone = "REC004.MP3, REC005.MP3"
    assert told(*flacs[:3], *lossy) == [f"SND_A1: 2 takes: {LOSSY}: {gone}."]


@pytest.mark.parametrize("monos", [True, False])
def test_mixes_that_are_tied_to_their_tracks_are_what_the_recorder_writes(*, monos: bool):
    """Without a file set (FAMILY_UID), by scene, take and timecode."""
    mixes = [mix(f"1T{n:02}_MIX.WAV", f"1 {n}", n, tracks=names("Mix")) for n in range(1, 5)]
    rest: dict[int, list[Recording]] = {}
    for n in range(1, 5):
        alone = {"channels": 3, "tracks": names("Boom", "Lav", "Plant", first=2)}
        rest[n] = [tracks(f"1T{n:02}.WAV", f"1 {n}", n, **alone)]
        if monos:
            rest[n] = [tracks(f"1T{n:02}_{k}.WAV", f"1 {n}", n, channels=1,
                              tracks=names(ISOS[k], first=k + 1)) for k in (1, 2, 3)]  # fmt: skip
    assert told(*mixes, *(one for its in rest.values() for one in its)) == []
    assert told(*mixes, *rest[1], *rest[3], *rest[4]) == [f"SND_A1/1T02_MIX.WAV: {MIX}."]
    assert told(*mixes, *rest[1], *rest[4]) == [
        f"SND_A1: 2 takes: {MIX}: 1T02_MIX.WAV, 1T03_MIX.WAV."
    ]


def test_a_set_with_a_mix_track_is_no_mix_beside_tracks():
    """Monos that tell how many they are; of one take only the mix was armed."""
    sets = [
        tracks(f"1T{n:02}_{word}.WAV", f"1 {n}", n, channels=1, tracks=names(word, first=k),
               family_uid=f"F{n}", total_files=len(words), set_index=str(k))
        for n in (1, 2, 3, 4)
        for words in [ISOS if n != 3 else ISOS[:1]]
        for k, word in enumerate(words, 1)
    ]  # fmt: skip
    assert told(*sets) == []


@pytest.mark.parametrize("lost", [3, 4])
def test_names_of_scene_and_take_are_no_set(lost: int):
    """`11_1.WAV` and `11_2.WAV`: what they have in common is the scene."""
    polys = [tracks(f"11_{n}.WAV", f"11 {n}", n) for n in range(1, 5) if n != lost]
    mixes = [mix(f"MIX/11_{n}.WAV", f"11 {n}", n) for n in range(1, 5)]
    lossy = [compressed(f"MP3/11_{n}.MP3") for n in range(1, 5)]
    assert told(*polys, *mixes) == [f"SND_A1/MIX/11_{lost}.WAV: {MIX}."]
    assert told(*polys, *lossy) == [f"SND_A1/MP3/11_{lost}.MP3: {LOSSY}."]


def test_one_track_of_a_set_and_its_mp3():
    """Only one was armed."""
    polys = [tracks(f"REC{n:03}_1.WAV", at=n, channels=1, tracks=names("Boom")) for n in (1, 2, 3)]
    assert told(*polys, *(compressed(f"REC{n:03}.MP3") for n in (1, 2, 3))) == []


def test_a_take_that_was_edited_keeps_its_mix():
    """Its scene and name were changed on the card, and those of its mix were not."""
    mixes = [mix(f"A/1T{n:02}_MIX.WAV", f"1 {n}", n) for n in range(1, 5)]
    polys = [tracks(f"A/1T{n:02}.WAV", f"1 {n}", n) for n in range(1, 4)]
    assert told(*mixes, *polys, tracks("A/1T04.WAV", "2 1", 4)) == []


def test_what_was_renamed_on_its_card_keeps_its_mp3():
    polys = [tracks(f"1T{n:02}.WAV", f"1 {n}", n) for n in range(1, 5)]
    lossy = [compressed(f"1T{n:02}.MP3") for n in range(1, 5)]
    now = tracks("2T01.WAV", "2 1", 4)
    now = replace(now, readings=tuple(r._replace(sound=polys[3].sound) for r in now.readings))
    book = ledger(cards(), taken(*polys, *lossy, now))
    for one in (*polys, *lossy, now):
        book.apply(copied(one, *DRIVES))
    there = tuple((r.path, r.stamp) for r in (*polys[:3], now, *lossy))
    book.apply([listing(book, 1, NOON, TODAY, there, (), (), True, False)])
    made = settings()
    found = check(view(book, made), book, made, Around())
    assert any(x.code == "edited" and "2T01.WAV" in x.says for x in found)
    assert [x.says for x in found if x.code == "set-incomplete"] == []


def test_a_take_whose_tracks_alone_are_marked_keeps_its_mix():
    """As no good, after it was rolled; its mix stands by a number."""
    mixes = [mix(f"MIX/10{n}.WAV", f"1 {n}", n) for n in range(1, 5)]
    polys = [tracks(f"A/1T{n:02}.WAV", f"1 {n}", n) for n in range(1, 4)]
    assert told(*mixes, *polys, tracks("A/1T04.WAV", "1 4", 4, types=("NO_GOOD",))) == []
