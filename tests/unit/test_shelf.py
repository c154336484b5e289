"""Which recordings of a card a name in a sound report means: marks around it, and sets of files."""

from __future__ import annotations

from typing import Any

import pytest

from reportworld import ALL, CARD, codes, found, on_card, report
from takehold.model.recording import Recording
from takehold.model.sound import Track
from takeworld import HZ, MORNING, wav
from takeworld import names as tracks

MISSING, OMITS = "report-names-missing", "report-omits"


def take_set(
    number: int,
    *paths: str,
    scene: str = "4",
    take: str = "1",
    family: str = "F",
    files: int | None = None,
    start: int = MORNING,
) -> list[Recording]:
    """Files that declare themselves one set by iXML's FAMILY_UID, or "" by what they tell else."""
    told = {"family_uid": f"{family}{take}", "total_files": files or len(paths)} if family else {}
    return [
        wav(number + n, path.encode(), scene, take, start + int(take) * 60 * HZ, **told)
        for n, path in enumerate(paths)
    ]


def takes(form: str, family: str = "F") -> list[Recording]:
    """Three takes of two files each, named by a form with `t` for the take and `f` for the file."""
    words = {"f": ("1", "2")} if "{f}" in form else {"w": ("Boom", "Keeper")}
    ((key, values),) = words.items()
    return [
        r
        for t in (1, 2, 3)
        for r in take_set(
            10 * t, *(form.format(t=t, **{key: v}) for v in values), take=str(t), family=family
        )
    ]


@pytest.mark.parametrize("name", ["{}*", "{} *", "{} (circled)", "@{}", "* {}", "[x] {}", "({}"])
@pytest.mark.parametrize("ending", [".WAV", ""])
def test_a_name_with_a_mark_is_that_name_if_it_is_on_the_card(name: str, ending: str):
    """Circled takes are marked so (common practice, no source)."""
    stems = ("S01T01", "S01T02", "S01T03")
    names = [f"{stems[0]}{ending}", f"{stems[1]}{ending}", name.format(f"{stems[2]}{ending}")]
    if name == "({}":  # no mark: a bracket that nothing closes
        assert OMITS in codes(*CARD, report(*names))
    else:
        assert codes(*CARD, report(*names)) == []
        assert codes(*CARD[:2], report(*names[:1], names[2].replace("03", "02"))) == []


def test_a_marked_name_of_no_file_is_missing():
    """Signs tell nothing more; words may, unless a name that is there has the same ones."""
    for name in ("@S01T04.WAV", "* S01T04.WAV"):
        (told,) = found(*CARD, report(*ALL, name))
        assert told.says.endswith(f"names a file that is not on that card: {name}.")
    circled = ("S01T01.WAV (circled)", *ALL[1:], "S01T04.WAV (circled)")
    (told,) = found(*CARD, report(*circled))
    assert told.says.endswith("not on that card: S01T04.WAV (circled).")
    assert codes(*CARD, report(*ALL, "S01T04.WAV (MOS - not recorded)")) == []
    for names in (ALL, [f"{name} (keep)" for name in ALL], ["S01T01.WAV (keep)", *ALL[1:]]):
        assert codes(*CARD, report(*names, "S01T03.WAV (keep)", "S01T04.WAV (not rec)")) == []
    assert codes(*CARD, report("S01T01", "S01T02", "S01T03", "S01T04*")) == [MISSING]


def test_a_mark_that_is_a_part_of_a_name_hides_no_missing_file():
    """The table has the name without it too, and the card has one of them only."""
    for name in ("+S01T03.WAV", "S01T03 (2).WAV", "S01T03-.WAV"):
        (told,) = found(*CARD, report(*ALL, name))
        assert told.says.endswith(f"not on that card: {name}.")
        there = on_card(b"DAY01/" + name.encode(), first=50)
        assert codes(*CARD, *there, report(*ALL, name)) == []
        assert codes(*CARD, *there, report(*ALL)) == [OMITS]
    (told,) = found(*CARD, report("S01T01", "S01T02", "S01T03", "S01T03+"))
    assert told.says.endswith("not on that card: S01T03+.")
    assert codes(*CARD, report(*ALL, "S01T03.WAV (again)")) == []


FORMS = ["D/4T{t}_{w}.WAV", "D/4T{t}-{f}.WAV", "D/4T{t}.{f}.WAV", "D/4T{t}_A{f}.WAV",
         "D/4T{t}_0{f}.WAV", "D/4T{t} Tr{f}.WAV", "D/4T{t}{w}.WAV", "4T{t}.TAKE/{f}_X.WAV",
         "4T{t}.TAKE/{w}.WAV", "4T{t}/{w}.WAV", "D/4T{t}/{f}.WAV"]  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("family", ["F", ""])
@pytest.mark.parametrize("ending", [".WAV", ""])
def test_a_takes_name_stands_for_what_the_files_declare_a_set(form: str, family: str, ending: str):
    """By what their names have in common, or their folder's name; and for nothing else."""
    files = takes(form, family)
    names = [f"4T{t}{ending}" for t in (1, 2, 3)]
    assert codes(*files, report(*names)) == []
    assert codes(*files, report(*names[:2])) == [OMITS]
    (told,) = found(*files[:4], report(*names))
    assert told.code == MISSING
    assert told.says.endswith(f"names a file that is not on that card: 4T3{ending}.")
    assert codes(*files, report(*names[:2], f"4T{ending}")) == [MISSING, OMITS]


def test_a_folders_whole_name_stands_for_its_set():
    files = takes("4T{t}.TAKE/{w}.WAV")
    assert codes(*files, report("4T1.TAKE", "4T2.TAKE", "4T3.TAKE")) == []
    poly: dict[str, Any] = {"channels": 2, "tracks": tracks("Mix", "Boom")}
    one = wav(1, b"4T9/4T9.WAV", "4", "9", MORNING, **poly)
    again = wav(2, b"4T9/4T9_REREC.WAV", "4", "9", MORNING, **poly)
    (told,) = found(one, again, *files, report("4T9", "4T1", "4T2", "4T3"))
    assert told.says.endswith("in no sound report: 4T9/4T9_REREC.WAV.")
    assert codes(*files, report("D/4T1.TAKE", "4T2.TAKE")) == [OMITS]
    more = wav(90, b"4T1.TAKE/Wild.WAV", "5", "1", MORNING)
    (missing, omits) = found(*files, more, report("4T1.TAKE", "4T2", "4T3", number=91))
    assert missing.says.endswith("not on that card: 4T1.TAKE.")  # a folder of two takes is none's
    assert "4T1.TAKE/Boom.WAV, 4T1.TAKE/Keeper.WAV, 4T1.TAKE/Wild.WAV" in omits.says


def test_a_folder_of_the_day_stands_for_no_take():
    """Whatever little its files tell of themselves."""
    files = on_card(*(b"DAY%d/%s.WAV" % (day, name) for day in (1, 2) for name in (b"A", b"B")))
    assert found(*files, report("DAY1", "DAY2"), good=True) == []
    files = [
        wav(50 + n, b"D/REC-%03d.WAV" % n, start=0) for n in (1, 2)
    ]  # of one length, by chance
    assert codes(*files, *CARD, report("REC.WAV", *ALL)) == [MISSING, OMITS]


def test_a_set_of_which_one_file_is_left_is_named_too():
    """That it lacks one, it tells itself (`set-incomplete`)."""
    lone = take_set(1, "4T1_Boom.WAV", files=2)
    assert codes(*lone, *CARD[1:], report("4T1.WAV", *ALL[1:])) == []
    alone = take_set(1, "4T1_Boom.WAV", family="")
    assert codes(*alone, *CARD[1:], report("4T1.WAV", *ALL[1:])) == [MISSING, OMITS]


def test_a_scene_is_no_takes_name():
    """Folders or names by scene: what names a scene names no take of it, and no files."""
    files = [*take_set(1, "4/Boom.WAV", "4/Mix.WAV"), *take_set(5, "5/Boom.WAV", "5/Mix.WAV",
             scene="5", family="G")]  # fmt: skip
    scenes = ("Scene", "4", "5")
    told = found(*files, report("X1.WAV", "X2.WAV", besides=(scenes,)))
    assert [x.code for x in told] == [MISSING]


def test_a_takes_name_hides_no_file_of_that_name():
    """Where the table has the files of the set as well, it is that of one more."""
    files = take_set(1, "4T1_1.WAV", "4T1_2.WAV")
    (told,) = found(*files, report("4T1.WAV", "4T1_1.WAV", "4T1_2.WAV"))
    assert told.says.endswith("names a file that is not on that card: 4T1.WAV.")
    parts = [wav(1, b"T01_2.WAV", "7", "1"), wav(2, b"T02.WAV", "7", "2")]
    (told,) = found(*parts, report("T01.WAV", "T01_2.WAV", "T02.WAV"))
    assert told.says.endswith("names a file that is not on that card: T01.WAV.")


PARTS = ("{}_2.WAV", "{}_0002.WAV", "{}-2.WAV")


@pytest.mark.parametrize("form", PARTS)
@pytest.mark.parametrize("ending", [".WAV", ""])
@pytest.mark.parametrize("family", ["F", ""])
def test_the_name_of_a_first_part_that_is_gone_is_missing(form: str, ending: str, family: str):
    """Later parts, counted from the second, do not stand for it; nor does a mix of the whole."""
    said: dict[str, Any] = {"family_uid": family, "channels": 2, "tracks": tracks("Mix", "Boom")}
    paths = [form.format("4T1"), form.format("4T1").replace("2", "3")]
    parts = [
        wav(n, path.encode(), "4", "1", MORNING + n * 10 * HZ, **said)
        for n, path in enumerate(paths, 2)
    ]
    others = take_set(10, "4T2.WAV", take="2", family="")
    mp3 = wav(20, b"4T1.MP3", "4", "1")
    paper = report(f"4T1{ending}", f"4T2{ending}")
    lone = wav(2, paths[0].encode(), "4", "1", MORNING, **(said | {"total_files": 3}))
    for left in ([lone], [parts[0]], parts, [*parts, mp3] if ending else parts):
        (told, omits) = found(*left, *others, paper)
        assert told.says.endswith(f"names a file that is not on that card: 4T1{ending}.")
        assert omits.code == OMITS
    first = wav(1, b"4T1.WAV", "4", "1", MORNING + 10 * HZ, **said)
    if form == PARTS[0]:
        assert codes(first, *parts, *others, paper) == []
    mix = wav(9, b"4T1_MIX.WAV", "4", "1", MORNING + 10 * HZ, 30 * HZ, family_uid=family)
    assert MISSING in codes(*parts, mix, *others, paper)


@pytest.mark.parametrize("family", ["F", ""])
def test_tracks_that_are_counted_from_the_second_stand_for_their_take(family: str):
    """The first one was not armed: they begin and end together."""
    files = take_set(10, "4T1_2.WAV", "4T1_3.WAV", family=family)
    paper = report("4T1.WAV", "S01T02.WAV", "S01T03.WAV")
    assert codes(*files, *CARD[1:], paper) == []
    twice = [
        *take_set(10, "4/T1_2.WAV", "4/T1_3.WAV", family=family),
        *take_set(20, "5/T1_2.WAV", "5/T1_3.WAV", scene="5", start=2 * MORNING, family=family),
    ]
    assert codes(*twice, report("4/T1.WAV", "5/T1.WAV")) == []
    assert codes(*twice, report("T1.WAV", path=b"4/REPORT.CSV")) == []


@pytest.mark.parametrize("left", [(2,), (2, 3)])
def test_later_parts_of_one_track_do_not_stand_for_the_first(left: tuple[int, ...]):
    """As a transmitter records; but a track alone, whose number the name ends in, is its take."""
    boom: dict[str, Any] = {"family_uid": "F", "tracks": tracks("Boom")}
    parts = [
        wav(40 + n, b"4T1_%d.WAV" % n, "4", "1", MORNING + n * 10 * HZ, 10 * HZ, **boom)
        for n in left
    ]
    paper = report("4T1.WAV", "S01T02.WAV", "S01T03.WAV")
    (told, omits) = found(*parts, *CARD[1:], paper)
    assert omits.code == OMITS
    assert told.says.endswith("names a file that is not on that card: 4T1.WAV.")
    second = (Track(2, 1, "Lav"),)
    alone: list[dict[str, Any]] = [{"tracks": second}, {"tracks": second, "set_index": "1"}]
    for said in (*alone, {"tracks": tracks("Lav"), "set_index": "2"}):
        lone = wav(42, b"4T1_2.WAV", "4", "1", MORNING, family_uid="F", **said)
        assert codes(lone, *CARD[1:], paper) == []
    lone = wav(42, b"4T1_2.WAV", "4", "1", MORNING, tracks=tracks("Lav"))
    (told, _) = found(lone, *CARD[1:], paper)
    assert told.says.endswith("names a file that is not on that card: 4T1.WAV.")
    counted = take_set(50, "4T2_1.WAV", "4T2_2.WAV", take="2")
    assert codes(lone, *counted, report("4T1.WAV", "4T2.WAV")) == []


@pytest.mark.parametrize("start", [0, MORNING])
def test_parts_without_a_timecode_of_their_own_do_not_stand_for_the_first(start: int):
    """All of them tell 0, or the take's beginning; the last one is shorter."""
    said: dict[str, Any] = {"channels": 3, "tracks": tracks("Mix", "Boom", "Lav")}
    parts = [
        wav(40 + n, b"REC4_%d.WAV" % n, "", "", start, frames, **said)
        for n, frames in ((2, 120 * HZ), (3, 40 * HZ))
    ]
    (told, *_) = found(*parts, *CARD[1:], report("REC4.WAV", "S01T02.WAV", "S01T03.WAV"))
    assert told.says.endswith("names a file that is not on that card: REC4.WAV.")


def test_a_track_that_is_stopped_early_is_one_still():
    """All begin with one timecode, from the second on."""
    files = [
        wav(40 + n, b"4T1_%d.WAV" % n, "4", "1", MORNING, frames, tracks=tracks(name))
        for n, name, frames in ((2, "Boom", 10 * HZ), (3, "Lav", 8 * HZ))
    ]
    assert codes(*files, *CARD[1:], report("4T1.WAV", "S01T02.WAV", "S01T03.WAV")) == []


def test_pairs_of_tracks_without_a_timecode_stand_for_their_take():
    """They tell other tracks each; parts of one take tell the same ones."""
    pairs = [
        wav(40 + n, b"4T1_%d.WAV" % n, "4", "1", 0, channels=2, tracks=tracks(*pair))
        for n, pair in ((2, ("Boom", "Plant")), (3, ("Lav", "Lamp")))
    ]
    assert codes(*pairs, *CARD[1:], report("4T1.WAV", "S01T02.WAV", "S01T03.WAV")) == []


def test_a_split_take_counts_no_tracks():
    """Its full parts are of one length; so a lone later part of another take is none."""
    boom: dict[str, Any] = {"tracks": tracks("Boom")}
    split = [wav(40 + n, b"4T2_%d.WAV" % n, "4", "2", 0, 10 * HZ, **boom) for n in (1, 2, 3)]
    lone = wav(50, b"4T1_2.WAV", "4", "1", 0, 10 * HZ, **boom)
    (told, _) = found(*split, lone, report("4T1.WAV", "4T2.WAV"))
    assert told.says.endswith("names a file that is not on that card: 4T1.WAV.")


def test_the_mix_of_a_take_that_is_listed_is_listed():
    """Beside it in its folder, of its scene and take, from its first sample to its last one."""
    poly: dict[str, Any] = {"channels": 2, "tracks": tracks("Mix", "Boom")}
    one = wav(1, b"D/4T1.WAV", "4", "1", MORNING, family_uid="F1", **poly)
    mix = wav(2, b"D/4T1_MIX.WAV", "4", "1", MORNING, family_uid="M1", tracks=tracks("Mix"))
    two = wav(3, b"D/4T2.WAV", "4", "2", MORNING + 60 * HZ)
    paper = report("4T1.WAV", "4T2.WAV")
    assert codes(one, mix, two, paper) == []
    others = [
        wav(2, b"D/4T1_MIX.WAV", "4", "1", MORNING + 1),
        wav(2, b"D/4T1_MIX.WAV", "4", "1", MORNING, 9 * HZ),
        wav(2, b"D/4T1_MIX.WAV", "4", "3", MORNING),
        wav(2, b"X/4T1_MIX.WAV", "4", "1", MORNING),
        wav(2, b"D/WILD.WAV", "4", "1", MORNING),
        wav(2, b"D/4T1_REREC.WAV", "4", "1", MORNING, **poly),
        wav(2, b"D/4T1_COPY.WAV", "4", "1", MORNING, family_uid="F1", **poly),
    ]
    for other in others:
        (told,) = found(one, other, two, paper)
        assert told.says.endswith(f"in no sound report: {other.path.decode()}.")
    (told,) = found(one, two, report("4T1.WAV", "4T1_MIX.WAV", "4T2.WAV"))
    assert told.code == MISSING
    word = [
        wav(n, path, "4", "1", MORNING) for n, path in enumerate((b"4_Rain.WAV", b"4_Rain_M.WAV"))
    ]
    assert codes(*word, two, report("4_Rain.WAV", "4T2.WAV")) == []
