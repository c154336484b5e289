"""A sound report that lists a whole day, whose recordings lie on several cards."""

from __future__ import annotations

import pytest

from planworld import cards, copied, ledger, load, settings, taken, view
from reportworld import ALL, on_card, report
from takehold.decide.check import Around, check
from takehold.formats.names import shown
from takehold.model import facts as f
from takehold.model.finding import Finding
from takehold.model.recording import Recording
from takehold.model.settings import Role
from takeworld import DRIVES, HZ, wav
from takeworld import MORNING as EIGHT

MORNING = on_card(b"DAY01/S01T01.WAV", b"DAY01/S01T02.WAV")
EVENING = on_card(b"DAY01/S01T03.WAV", b"DAY01/S01T04.WAV", of=3, first=11)
WHOLE_DAY = (*ALL, "S01T04.WAV")


def of_day(
    *recordings: Recording, role: Role = Role.PRIMARY, source: str = "primary"
) -> list[Finding]:
    """A day on which the recorder's card was changed at lunch: its second card is load 3."""
    second = load(3, role, identity="uuid:SND_A2", label="SND_A2", folder=b"SND_A2", source=source)
    facts = [*cards(), f.LoadSeen(second), *taken(*recordings)]
    facts += [x for r in recordings for x in copied(r, *DRIVES)]
    known = ledger(facts)
    told = check(view(known), known, settings(), Around())
    return [x for x in told if x.code.startswith("report-")]


@pytest.mark.parametrize("source", ["primary", "second-roll"])
def test_a_report_of_the_whole_day_lists_the_first_card_too(source: str):
    """The card was changed at lunch, and the report on the second one lists both (no source)."""
    (told,) = of_day(*MORNING, *EVENING, report(*WHOLE_DAY, of=3), source=source)
    assert (told.code, told.severity) == ("report-agrees", "note")
    assert told.says == (
        "SND_A2/REPORT.CSV is a sound report and was compared with the day's cards: all 4 "
        "recordings it names are there, of them 2 on SND_A1."
    )


@pytest.mark.parametrize("folders", [("ROLL1", "ROLL2"), ("SND_A1", "SND_A2")])
def test_names_that_begin_anew_on_the_second_card_are_told_apart_by_folder_or_label(
    folders: tuple[str, str],
):
    names = ("T01.WAV", "T02.WAV")
    on = ["" if folder.startswith("SND") else f"{folder}/" for folder in folders]
    first = on_card(*(f"{on[0]}{name}".encode() for name in names))
    second = on_card(*(f"{on[1]}{name}".encode() for name in names), of=3, first=11)
    whole = report(*(f"{folder}/{name}" for folder in folders for name in names), of=3)
    (told,) = of_day(*first, *second, whole)
    assert told.says.endswith("all 4 recordings it names are there, of them 2 on SND_A1.")
    (told,) = of_day(*first[:1], *second, whole)
    assert f"not on that card: {folders[0]}/T02.WAV;" in told.says


@pytest.mark.parametrize("above", ["", "A:\\", "D/"])
def test_a_card_that_was_changed_within_a_folder_has_its_first_files(above: str):
    """Names begin anew in each scene's folder; SC2 is on both cards."""
    on = "" if above == "A:\\" else above
    morning = [b"SC1/T01.WAV", b"SC1/T02.WAV", b"SC2/T01.WAV", b"SC2/T02.WAV"]
    evening = [b"SC2/T03.WAV", b"SC3/T01.WAV"]
    first = on_card(*(on.encode() + path for path in morning))
    second = on_card(*(on.encode() + path for path in evening), of=3, first=11)
    names = [f"{above}{path.decode()}" for path in (*morning, *evening)]
    (told,) = of_day(*first, *second, report(*names, of=3))
    assert told.says.endswith("all 6 recordings it names are there, of them 4 on SND_A1.")
    (told,) = of_day(*first[:3], *second, report(*names, of=3))
    assert f"not on that card: {shown(names[3])}; of others" in told.says
    (told,) = of_day(*first, *second[1:], report(*names, of=3))
    assert f"not on that card: {shown(names[4])}; of others" in told.says
    bare = [f"T0{n}.WAV" for n in (1, 2, 3, 4)]
    four = on_card(b"SC1/T04.WAV", first=21)
    assert "report-names-missing" in {
        x.code for x in of_day(*first, *four, *second, report(*bare, of=3))
    }


def test_two_recorders_with_a_folder_of_the_day_are_told_apart_by_no_path():
    """What one of them lost the other has by the same path."""
    ours = on_card(b"D/T01.WAV", b"D/T02.WAV", b"D/T03.WAV")
    theirs = on_card(b"D/T01.WAV", b"D/T02.WAV", of=3, first=11)
    told = of_day(*ours, *theirs, report("D/T01.WAV", "D/T02.WAV", "D/T03.WAV", of=3))
    assert "not on that card: D/T03.WAV" in told[0].says


def test_what_is_on_no_card_of_the_day_is_missing_still():
    (told,) = of_day(*MORNING, *EVENING, report(*WHOLE_DAY, "S01T05.WAV", of=3))
    assert told.says == (
        "SND_A2/REPORT.CSV is a sound report and names a file that is not on that card: "
        "S01T05.WAV; of others that it names are 2 on SND_A1."
    )


def test_a_report_of_the_whole_day_may_leave_out_what_is_on_the_first_card():
    """A recording that a report on any of the recorder's cards lists is not left out."""
    listing_less = report("S01T01.WAV", "S01T03.WAV", "S01T04.WAV", of=3)
    told = {x.code: x for x in of_day(*MORNING, *EVENING, listing_less)}
    assert (
        told["report-omits"].says == "SND_A1: 1 recording is in no sound report: DAY01/S01T02.WAV."
    )
    at_lunch = report("S01T01.WAV", number=91)
    told = {x.code: x for x in of_day(*MORNING, *EVENING, at_lunch, report(*WHOLE_DAY, of=3))}
    assert "report-omits" not in told


def test_a_report_of_one_of_two_cards_says_nothing_of_the_other():
    told = of_day(*MORNING, *EVENING, report("S01T03.WAV", "S01T04.WAV", of=3))
    assert [x.code for x in told] == ["report-agrees"]


def test_another_cards_file_of_a_name_that_both_have_is_not_the_one_that_is_missing():
    """Two recorders that name their files alike: which one is meant, a name does not tell."""
    other = on_card(b"DAY01/S01T01.WAV", b"DAY01/S01T02.WAV", of=3, first=11)
    both = on_card(b"DAY01/S01T01.WAV", b"DAY01/S01T02.WAV", b"DAY01/S01T03.WAV")
    codes_of = {x.code for x in of_day(*both, *other, report(*ALL, of=3))}
    assert "report-names-missing" in codes_of


def test_a_backup_card_does_not_hold_what_a_primary_one_lacks():
    told = of_day(*MORNING, *EVENING, report(*WHOLE_DAY, of=3), role=Role.BACKUP, source="backup")
    assert {x.code for x in told} == {"report-names-missing"}


def test_the_mp3s_beside_the_recordings_of_another_card_are_not_counted():
    mixes = on_card(b"MP3/S01T01.MP3", b"MP3/S01T02.MP3", first=31)
    (told,) = of_day(*MORNING, *mixes, *EVENING, report(*WHOLE_DAY, of=3))
    assert told.says.endswith("all 4 recordings it names are there, of them 2 on SND_A1.")


def test_the_isos_on_another_card_do_not_stand_for_a_mix_that_lacks():
    """The table has a row for each of the three."""
    names = [f"T{t}{end}.WAV" for t in (1, 2, 3) for end in ("", "_1", "_2")]
    files = [
        wav(n, name.encode(), "1", name[1], EIGHT + int(name[1]) * 60 * HZ, of=1 if n < 6 else 3)
        for n, name in enumerate(names)
    ]
    assert [x.code for x in of_day(*files, report(*names, of=3))] == ["report-agrees"]
    (told,) = of_day(*files[:3], *files[4:], report(*names, of=3))
    assert "names a file that is not on that card: T2.WAV; of others" in told.says


def test_a_folder_of_the_same_take_on_another_card_is_not_that_of_a_path():
    """Each scene has its takes' folders."""
    names = [f"SC{scene}/T{t}/T{t}.WAV" for scene in (1, 2) for t in (1, 2, 3)]
    first = on_card(*(name.encode() for name in names[:3]))
    second = on_card(*(name.encode() for name in names[3:]), of=3, first=11)
    (told,) = of_day(*first, *second, report(*names, of=3))
    assert told.code == "report-agrees"
    (told,) = of_day(*first, *second[:2], report(*names, of=3))
    assert "names a file that is not on that card: SC2/T3/T3.WAV; of others" in told.says
