"""Which recordings of a card a sound report means."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planworld import NOON, cards, ledger, settings, taken, view
from reportworld import ALL, BEFORE, CARD, codes, found, on_card, report
from takehold.decide.check import Around, check
from takehold.decide.departed import GONE
from takehold.model import facts as f
from takehold.model.sound import Kind
from takeworld import wav


def test_the_name_of_a_takes_first_part_stands_for_the_others():
    """A take that was split: its first part without a number."""
    parts = [
        wav(1, b"A/T01.WAV", "7", "1"),
        wav(2, b"A/T01_2.WAV", "7", "1"),
        wav(3, b"A/T02.WAV", "7", "2"),
        wav(4, b"A/T02_2.WAV", "7", "4"),
        wav(5, b"B/T02_2.WAV", "7", "2"),
    ]
    assert codes(*parts[:3], report("T01.WAV", "T02.WAV")) == []
    (told,) = found(*parts, report("T01.WAV", "A/T02.WAV"))
    assert told.says.endswith("in no sound report: A/T02_2.WAV, B/T02_2.WAV.")


def test_a_name_for_each_track_of_a_poly_file():
    """As many as it has channels; else one of them may be a part that is lost."""
    poly = [wav(1, b"T01.WAV", channels=2), wav(2, b"T02.WAV", channels=3)]
    tracks = ("T01_1.WAV", "T01_2.WAV", "T02_1.WAV", "T02_2.WAV")
    assert codes(*poly, report(*tracks, "T02_3.WAV")) == []
    (missing, omits) = found(*poly, report(*tracks))
    assert missing.says.endswith("2 files that are not on that card: T02_1.WAV, T02_2.WAV.")
    assert omits.says.endswith("in no sound report: T02.WAV.")
    (told,) = found(poly[0], report("T01.WAV", "T01_2.WAV", "T01_3.WAV"))
    assert told.code == "report-names-missing"
    (told,) = found(wav(1, b"T01.WAV"), report("T01_1.WAV", "T01_2.WAV"))
    assert told.code == "report-names-missing"


def test_a_row_for_each_track_stands_for_the_poly_file_of_that_name_only():
    """Files that are numbered so are no tracks of it, however many of them lack."""
    stereo = [wav(n, b"X_00%d.WAV" % n, take=str(n), channels=2) for n in (1, 2, 3)]
    names = [f"X_00{n}.WAV" for n in (1, 2, 3, 4, 5)]
    (told,) = found(*stereo, report(*names))
    assert told.says.endswith("names 2 files that are not on that card: X_004.WAV, X_005.WAV.")
    assert codes(*stereo, report(*names[3:])) == ["report-names-missing"]
    part = wav(60, b"T02_1.WAV", channels=2)
    (told,) = found(*CARD, part, report(*ALL, "T02_1.WAV", "T02_2.WAV", "T02_3.WAV"))
    assert told.says.endswith("names 2 files that are not on that card: T02_2.WAV, T02_3.WAV.")
    first = wav(9, b"X.WAV", take="9", channels=2)
    told = found(first, *stereo, report(*names))
    assert [x.code for x in told] == ["report-names-missing", "report-omits"]


TAKES = ("T01.WAV", "T02.WAV", "T03.WAV")


@pytest.mark.parametrize("above", ["", "A:\\", "/Volumes/SND_A1/", "/Volumes/Any/Day 1/"])
def test_names_of_a_folder_that_the_card_lacks_are_none_of_another_folder(above: str):
    """Of two names that would mean one file that one does whose folder it is in."""
    names = [f"{above}{folder}/{name}" for folder in ("SC1", "SC2") for name in TAKES]
    one = on_card(*(f"SC1/{name}".encode() for name in TAKES))
    (told,) = found(*one, report(*names))
    assert told.says.count("SC2/") == 3
    assert "names 3 files that are not on that card" in told.says
    mixes = on_card(*(f"MP3/{name[:-4]}.MP3".encode() for name in TAKES), first=11)
    plain = [name.removesuffix(".WAV") for name in names]
    for listed in (names, plain):
        assert "report-names-missing" in codes(*one, *mixes, report(*listed))
    rows = [f"{above}{folder}/T01_{n}.WAV" for folder in ("SC1", "SC2") for n in (1, 2)]
    (told,) = found(wav(1, b"SC1/T01.WAV", channels=2), report(*rows))
    assert "names 2 files that are not on that card" in told.says
    both = on_card(*(f"{folder}/{name}".encode() for folder in ("SC1", "SC2") for name in TAKES))
    assert codes(*both, report(*names)) == []
    assert codes(*one, report(*names[:3])) == []


def test_a_folder_that_lacks_may_have_a_blank_in_its_name():
    """And more files than are there: they are no log's sentences that end in names."""
    one = on_card(b"Scene 1/T01.WAV", b"Scene 1/T02.WAV")
    names = [f"Scene 2/T0{n}.WAV" for n in (1, 2, 3, 4)]
    for above in ("", "A:\\"):
        listed = [above + name for name in ("Scene 1/T01.WAV", "Scene 1/T02.WAV", *names)]
        (told,) = found(*one, report(*listed))
        assert "names 4 files that are not on that card" in told.says
        stems = [name.removesuffix(".WAV") for name in listed]
        (told,) = found(*one, report(besides=(("Sound", *stems),)))
        assert "names 4 files that are not on that card" in told.says


@pytest.mark.parametrize("place", ["", "SC3/"])
def test_where_no_folder_of_several_agrees_none_is_that_of_the_file(place: str):
    """One of them at least is not there, and which one nobody can tell."""
    files = on_card(*(f"{place}{name}".encode() for name in TAKES))
    names = [f"{folder}/{name}" for folder in ("SC1", "SC2") for name in TAKES]
    (told,) = found(*files, report(*names))
    assert told.code == "report-names-missing"
    assert "names 6 files" in told.says


def test_two_media_of_a_recorder_are_no_two_folders():
    files = on_card(*(f"D/{name}".encode() for name in TAKES))
    media = [f"{medium}:/D/{name}" for medium in ("SSD", "SD") for name in TAKES]
    assert codes(*files, report(*media)) == []


def test_folders_that_tell_no_two_files_apart_are_no_matter():
    """The path of a copy in a column of its own; a path below another; the same one in short."""
    files = on_card(b"D/T01.WAV", b"D/T02.WAV")
    there = ("/Volumes/SND_A1/D/T01.WAV", "/Volumes/SND_A1/D/T02.WAV")
    copies = ("/Volumes/RAID/x/T01.WAV", "/Volumes/RAID/x/T02.WAV")
    assert codes(*files, report(*there, besides=(copies,))) == []
    assert codes(*files, report(*copies, besides=(there,))) == []
    assert codes(*files, report(*there, "D/T01.WAV", "T02.WAV")) == []
    below = on_card(b"D/T01.WAV", b"D/FALSE/T01.WAV", b"D/MP3/T01.MP3")
    names = ("X:/D/T01.WAV", "X:/D/FALSE/T01.WAV", "X:/D/MP3/T01.MP3")
    assert codes(*below, report(*names)) == []
    assert codes(*below, report(*(name[:-4] for name in names))) == []


def test_a_name_that_ends_otherwise_than_the_file_is_not_its_name():
    """A WAVE file that is gone, and the MP3 that the recorder wrote beside it."""
    mixes = on_card(*(b"MP3/S01T0%d.MP3" % n for n in (1, 2, 3)), first=11)
    assert codes(*CARD, *mixes, report(*ALL)) == []
    (told, omits) = found(*CARD[:2], *mixes, report(*ALL))
    assert told.says.endswith("names a file that is not on that card: S01T03.WAV.")
    assert omits.says.endswith("1 recording is in no sound report: MP3/S01T03.MP3.")
    assert "report-names-missing" in codes(*mixes, report(*ALL))
    assert "report-names-missing" in codes(*CARD[:2], *mixes, report(*ALL[:2], "S01T03.WAV*"))
    mp3 = tuple(name.replace("WAV", "MP3") for name in ALL)
    (told,) = found(*mixes, report(*ALL, besides=(mp3,)))
    assert told.says.endswith(f"names 3 files that are not on that card: {', '.join(ALL)}.")
    stems = [name.removesuffix(".WAV") for name in ALL]
    assert codes(*CARD[:2], *mixes, report(*stems)) == []
    kept = on_card(b"DAY01/S01T03.FLAC", first=50)
    assert "report-names-missing" in codes(*CARD[:2], *kept, report(*ALL))
    kept = on_card(b"DAY01/S01T03.bwf", first=50)
    assert codes(*CARD[:2], *kept, report(*ALL)) == []


def test_names_of_mp3s_are_those_of_the_wave_files_of_a_card_that_has_no_mp3():
    """Unless the table has both."""
    mp3 = [name.replace("WAV", "mp3") for name in ALL]
    assert codes(*CARD, report(*mp3)) == []
    assert codes(*CARD, report(*ALL, *mp3)) == ["report-names-missing"]
    mixes = on_card(b"MP3/S01T01.MP3", b"MP3/S01T02.MP3", first=11)
    (told,) = found(*CARD, *mixes, report(*ALL, *mp3))
    assert told.says.endswith("names a file that is not on that card: S01T03.mp3.")


def test_the_mp3_of_a_set_of_files_takes_no_name_from_it():
    """`T01.WAV` for the files of a take, and the mix of them that has that name."""
    files = [wav(n, b"D/T01_%d.WAV" % n, "1", "1", family_uid="F", total_files=2) for n in (1, 2)]
    mix = on_card(b"MP3/T01.MP3", first=9)
    assert codes(*files, *mix, report("T01.WAV", "T01.MP3")) == []
    assert codes(*files, *mix, report("T01.WAV")) == []
    assert "report-names-missing" in codes(*mix, report("T01.WAV", "T01.MP3"))


def test_a_folder_that_the_card_has_tells_which_file_is_meant():
    """A card that was not cleared, with a folder a day and names that begin anew."""
    old = [replace(r, day=BEFORE) for r in on_card(b"05/T01.WAV", b"05/T02.WAV", first=11)]
    (told,) = found(*old, *on_card(b"06/T01.WAV"), report("A:\\06\\T01.WAV", "A:\\06\\T02.WAV"))
    assert told.says.endswith("not on that card: A:\\\\06\\\\T02.WAV.")
    below = on_card(b"06/ROLL1/T01.WAV", b"06/ROLL1/T02.WAV")
    assert codes(*below, report("06/T01.WAV", "X/T02.WAV")) == []


@pytest.mark.parametrize("ending", ["", ".WAV"])
def test_a_report_in_a_folder_whose_names_begin_anew_means_that_folders_files(ending: str):
    """A report for each scene, without folders in its names; or a card that was not cleared."""
    files = on_card(*(f"SC1/{name}".encode() for name in TAKES))
    second = on_card(*(f"SC2/{name}".encode() for name in TAKES), first=11)
    names = [name.replace(".WAV", ending) for name in TAKES]
    papers = [report(*names, number=90 + n, path=b"SC%d/REPORT.CSV" % n) for n in (1, 2)]
    assert codes(*files, *second, *papers) == []
    for lost in second:
        left = [file for file in second if file is not lost]
        (told,) = found(*files, *left, *papers)
        name = lost.path.decode().removeprefix("SC2/").replace(".WAV", ending)
        assert told.says.endswith(f"names a file that is not on that card: {name}.")


@pytest.mark.parametrize("path", ["T03/T03.WAV", "MIX/T03.WAV", "T03.WAV"])
def test_the_file_of_another_reports_folder_is_none_of_this_one(path: str):
    """Whatever folders lie below it; its MP3, if that is here, is another file."""
    first, second = (
        on_card(
            b"SC%d/T01.WAV" % n, b"SC%d/T02.WAV" % n, b"SC%d/" % n + path.encode(), first=10 * n
        )
        for n in (1, 2)
    )
    mp3s = on_card(b"SC1/MP3/T03.MP3", b"SC2/MP3/T03.MP3", first=31) if path == TAKES[2] else []
    papers = [report(*TAKES, number=90 + n, path=b"SC%d/REPORT.CSV" % n) for n in (1, 2)]
    assert codes(*first, *second, *mp3s, *papers) == []
    (told, *_) = found(*first, *second[:2], *mp3s, *papers)
    assert told.says.endswith("names a file that is not on that card: T03.WAV.")
    (told, *_) = found(*first, *second[:2], *mp3s, report("T01.WAV", f"SC2/{path}"))
    assert told.says.endswith(f"names a file that is not on that card: SC2/{path}.")


def test_a_report_in_a_folder_may_list_the_others_too():
    """Where no name begins anew, as beside MP3s, which are other files."""
    files = on_card(b"SC1/T01.WAV", b"SC2/T02.WAV")
    for mp3 in on_card(b"MP3/T01.MP3", b"MP3/T02.MP3", first=21):
        files.append(replace(mp3, description=replace(mp3.description, kind=Kind.COMPRESSED)))
    for names in (TAKES[:2], ("T01", "T02")):
        assert codes(*files, report(*names, path=b"SC1/REPORT.CSV")) == []
    more = on_card(b"SC2/T01.WAV", first=11)
    for names in (("T01.WAV", "SC2/T02.WAV"), ("SC1/T01.WAV", "SC2/T01.WAV", "T02.WAV")):
        told = codes(*files, *more, report(*names, path=b"SC1/REPORT.CSV"))
        assert "report-names-missing" not in told
    assert codes(*files, *more, report("T01.WAV", "T02.WAV", path=b"PAPERS/REPORT.CSV")) == []


def test_a_name_of_before_is_none_that_is_missing():
    """The recorder's own names stand beside those that the files were given since."""
    old, new = ("A_1.WAV", "A_2.WAV", "A_3.WAV"), ALL
    assert codes(*CARD, report(*old, besides=(new,))) == []
    assert codes(*CARD, report(*new, besides=(old,))) == []
    (told,) = found(*CARD[:2], report(*old, besides=(new,)))
    assert told.says.endswith("names a file that is not on that card: S01T03.WAV.")
    some = (*old[:2], new[2])  # one has its own name still
    assert codes(*CARD, report(*some, besides=(new,))) == []
    more = (*new, "S01T04.WAV")  # of a row without one of its own
    assert codes(*CARD, report(*new, besides=(more,))) == ["report-names-missing"]
    (told,) = found(*CARD[:1], report("A_1.WAV", besides=(ALL[:1],)), good=True)
    assert told.code == "report-agrees"


def test_a_set_has_a_column_for_each_of_its_files():
    files = on_card(b"T1_1.WAV", b"T1_2.WAV", b"T2_1.WAV", b"T3_1.WAV", b"T3_2.WAV")
    second = ("T1_2.WAV", "T2_2.WAV", "T3_2.WAV")
    (told,) = found(*files, report("T1_1.WAV", "T2_1.WAV", "T3_1.WAV", besides=(second,)))
    assert told.says.endswith("names a file that is not on that card: T2_2.WAV.")
    first = ("T1_1.WAV", "T2_1.WAV", "T3_1.WAV")
    files = on_card(b"T1_1.WAV", b"T1_2.WAV", b"T2_1.WAV", b"T2_2.WAV", b"T3_2.WAV")
    (told,) = found(*files, report(*first, besides=(second,)))
    assert told.says.endswith("names a file that is not on that card: T3_1.WAV.")
    (told,) = found(*CARD, report("X1.WAV", besides=(("X2.WAV",), ("1",))))
    assert told.says.endswith("names 2 files that are not on that card: X1.WAV, X2.WAV.")


def test_the_card_tells_which_column_has_the_names():
    """Under a head that nobody knows, or beside one that numbers the files."""
    stems = ("S01T01", "S01T02", "S01T09")
    for listed in ((), ("1", "2", "3")):
        told = found(*CARD, report(*listed, besides=(("Scene", "1"), ("Sound", *stems))))
        assert [x.code for x in told] == ["report-names-missing", "report-omits"]
        assert told[0].says.endswith("names a file that is not on that card: S01T09.")
    assert codes(*CARD, report(besides=(("Sound", "S01T01"), ("Notes", "dog", "plane")))) == []
    assert codes(*CARD, report(besides=(("S01T01",), ("dog",)))) == []


def test_totals_and_signatures_are_no_names_without_ending():
    """Unlike those of the card, they have no digit, or a blank."""
    assert codes(*CARD, report("S01T01", "S01T02", "S01T03", "Total 3", "Signed", "Day 7")) == []
    files = on_card(b"River 1.WAV", b"Wood.WAV")
    (told,) = found(*files, report("River 1", "Wood", "Rain", "9"))
    assert told.says.endswith("names a file that is not on that card: Rain.")


@pytest.mark.parametrize("remark", ["Not recorded: S01T04.WAV", "rolled? S01T04.WAV"])
def test_a_remark_that_ends_in_a_name_is_not_missing(remark: str):
    """No card takes its marks in a file's name; one that is there counts all the same."""
    assert codes(*CARD, report(*ALL, remark)) == []
    assert codes(*CARD, report(*ALL, "S01T04.WAV", remark)) == ["report-names-missing"]
    there = on_card(remark.encode(), first=50)
    assert codes(*CARD, *there, report(*ALL, remark)) == []


def test_what_was_deleted_on_the_card_is_told_and_left_out_by_none():
    """Copied at lunch and deleted in the recorder since: its report is right either way."""
    lost = CARD[2].path
    (told,) = found(*CARD, report(*ALL), good=True, gone=(lost,))
    assert told.code == "report-agrees"
    assert told.says.endswith(
        "all 2 recordings it names are there. It names a recording that was renamed or deleted on "
        "its card after being copied: DAY01/S01T03.WAV."
    )
    (told,) = found(*CARD, report(*ALL[:2]), good=True, gone=(lost,))
    assert told.says.endswith("its card: all 2 recordings it names are there.")
    (told,) = found(*CARD, report(ALL[2]), good=True, gone=(lost,))
    assert "none of what it names is there. It names a recording" in told.says


def test_a_report_that_was_replaced_counts_no_more():
    whole, less = report(*ALL), report(*ALL[:2], number=91, path=b"FINAL.CSV")
    assert codes(*CARD, whole, less) == []
    (told,) = found(*CARD, whole, less, gone=(whole.path,))
    assert told.code == "report-omits"
    (told,) = found(*CARD, report(*ALL, "X.WAV"), gone=tuple(r.path for r in CARD))
    assert told.code == "report-names-missing"
    cleared = (whole.path, *(r.path for r in CARD))
    (told,) = found(*CARD, whole, good=True, gone=cleared)
    assert told.code == "report-agrees"


def test_what_was_renamed_on_the_card_is_listed_by_its_name_of_before():
    old = CARD[2]
    new = replace(old, id=50, path=b"DAY01/S02T01.WAV", place=old.place + b"2")
    (told,) = found(*CARD, new, report(*ALL), good=True, gone=(old.path,))
    assert told.code == "report-agrees"
    assert "all 3 recordings it names are there. It names a recording that was renamed" in told.says


def test_a_report_is_a_document_whatever_its_ending():
    """It is not looked for on the backup card, and is no recording of the day."""
    backup = [replace(r, id=r.id + 20, load=2) for r in CARD]
    paper = report(*ALL, path=b"DAY.ALE")
    facts = [*cards(), *taken(*CARD, *backup, paper)]
    told = check(view(ledger(facts)), ledger(facts), settings(), Around())
    assert "backup-unknown" not in {x.code for x in told if x.recording == paper.id}
    gone = f.Listed(1, NOON, len(CARD), (), (f.Skip(paper.path, GONE),))
    told = check(view(ledger(facts, [gone])), ledger(facts, [gone]), settings(), Around())
    assert "backup-unknown" not in {x.code for x in told if x.recording == paper.id}
    early = [replace(r, day=BEFORE) for r in CARD]
    facts = [*cards(), *taken(*early, paper)]
    told = check(view(ledger(facts)), ledger(facts), settings(), Around())
    assert "nothing-seen" in {x.code for x in told}
