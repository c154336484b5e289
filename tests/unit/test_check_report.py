"""A sound report on a card against what is on that card."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planworld import DAY, NOON, cards, copied, ledger, settings, taken, target, view
from reportworld import ALL, BEFORE, CARD, codes, found, on_card, report
from takehold.adapters.plain import dumps, loads
from takehold.decide.check import Around, check
from takehold.decide.judge import judge
from takehold.decide.manifest import Writer, document, revision
from takehold.formats.canonical import canonical
from takehold.formats.manifest_doc import read_manifest
from takehold.model.recording import Recording
from takehold.model.sound import Description, Kind
from takeworld import DRIVES, wav


def noted(*recordings: Recording) -> list[str]:
    """What is said of a report's content that agrees, or was not looked at."""
    facts = [*cards(), *taken(*recordings), *(x for r in recordings for x in copied(r, *DRIVES))]
    told = check(view(ledger(facts)), ledger(facts), settings(), Around())
    return [x.says for x in told if x.code in ("content-not-looked-at", "report-agrees")]


@pytest.mark.parametrize(
    "names",
    [
        ALL,
        tuple(name.lower() for name in ALL),
        tuple(name.removesuffix(".WAV") for name in ALL),
        tuple(f"DAY01/{name}" for name in ALL),
        tuple(f"A:\\DAY01\\{name}" for name in ALL),
        tuple(f"/Volumes/SND_A/DAY01/{name}" for name in ALL),
        tuple(name.replace(".WAV", ".mp3") for name in ALL),
    ],
)
def test_a_report_that_lists_what_is_there_is_no_finding(names: tuple[str, ...]):
    assert codes(*CARD, report(*names)) == []


def test_a_report_that_agrees_is_said_to_have_been_compared():
    (told,) = found(*CARD, report(*ALL), good=True)
    assert (told.code, told.severity, told.recording) == ("report-agrees", "note", 90)
    (says,) = noted(*CARD, report(*ALL))
    assert says == told.says
    assert says.endswith("was compared with its card: all 3 recordings it names are there.")
    assert [x.code for x in found(*CARD, report(ALL[0]), good=True)] == [
        "report-omits",
        "report-agrees",
    ]


def test_of_a_report_nobody_says_that_it_was_not_looked_at():
    """A table that is no report was not compared with anything, and that is said."""
    assert noted(*CARD, report(*ALL, "X.WAV")) == []
    (says,) = noted(*CARD, report("colour", "gain"))
    assert says.endswith("its content was not looked at.")


def test_a_report_of_another_day_is_said_to_be_one_in_its_own() -> None:
    """It was copied the day before the last recording that it lists."""
    early = replace(report(*ALL, "X.WAV"), day=BEFORE)
    early = replace(early, place=early.place.replace(DAY.encode(), BEFORE.encode()))
    assert codes(*CARD, early) == ["report-names-missing"]
    facts = [*cards(), *taken(*CARD, early)]
    told = check(view(ledger(facts), day=BEFORE), ledger(facts), settings(), Around())
    mine = {x.code: x.says for x in told if x.recording == early.id}
    assert "content-not-looked-at" not in mine
    assert mine["report-of-other-day"] == (
        f"SND_A1/REPORT.CSV is a sound report of {DAY}: what it names is compared in that day."
    )


def test_a_report_of_a_night_is_compared_in_the_nights_day() -> None:
    """The MP3s beside its takes tell no date: they are of the morning when the card came."""
    night = [replace(recording, day=BEFORE) for recording in CARD]
    mixes = [wav(n, b"MP3/S01T0%d.MP3" % (n - 10), date="") for n in (11, 12, 13)]
    mp3 = [name.replace("WAV", "MP3") for name in ALL]
    for names in (ALL, [name.removesuffix(".WAV") for name in ALL], [*ALL, *mp3]):
        paper = report(*names, names[0].replace("01T01", "01T04"))
        assert codes(*night, *mixes, paper, day=BEFORE) == ["report-names-missing"]
        assert codes(*night, *mixes, paper) == ["report-of-other-day"]
    assert codes(*mixes, report(*mp3, "S01T04.MP3")) == ["report-names-missing"]


@pytest.mark.parametrize("begin", ["REC START /DAY01/", "Start: /ROLL1/", "closed \\DAY01\\"])
def test_a_log_in_columns_whose_sentences_end_in_paths_is_no_report(begin: str):
    """A word and a blank before a path; a volume's name may have a blank within it."""
    log = report(*(begin + name for name in ALL), number=91, path=b"LOG.CSV")
    assert found(*CARD, log, good=True) == []
    assert codes(*CARD, log, report(*ALL[:1])) == ["report-omits"]
    volume = report(*(f"SND CARD/DAY01/{name}" for name in ALL[:2]))
    assert codes(*CARD, volume) == ["report-omits"]


LOG = ("10:00:00 start rec S01T01.WAV", "10:01:00 start rec S01T02.WAV", "10:02:00 deleted X.WAV")


@pytest.mark.parametrize("names", [LOG, ("start rec X.WAV", "start rec Y.WAV")])
def test_a_log_of_sentences_is_no_report(names: tuple[str, ...]):
    """Each ends in a file's name, on this card or not."""
    assert found(*CARD, report(*names, loosely=True), good=True) == []


PATHS = tuple(f"10:00:00 REC START /DAY01/{name}" for name in ALL)


def test_a_log_of_paths_is_no_report_and_hides_none():
    """What stands before the path is no folder of the card; a folder's name may have blanks."""
    log = report(*PATHS, number=91, path=b"LOG.TXT", loosely=True)
    assert found(*CARD, log, good=True) == []
    assert codes(*CARD, log, report(*ALL[:1])) == ["report-omits"]
    files = on_card(b"DAY 01/S01T01.WAV", b"DAY 01/S01T02.WAV")
    assert codes(*files, report("DAY 01/S01T01.WAV", loosely=True)) == ["report-omits"]


def test_a_log_in_columns_is_none_either_where_it_names_a_file_of_the_card():
    assert found(*CARD, report(*LOG), good=True) == []
    assert codes(*CARD, report("take 1.wav", "take 2.wav")) == ["report-names-missing"]


def test_names_with_blanks_are_names_where_most_of_them_are_on_the_card():
    files = on_card(b"S01 T01.WAV", b"S01 T02.WAV")
    for loosely in (True, False):
        names = ("S01 T01.WAV", "S01 T02.WAV")
        assert codes(*files, report(*names, loosely=loosely)) == []
        missing = report(*names, "S01 T03.WAV", loosely=loosely)
        assert codes(*files, missing) == ["report-names-missing"]


def test_a_log_beside_names_takes_none_of_them_away():
    names = (*ALL, *LOG, "S01T09.WAV")
    (told,) = found(*CARD, report(*names, loosely=True))
    assert told.says.endswith("names a file that is not on that card: S01T09.WAV.")


def test_a_day_of_papers_alone_asks_for_no_cards():
    """A report that was written after midnight; that nothing was recorded then a person says."""
    early = [replace(r, day=BEFORE) for r in CARD]
    facts = [*cards(), *taken(*early, report(*ALL))]
    told = {x.code: x for x in check(view(ledger(facts)), ledger(facts), settings(), Around())}
    assert told.keys().isdisjoint({"backup-not-seen", "primary-not-seen", "source-not-seen"})
    assert told["nothing-seen"].severity == "look"
    assert told["nothing-seen"].says == f"No recording of {DAY} was seen, only 1 document."
    assert judge(ledger(facts), DAY, settings(), Around()).verdict == "HOLD"
    assert "backup-not-seen" in {
        x.code for x in check(view(ledger(facts), day=BEFORE), ledger(facts), settings(), Around())
    }


def test_what_it_names_and_is_not_there():
    (told,) = found(*CARD, report(*ALL, "S01T04.WAV", "\x1b[2J.WAV"))
    assert (told.code, told.severity, told.recording) == ("report-names-missing", "look", 90)
    assert told.says == (
        "SND_A1/REPORT.CSV is a sound report and names 2 files that are not on that card: "
        "S01T04.WAV, \\x1b[2J.WAV."
    )
    (told,) = found(*CARD, report(*ALL, *(f"X{n}.WAV" for n in range(9))))
    assert told.says.endswith("names 9 files that are not on that card: "
                              "X0.WAV, X1.WAV, X2.WAV, X3.WAV, X4.WAV and 4 more.")  # fmt: skip


def test_what_is_there_and_it_does_not_name():
    (told,) = found(*CARD, report(*ALL[:1]))
    assert (told.code, told.severity, told.load) == ("report-omits", "look", 1)
    assert told.says == (
        "SND_A1: 2 recordings are in no sound report: DAY01/S01T02.WAV, DAY01/S01T03.WAV."
    )


def test_two_reports_list_the_card_together():
    halves = (report(ALL[0]), report(*ALL[1:], number=91, path=b"TWO.TSV"))
    assert codes(*CARD, *halves) == []


def test_a_table_that_names_none_of_the_card_is_a_report_if_it_names_audio():
    assert codes(*CARD, report("X1.WAV", "X2.WAV")) == ["report-names-missing"]
    assert codes(*CARD, report("X1.WAV")) == []
    assert codes(*CARD, report("colour", "gain", "low cut")) == []


def test_a_table_without_endings_that_names_one_recording_is_a_report():
    assert codes(*CARD, report("S01T01", "S01T02", "S01T03", "S01T04")) == ["report-names-missing"]


def test_what_has_no_ending_among_names_that_have_one_is_never_missing():
    assert codes(*CARD, report(*ALL[:2], "S01T03", "3 files")) == []


def test_no_report_no_finding():
    assert codes(*CARD) == []
    assert codes(*CARD, report()) == []


def test_each_card_is_compared_with_its_own_reports():
    backup = on_card(*(r.path for r in CARD[:2]), of=2, first=11)
    assert codes(*CARD, *backup, report(*ALL)) == []
    assert codes(*CARD, *backup, report(*ALL, of=2)) == ["report-names-missing"]


def test_one_name_in_two_folders():
    twins = on_card(b"A/T01.WAV", b"B/T01.WAV")
    assert codes(*twins, report("T01.WAV", "T01.WAV")) == []
    (told,) = found(*twins, report("A/T01.WAV"))
    assert "report-omits" in told.code
    assert "B/T01.WAV" in told.says
    assert codes(*twins, report("C:\\elsewhere\\T01.WAV")) == []


def test_a_takes_name_stands_for_all_files_of_its_set():
    files = on_card(b"12A-T03_1.WAV", b"12A-T03_2.WAV", b"12A-T04_1.WAV")
    assert codes(*files, report("12A-T03", "12A-T04.WAV")) == []
    assert codes(*files, report("12A-T03")) == ["report-omits"]
    assert codes(*files, report("12A-T03_1.WAV", "12A-T04_1.WAV")) == ["report-omits"]


def test_a_report_is_told_of_in_the_newest_day_that_it_lists():
    """Yesterday's report says nothing of today's recordings, and today's nothing of yesterday."""
    old = [replace(r, id=r.id + 20, day=BEFORE, path=b"OLD/" + r.path) for r in CARD]
    old = [replace(r, place=r.place.replace(DAY.encode(), BEFORE.encode())) for r in old]
    theirs = report("OLD/DAY01/S01T01.WAV", "GONE.WAV")
    theirs = replace(theirs, day=BEFORE)
    assert codes(*old, *CARD, theirs) == []
    told = found(*old, *CARD, theirs, day=BEFORE)
    assert [x.code for x in told] == ["report-names-missing", "report-omits"]
    ours = report(*(f"DAY01/{name}" for name in ALL), "GONE.WAV")
    assert codes(*old, *CARD, replace(ours, day=BEFORE)) == ["report-names-missing"]
    assert codes(*old, *CARD, replace(ours, day=BEFORE), day=BEFORE) == ["report-of-other-day"]


def test_only_the_newest_version_of_a_report_counts():
    older = report(*ALL, "GONE.WAV")
    newer = replace(report(*ALL, number=91), version=2)
    assert codes(*CARD, older, newer) == []


def test_a_card_that_was_not_seen_whole_yet_is_not_weighed():
    assert found(*CARD, report(*ALL, "S01T04.WAV"), untaken=1) == []


def test_a_decision_covers_the_names_of_then():
    (one,) = found(*CARD, report(*ALL, "X.WAV"))
    (same,) = found(*CARD, report("X.WAV", *ALL))
    (other,) = found(*CARD, report(*ALL, "X.WAV", "Y.WAV"))
    assert one.covers == same.covers != other.covers


def test_the_list_is_kept_in_the_catalogue():
    """And a description of before there were lists is read as one without."""
    said = Description(Kind.OTHER, listed=("a.wav", "\u00e9.wav", "\u2028"))
    assert loads(Description, dumps(said)) == said
    old = dumps(Description(Kind.OTHER)).replace(',"listed":[]', "")
    assert "listed" not in old
    assert loads(Description, old) == Description(Kind.OTHER)


def test_the_manifest_does_not_hold_the_list():
    """A catalogue that was rebuilt from it knows no lists, and says nothing of reports."""
    known = ledger(cards(), taken(*CARD, report(*ALL, "X.WAV")))
    doc = document(judge(known, DAY, settings()), known, settings(), (target(),), Writer("a", "b"))
    raw = canonical(revision(doc, 1, NOON, None))
    assert read_manifest(raw).refused == ()
    assert b"listed" not in raw


def test_of_a_report_that_agrees_its_names_are_counted():
    """And no MP3s beside them, nor names of one file twice, nor tracks of it."""
    mixes = on_card(*(b"MP3/S01T0%d.MP3" % n for n in (1, 2, 3)), first=11)
    (says,) = noted(*CARD, *mixes, report(*ALL))
    assert says.endswith("its card: all 3 recordings it names are there.")
    paths = tuple(f"DAY01/{name}" for name in ALL)
    (says,) = noted(*CARD, *mixes, report(*ALL, besides=(paths,)))
    assert says.endswith("its card: all 3 recordings it names are there.")
    mp3 = tuple(name.replace("WAV", "MP3") for name in ALL)
    (says,) = noted(*CARD, *mixes, report(*ALL, *mp3))
    assert says.endswith("its card: all 6 recordings it names are there.")
