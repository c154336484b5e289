"""The checks of takes: each finding once, where it belongs, and none where nothing is wrong."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pytest

from planworld import SECOND, cards, ledger, load, recording, settings, taken, view
from takehold.cli.view import beside_ready
from takehold.decide.check import verdict
from takehold.decide.check_changes import FEWEST
from takehold.decide.check_takes import take_findings
from takehold.decide.severity import own_words, weighed
from takehold.decide.unsettled import DECIDED
from takehold.formats.config_severity import FIRM, FREE
from takehold.formats.names import is_shown
from takehold.model import facts as f
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.recording import Recording
from takehold.model.settings import Expect, Role, Settings, Source
from takehold.model.sound import Rate
from takeworld import HOUR, HZ, MORNING, found_on, monos, names, wav

HOLD, LOOK, NOTE = Severity.HOLD, Severity.LOOK, Severity.NOTE
MINE = {
    *("set-incomplete", "set-uneven", "part-gap", "part-missing", "take-twice", "take-numbers"),
    *(
        "timecode-overlap",
        "timecode-off-clock",
        "timecode-apart",
        "tracks-unnamed",
        "tracks-changed",
    ),
    *("format-changed", "channels-changed", "channels"),
}
FULL = (1 << 32) - 9000


def told(*recordings: Recording, made: Settings | None = None) -> list[Finding]:
    """What is said of takes."""
    return [f for f in found_on(list(recordings), made=made) if f.code in MINE]


def row(*starts: int, **said: object) -> list[Recording]:
    """Takes 1, 2, … of scene 1 that begin at these samples."""
    return [
        wav(n, b"T%02d.WAV" % n, "1", str(n), start, **said) for n, start in enumerate(starts, 1)
    ]


def minutes(*at: float) -> list[int]:
    return [MORNING + int(m * 60 * HZ) for m in at]


def changed(made: list[Recording], nth: int, **said: object) -> list[Recording]:
    """The nth file says something else of itself."""
    one = made[nth]
    description = replace(one.description, metadata=replace(one.description.metadata, **said))
    return [*made[:nth], replace(one, description=description), *made[nth + 1 :]]


THREE = row(*minutes(0, 1, 2))
SET = monos(1, "1", "1", MORNING, "Boom", "Lav", "Plant")


@dataclass
class Case:
    """A day with one thing to notice, and what its sentence names."""

    code: str
    severity: Severity
    says: str
    files: list[Recording]
    settings: Settings = field(default_factory=settings)


def polys(*kinds: tuple[str, ...], scene: str = "1") -> list[Recording]:
    """Takes of two channels with these track names."""
    return [
        wav(n, b"T%02d.WAV" % n, scene, str(n), MORNING + n * 60 * HZ, channels=2,
            tracks=names(*words))
        for n, words in enumerate(kinds, 1)
    ]  # fmt: skip


CASES = [
    Case("set-incomplete", HOLD, "scene 1, take 1 is incomplete: 2 of 3 files are there, not 2",
         [SET[0], SET[2]]),
    Case("set-uneven", LOOK, "not of one length",
         [*SET[:2], replace(SET[2], description=replace(SET[2].description, frames=9 * HZ))]),
    Case("part-gap", LOOK, "480 samples (0.010 s) are missing between SND_A1/T01.WAV and",
         [wav(1, b"T01.WAV", "1", "1", MORNING, size=FULL),
          wav(2, b"T02.WAV", "1", "1", MORNING + 10 * HZ + 480)]),
    Case("part-gap", LOOK, "overlap by 480 samples",
         [wav(1, b"T01.WAV", "1", "1", MORNING, size=FULL),
          wav(2, b"T02.WAV", "1", "1", MORNING + 10 * HZ - 480)]),
    Case("part-missing", HOLD, "(30.000 s) are missing between SND_A1/T01.WAV and SND_A1/T02.WAV",
         [wav(1, b"T01.WAV", "1", "1", MORNING, 30 * HZ, size=FULL),
          wav(2, b"T02.WAV", "1", "1", MORNING + 60 * HZ, 30 * HZ)]),
    Case("take-twice", LOOK, "scene 1, take 002 is there already: SND_A1/T02.WAV",
         changed(THREE, 2, take="002")),
    Case("take-twice", LOOK, "scene 1, take 1 is there already: SND_A1/T01.WAV",
         changed(changed(THREE, 1, take="1", note="lav NG, fs2"), 2, take="2")),
    Case("take-numbers", LOOK, "primary: scene 1 has no take 2.", [THREE[0], THREE[2]]),
    Case("take-numbers", LOOK, "primary: scene 1 has no takes 1, 2.", [THREE[2]]),
    Case("take-numbers", LOOK, "primary: scene 1 has no take 2.",
         [THREE[0], *changed([THREE[2]], 0, types=("NO_GOOD",))]),
    Case("take-twice", LOOK, "scene 1, take WT1 is there already",
         [wav(n, b"W%d.WAV" % n, "1", "WT1", MORNING + n * 60 * HZ, types=("WILD_TRACK",))
          for n in (1, 2)]),
    Case("set-incomplete", HOLD, "2 of 3 files are there",  # a short UID that came again
         [wav(9, b"p.wav", "2", "1", MORNING + HOUR, file_uid="U", channels=2,
              tracks=names("Boom", "Lav")),
          *monos(1, "1", "1", MORNING, "Boom", "Lav", "Plant", parent_uid="U")[:2]]),
    Case("set-incomplete", HOLD, "2 of 3 files are there",  # its parent is not on the card
         monos(1, "1", "1", MORNING, "Boom", "Lav", "Plant", parent_uid="U")[:2]),
    Case("timecode-overlap", LOOK, "SND_A1/T01.WAV by 4.0 s, from 09:00:06:00 on",
         row(MORNING, MORNING + 6 * HZ)),
    Case("timecode-off-clock", LOOK, "60 min off the recorder's clock",
         changed(THREE, 1, time_reference=MORNING + 61 * 60 * HZ)),
    Case("timecode-apart", NOTE, "primary: its timecode runs 60 min ahead of the recorder's own "
         "clock, in 3 of 3 takes",
         [wav(n, b"%d.wav" % n, "1", str(n), MORNING + n * 240 * HZ, time=f"08:{4 * n:02}:00")
          for n in (1, 2, 3)]),
    Case("timecode-apart", NOTE, "primary: its timecode runs 30 min behind the recorder's own "
         "clock, in 3 of 3 takes",
         [wav(n, b"%d.wav" % n, "1", str(n), MORNING + n * 240 * HZ, time=f"09:{30 + 4 * n}:00")
          for n in (1, 2, 3)]),
    Case("tracks-unnamed", LOOK, "none of its tracks has a name",
         polys(("Boom", "Lav"), ("", ""))),
    Case("tracks-unnamed", NOTE, "primary: no take names its tracks.", polys(("", ""), ("", ""))),
    Case("tracks-unnamed", NOTE, "SND_A1: 3 takes: no name on channel 2: T01.WAV, T02.WAV, T03",
         polys(*[("Boom", "")] * 3)),
    Case("tracks-unnamed", NOTE, "SND_A1/T01.WAV: no name on channel 2.",
         polys(("Boom",), ("Boom", "Lav"))),
    Case("tracks-changed", LOOK, "track 2 was Lav and is Plant, in the same scene",
         polys(("Boom", "Lav"), ("Boom", "Plant"), ("Boom", "Plant"))),
    Case("tracks-changed", LOOK, "track 2 was Lav and is unnamed",
         polys(("Boom", "Lav"), ("Boom", ""))),
    Case("format-changed", LOOK, "timecode at 24 after 25 in the take before it",
         changed(changed(THREE, 1, timecode_rate=Rate(24, 1)), 2, timecode_rate=Rate(24, 1))),
    Case("format-changed", LOOK, "96000 Hz after 48000 Hz, 16 bits after 24 bits",
         [THREE[0], wav(2, b"T02.WAV", "1", "2", MORNING * 2 + HOUR, hz=96_000, bits=16)]),
    Case("channels-changed", NOTE, "4 channels after 1",
         [THREE[0], wav(2, b"T02.WAV", "1", "2", MORNING + 60 * HZ, channels=4,
                        tracks=names("a", "b", "c", "d"))]),
    Case("channels", LOOK, "3 channels, the day is set up for 8", SET,
         settings(expect=Expect(channels=8))),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c.code}-{c.severity}-{c.says[:12]}")
def test_it_is_noticed_once_and_nothing_else_is(case: Case):
    """One finding, about the right file, with its severity and what to do."""
    (found,) = told(*case.files, made=case.settings)
    assert (found.code, found.severity) == (case.code, case.severity)
    assert case.says in found.says
    assert found.do or case.severity is NOTE
    assert is_shown(found.says + found.subject + found.do)


def test_every_check_of_takes_has_a_case():
    assert {case.code for case in CASES} == MINE


QUIET = {
    "three takes": THREE,
    "a mono set": SET,
    "a split set": [*SET, *monos(4, "1", "1", MORNING + 10 * HZ, "Boom", "Lav", "Plant")],
    "parts of a poly with a number each": [
        wav(n, b"%d.wav" % n, "1", "1", MORNING + n * 10 * HZ, family_uid="F", total_files=3,
            set_index="ABC"[n])
        for n in (0, 1, 2)
    ],
    "a poly and its monos": [
        wav(9, b"p.wav", "1", "1", MORNING, channels=3, tracks=names("Boom", "Lav", "Plant")),
        *SET,
    ],
    "a take on two loads": [THREE[0], replace(THREE[0], id=7, path=b"copy/T01.WAV")],
    "back to back": row(MORNING, MORNING + 10 * HZ, MORNING + 20 * HZ),
    "across midnight": row(23 * HOUR, 24 * HOUR - 5 * HZ, HOUR),
    "far numbers": [THREE[0], wav(2, b"x", "1", "101", MORNING + 60 * HZ)],
    "pick-ups": [*THREE, wav(4, b"x", "1", "PU1", MORNING + 240 * HZ)],
    "a pick-up that keeps its take's number": changed(THREE, 2, take="2", types=("PICKUP",)),
    "no timecode, TimeReference 0 in every file": [
        wav(n, b"%d.wav" % n, "", "", 0, (9 + n) * HZ, time=f"1{n}:00:00") for n in (1, 2)
    ],
    "timecode that each file begins anew": [
        wav(n, b"%d.wav" % n, "1", str(n), HOUR, (9 + n) * HZ, time=f"1{n}:00:00")
        for n in (1, 2, 3)
    ],
    "other names where no scene is named": changed(changed(
        polys(("Boom", "Anna"), ("Boom", "Bert"), scene=""), 0, take=""), 1, take=""),
    "a wild track with a name of its own": changed(
        polys(("Boom", "Anna"), ("Boom", "Crowd"), ("Boom", "Anna")), 1, types=("WILD_TRACK",)),
    "names in a new scene": [
        *polys(("Boom", "Lav")),
        *[replace(r, id=9, path=b"x") for r in changed(
            polys(("Boom", "Lav"), ("Plant", "Lav")), 1, scene="2", take="1")[1:]],
    ],
    "timecode that runs while recording": [
        wav(n, b"%d.wav" % n, "1", str(n), MORNING + n * 10 * HZ, time=f"{9 + 2 * n:02}:00:00")
        for n in (1, 2, 3, 4)
    ],
    "timecode that runs while recording, in quick takes": [
        wav(n, b"%d.wav" % n, "1", str(n), MORNING + n * 10 * HZ, time=f"11:00:{n * 15}")
        for n in (1, 2, 3)
    ],
    "timecode four minutes from the clock": [
        wav(n, b"%d.wav" % n, "1", str(n), MORNING + n * 600 * HZ, time=f"09:{10 * n - 4:02}:00")
        for n in (1, 2, 3)
    ],
    "pre-record": [
        wav(n, b"%d.wav" % n, "1", str(n), MORNING + n * 60 * HZ, time=f"09:0{n}:10")
        for n in (1, 2, 3)
    ],
    "no timecode at all": [wav(n, b"%d.wav" % n, "1", str(n)) for n in (1, 2)],
    "a fixed take again": [
        *THREE, wav(4, b"x_rerec.wav", "1", "2", MORNING + 60 * HZ, 10 * HZ, note="plane")
    ],
    "a false start and the take in its stead": [
        *changed(row(*minutes(0, 1, 2, 3)), 2, take="2", types=("FALSE_START",))[:3],
        *changed(row(*minutes(0, 1, 2, 3)), 3, take="3")[3:],
    ],
    **{
        f"told by its note alone: {note}": changed(
            changed(THREE, 1, take="1", note=note), 2, take="2"
        )
        for note in ("False start", "plane, false-start!", "FS", "f/s", " N.G.", "no good")
    },
    "a mix with names of its own beside each take's isos": [
        file
        for n in (1, 2, 3)
        for file in (
            *monos(n * 10, "1", str(n), MORNING + n * 60 * HZ, "Boom", "Lav", "Plant"),
            wav(
                *(n, b"MIX%d.wav" % n, "1", str(n), MORNING + n * 60 * HZ),
                channels=2,
                tracks=names("MixL", "MixR"),
            ),
        )
    ],
    "a take that was no good, and its number again": changed(
        changed(THREE, 1, take="1", types=("NO_GOOD",)), 2, take="2"
    ),
    "a false start that is the only one of its number": changed(
        THREE, 1, types=("FALSE_START", "PICKUP")
    ),
    "a wild track that was counted on": changed(THREE, 1, types=("WILD_TRACK",)),
    "a wild track with a count of its own": [
        *THREE, wav(4, b"w.wav", "1", "1", MORNING + 240 * HZ, types=("WILD_TRACK",)),
        wav(5, b"x.wav", "1", "9", MORNING + 300 * HZ, types=("WILD_TRACK",)),
    ],
    "monos split from a poly, not all of them": [
        wav(9, b"p.wav", "1", "1", MORNING, channels=3, file_uid="U", family_uid="F1-1",
            total_files=1, set_index="A", tracks=names("Boom", "Lav", "Plant")),
        *monos(1, "1", "1", MORNING, "Boom", "Lav", "Plant", family_uid="F1-1",
               parent_uid="U")[:2],
    ],
    "a set made from a set of the same size": [
        *[replace(r, description=replace(r.description, metadata=replace(
            r.description.metadata, file_uid=f"U{r.id}"))) for r in SET],
        *changed(monos(4, "1", "1", MORNING, "Boom", "Lav", "Plant", parent_uid="U1"), 0,
                 parent_uid="U2")[:2],
    ],
    "a cut made from a take": [
        wav(1, b"p.wav", "1", "1", MORNING, file_uid="U"),
        wav(2, b"cut.wav", "1", "1", MORNING + 2 * HZ, 3 * HZ, parent_uid="U"),
        wav(3, b"tail.wav", "1", "1", parent_uid="U"),
    ],
    "hostile total": [wav(1, b"a", "1", "1", MORNING, family_uid="F", total_files=1)],
}  # fmt: skip


@pytest.mark.parametrize("name", QUIET)
def test_what_is_in_order_is_not_told(name: str):
    assert [f.says for f in told(*QUIET[name])] == []


def on_backup(made: list[Recording], first: int = 51) -> list[Recording]:
    """The same files on the backup card."""
    return [
        replace(r, id=n, load=2, place=r.place.replace(b"SND_A1", b"SND_B1"))
        for n, r in enumerate(made, first)
    ]


def test_nothing_is_told_twice_because_it_is_on_both_cards():
    faulty = [SET[0], SET[2]]
    assert [f.code for f in told(*faulty, *on_backup(faulty))] == ["set-incomplete"]


def test_a_set_that_the_backup_card_has_whole_can_be_decided():
    (found,) = told(SET[0], SET[2], *on_backup(SET))
    assert (found.code, found.severity) == ("set-incomplete", LOOK)
    assert "whole on the backup card" in found.says


def test_a_mix_beside_the_isos_does_not_make_their_set_whole():
    """Of one scene, take and timecode, and whole by itself; the isos are on neither card."""
    mix = wav(9, b"MIX.wav", "1", "1", MORNING, channels=2, tracks=names("MixL", "MixR"))
    there = [SET[0], mix]
    found = [f for f in told(*there, *on_backup(there)) if f.code == "set-incomplete"]
    assert [(f.severity, "whole" in f.says) for f in found] == [(HOLD, False)]


def test_another_units_set_does_not_make_one_whole():
    """Two recorders without timecode, the same scene and take: what answers the files counts."""
    here = monos(1, "1", "1", 0, "Boom", "Lav", "Plant", family_uid="A")
    there = monos(31, "1 ", "1", 0, "Boom", "Lav", "Plant", family_uid="B", originator="other")
    theirs = [replace(r, id=r.id + 40, load=2) for r in there]
    found = told(here[0], here[2], *on_backup([here[0], here[2]]), *there, *theirs)
    assert [f.severity for f in found if f.code == "set-incomplete"] == [HOLD]


def test_what_was_recorded_again_is_checked_for_being_whole():
    """Its number of files may be the original's: a person decides on that; not on a lost part."""
    at = MORNING + 60 * HZ
    again = monos(11, "1", "2", at, "Boom", "Lav", "Plant", note="rerec")
    (found,) = told(*THREE, again[0])
    assert (found.code, found.severity) == ("set-incomplete", LOOK)
    parts = [
        wav(n, b"A_%d.wav" % n, "1", "2", at + late * HZ, 3 * HZ, note="rerec", family_uid="R")
        for n, late in ((11, 0), (12, 60))
    ]
    (lost,) = told(*THREE, *parts)
    assert (lost.code, lost.severity) == ("part-missing", HOLD)
    assert "57.000 s" in lost.says


def test_a_take_that_only_the_backup_card_has_is_not_called_missing():
    assert told(THREE[0], THREE[2], *on_backup(THREE)) == []


def test_the_backup_card_is_checked_where_the_primary_cannot_be_looked_into():
    """An opaque container on the primary card: the backup's takes are complete among themselves."""
    opaque = recording(90, b"DAY01.BOX", audio=None)
    codes = [f.code for f in told(opaque, *on_backup([THREE[0], THREE[2], *SET[:0]]))]
    assert codes == ["take-numbers"]
    assert [f.code for f in told(opaque, *on_backup(SET[:2]))] == ["set-incomplete"]


def test_a_transmitters_own_card_is_left_alone():
    """It runs through, over everybody's takes, and knows no scenes."""
    pack = [replace(r, id=r.id + 60, load=3) for r in row(MORNING, MORNING + HZ)]
    from planworld import copied  # noqa: PLC0415
    from takehold.decide.check import Around, check  # noqa: PLC0415

    card = f.LoadSeen(load(3, Role.BODYPACK))
    known = ledger([card], taken(*pack), *(copied(r) for r in pack))
    codes = {x.code for x in check(view(known), known, settings(), Around())}
    assert not codes & MINE


@pytest.mark.parametrize("further", ["2PU", "2A", "02-FS"])
def test_a_pick_up_or_lettered_take_fills_its_number(further: str):
    """Common practice, no source: it begins with its number."""
    named = wav(80, b"x.wav", "1", further, MORNING + HZ)
    assert "take-numbers" not in {f.code for f in found_on([THREE[0], named, THREE[2]])}


def test_numbers_go_on_from_an_earlier_day():
    """Scene 1 was begun yesterday: takes 1 and 2 are not missing today."""
    before = replace(wav(80, b"old.wav", "1", "2", MORNING), day="2031-05-05")
    found = found_on([THREE[2]], earlier=taken(before))
    assert "take-numbers" not in {f.code for f in found}


def test_a_decision_covers_the_files_of_then():
    """One more file in the take, and it is another finding."""
    (before,) = told(SET[0])
    (after,) = told(*SET[:2])
    assert before.code == after.code
    assert before.id != after.id
    assert (before.id,) == tuple(f.id for f in told(SET[0]))


def test_what_the_day_is_set_up_for_is_told_by_file_and_not_as_a_change():
    made = settings(expect=Expect(timecode_rate=Rate(25, 1)))
    files = changed(THREE, 1, timecode_rate=Rate(24, 1))
    assert told(*files, made=made) == []
    assert "timecode-rate" in {f.code for f in found_on(files, made=made)}


def test_few_takes_show_no_usual_clock():
    assert FEWEST > 2
    assert told(*changed(THREE[:2], 1, time="20:00:00")) == []


def test_names_from_a_card_are_escaped():
    odd = [wav(n, b"\x1b%d" % n, "\x1b[1m", "\u202e1", MORNING + n * HZ) for n in (1, 2)]
    found = told(*odd)
    assert found
    assert all(is_shown(f.says + f.subject + f.do) for f in found)


def test_the_config_gives_a_finding_another_severity_and_names_its_own():
    made = settings(severities=(("set-incomplete", NOTE), ("take-numbers", HOLD)))
    (found,) = told(SET[0], SET[2], made=made)
    assert found.severity is NOTE
    assert found.says.endswith("By itself a hold; the config makes it a note.")
    assert found.id == told(SET[0], SET[2])[0].id
    (raised,) = told(THREE[0], THREE[2], made=made)
    assert raised.severity is HOLD
    assert own_words(raised.says) == told(THREE[0], THREE[2])[0].says


def test_what_the_config_made_a_note_stands_beside_ready():
    made = settings(severities=(("set-incomplete", NOTE), ("take-numbers", LOOK)))
    word, (reason,) = verdict(tuple(told(SET[0], SET[2], made=made)), {})
    assert word is Verdict.READY
    assert reason == (
        "set-incomplete: 1 of the day's findings would be a hold by itself; the config makes it a "
        "note, and nobody had to decide."
    )
    assert beside_ready((reason,)) == "1 kind of findings made a note by the config"
    assert beside_ready((f"T01: unread.{DECIDED}", reason)) == (
        "1 file not confirmed and decided on by a person, "
        "1 kind of findings made a note by the config"
    )


def test_a_severity_that_is_its_own_changes_nothing():
    plain = told(SET[0])
    assert told(SET[0], made=settings(severities=(("set-incomplete", HOLD),))) == plain
    assert weighed(plain[0], settings()) == plain[0]


def test_every_code_of_the_checks_can_be_named_in_the_config():
    assert MINE <= FREE
    assert not FREE & FIRM


def test_a_second_of_audio_is_what_the_makers_say():
    """The makers of these tests and those of planworld count alike."""
    assert SECOND == HZ


def test_a_file_without_a_format_hides_no_overlap_of_the_others():
    """It has a TimeReference and no sample rate: its place in the day is not known."""
    bare = wav(9, b"A.WAV", "1", "9", MORNING)
    bare = replace(bare, description=replace(bare.description, format=None, frames=None))
    overlap = row(MORNING, MORNING + 6 * HZ)
    assert "timecode-overlap" in {f.code for f in told(bare, *overlap)}


def test_a_take_of_no_known_format_is_no_change_of_it():
    """What changes is told from the last one whose format is known."""
    bare = wav(9, b"A.WAV", "1", "2", MORNING + 60 * HZ)
    bare = replace(bare, description=replace(bare.description, format=None, frames=None))
    assert told(THREE[0], bare, THREE[2]) == []
    wider = wav(3, b"T03.WAV", "1", "3", MORNING + 120 * HZ, channels=2, tracks=names("a", "b"))
    (found,) = told(THREE[0], bare, wider)
    assert (found.code, "2 channels after 1" in found.says) == ("channels-changed", True)


def scenes(*takes: tuple[str, int]) -> list[Recording]:
    """Takes by scene and number, a minute apart."""
    return [
        wav(n, b"T%02d.WAV" % n, scene, str(number), MORNING + n * 60 * HZ)
        for n, (scene, number) in enumerate(takes, 1)
    ]


def test_a_recorder_that_counts_on_from_scene_to_scene_leaves_nothing_out():
    """Some do not begin anew with a scene (common practice, no source)."""
    assert told(*scenes(("1", 1), ("1", 2), ("2", 3), ("3", 4), ("3", 5), ("1", 6))) == []
    (gap,) = told(*scenes(("1", 7), ("1", 8), ("2", 9), ("3", 11), ("4", 12), ("5", 13)))
    assert (gap.code, gap.subject) == ("take-numbers", "primary")
    assert gap.says == "primary has no take 10; they are counted on from scene to scene."


def test_one_scene_that_begins_anew_is_no_such_count():
    """A scene of one take before one that lacks its first is no count, nor is a single change."""
    told_of = [x.says for x in told(*scenes(("1", 1), ("2", 2), ("3", 1), ("4", 2)))]
    assert told_of == ["primary: scene 2 has no take 1.", "primary: scene 4 has no take 1."]
    (one,) = told(*scenes(("1", 1), ("2", 2)))
    assert one.says == "primary: scene 2 has no take 1."


def numbered(*takes: str) -> list[str]:
    """What is said of the numbers of a scene whose takes are these."""
    made = [wav(n, b"%d.WAV" % n, "1", take, MORNING + n * 60 * HZ)
            for n, take in enumerate(takes, 1)]  # fmt: skip
    return [x.says.partition("scene 1 ")[2] for x in told(*made) if x.code == "take-numbers"]


@pytest.mark.parametrize("series", ["2+3", "2-3", "2&3", "2/3", "2,3", "2 3", "02 + 03"])
def test_a_series_without_a_cut_is_one_file_with_the_numbers_of_its_takes(series: str):
    assert numbered("1", series, "4") == []
    assert numbered("1", series, "5") == ["has no take 4."]


@pytest.mark.timeout(20)
@pytest.mark.parametrize("take", ["3" + "   1" * 60 + "x", "1" + " " * 200_000 + "x"])
def test_a_text_that_is_nearly_a_series_costs_no_time(take: str):
    """All ways to read 22 runs of three blanks would take an hour."""
    assert numbered("1", take, "2") == []


@pytest.mark.parametrize(
    ("takes", "says"),
    [
        (("1-3", "4"), []),
        (("1", "2+3+4", "5"), []),
        (("1-3,5", "6"), ["has no take 4."]),
        (("1", "2+4", "5"), ["has no take 3."]),
        (("1", "3-2", "4"), ["has no take 2."]),
        (("1", "2.3", "4"), ["has no take 3."]),
        (("1", "2-1", "2-2", "2-3", "4"), ["has no take 3."]),
        (("1", "2", "2-3", "4"), ["has no take 3."]),
        (("#1", "#2", "#4"), ["has no take 3."]),
        (("#1", "#2", "3"), []),
        (("30", "31-60", "50"), [f"has no takes {', '.join(map(str, range(32, 50)))}."]),
    ],
)
def test_what_no_series_holds_is_missing(takes: tuple[str, ...], says: list[str]):
    """Behind `-` stand all that lie between; parts of a take (`2-1`, `2-2`) are no other takes."""
    assert numbered(*takes) == says


def test_a_series_counts_where_numbers_go_on_from_scene_to_scene():
    made = scenes(("1", 1), ("2", 2), ("3", 4), ("4", 5), ("5", 6))
    assert [x.code for x in told(*made)] == ["take-numbers"]
    assert told(*changed(made, 1, take="2+3")) == []


def unit(
    first: int, originator: str, later: int, numbers: tuple[int, ...] = (1, 2, 3), **said: object
) -> list[Recording]:
    """Takes of scene 1 by a recorder of that name, some seconds later than the other's."""
    return [
        wav(
            first + number,
            b"%s/T%02d.WAV" % (originator.encode(), number),
            "1",
            str(number),
            MORNING + (60 * number + later) * HZ,
            originator=originator,
            **said,
        )
        for number in numbers
    ]


def test_two_units_whose_cards_come_as_one_source_are_two_recorders():
    """The same scene at the same time, and other tracks: each is held against its own takes."""
    main = unit(0, "main", 0, tracks=names("Mix"))
    second = unit(10, "second", 5, channels=2, tracks=names("Boom", "Lav"))
    assert told(*main, *second) == []


def test_two_units_may_share_the_numbers_of_a_scene():
    """What neither has is missing, and is said once."""
    main, second = unit(0, "main", 0, (1, 3, 5)), unit(10, "second", 5, (2, 4, 6))
    assert told(*main, *second) == []
    (gap,) = told(*unit(0, "main", 0, (1, 3, 5)), *unit(10, "second", 5, (1, 4, 5)))
    assert gap.says == "primary: scene 1 has no take 2."


def test_a_second_source_that_joins_some_takes_misses_none():
    """What the main recorder has of a scene is not missing; what neither has is said once."""
    sources = (*settings().sources, Source("second", Role.PRIMARY, "SND_S*"))
    also = f.LoadSeen(load(3, label="SND_S1", source="second"))

    def said(*numbers: int) -> list[str]:
        own, joined = unit(0, "main", 0, numbers), unit(10, "second", 5, (2, 4))
        files = [*own, *(replace(one, load=3) for one in joined)]
        known = ledger(cards(), [also], taken(*files))
        made = settings(sources=sources)
        return [x.says for x in take_findings(view(known, made), known, made)]

    assert said(1, 2, 3, 4, 5) == []
    assert said(1, 2, 4, 5) == ["primary: scene 1 has no take 3."]


def off_clock(takes: int) -> list[Recording]:
    """Ten takes, and some after a jam that was an hour off."""
    late = [(n, n * 60 + (3600 if n > 10 else 0)) for n in range(1, 11 + takes)]
    return [
        wav(n, b"T%02d.WAV" % n, "1", str(n), MORNING + at * HZ, time=f"09:{n:02}:00")
        for n, at in late
    ]


def test_takes_that_are_alike_in_what_is_odd_are_one_decision():
    """A whole day of them is one for each card, and one take more is another."""
    (found,) = told(*off_clock(3))
    assert (found.code, found.says[:36]) == (
        "timecode-off-clock",
        "SND_A1: 3 takes: its timecode is 60 ",
    )
    assert told(*off_clock(4))[0].id != found.id
    (other,) = told(*THREE, made=settings(expect=Expect(channels=8)))
    assert other.says == (
        "SND_A1: 3 takes: 1 channel, the day is set up for 8: T01.WAV, T02.WAV, T03.WAV."
    )


def test_a_recorder_that_names_itself_otherwise_from_some_take_on_is_one():
    """As with new firmware: their hours lie apart, and a number that comes twice is told."""
    codes = [x.code for x in told(*unit(0, "old", 0), *unit(10, "new", 600))]
    assert codes == ["take-twice"] * 3


def test_each_of_two_units_that_name_no_tracks_is_told():
    both = [*unit(0, "main", 0, channels=2), *unit(10, "second", 5, channels=2)]
    assert [x.says for x in told(*both)] == [
        "primary (main): no take names its tracks.",
        "primary (second): no take names its tracks.",
    ]
