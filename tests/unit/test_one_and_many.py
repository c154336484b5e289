"""How many are told: one file is no `files`, and many findings of one code are one line."""

from __future__ import annotations

from typing import Any

from click.testing import CliRunner

from planworld import (
    DAY,
    cards,
    copied,
    good_day,
    ledger,
    recording,
    revised,
    settings,
    situation,
    taken,
    target,
    view,
)
from takehold.cli.day import print_day
from takehold.cli.facts import day_facts
from takehold.cli.findings import finding_lines
from takehold.decide.alarms import room_alarms
from takehold.decide.card import card_answer
from takehold.decide.check import Around, check
from takehold.decide.judge import judge
from takehold.model import facts as f
from takehold.model.recording import Recording
from takeworld import DRIVES, HZ, MORNING, monos

SHUTTLE = Around(present=(("shuttle-1", "uuid:formatted"),))


def say(code: str, *facts: Any, around: Around = SHUTTLE) -> str:
    known = ledger(*facts)
    found = check(view(known), known, settings(), around)
    (one,) = [x for x in found if x.code == code]
    return one.says


def test_one_file_is_no_files() -> None:
    one, two = [*cards(), *taken(recording())], good_day()
    lacks = "shuttle-1 is there and lacks {} of the day."
    assert say("destination-lacks", one) == lacks.format("1 file")
    assert say("destination-lacks", two) == lacks.format("2 files")
    away = Around(absent=("raid",))
    begin = "The destination raid is not there, or cannot be used; "
    assert say("destination-absent", one, around=away) == begin + "1 file is not on it."
    assert say("destination-absent", two, around=away) == begin + "2 files are not on it."


def other(number: int) -> Recording:
    name = b"X%d.WAV" % number
    return recording(number, name, place=b"Another/2031-05-06/SND_A1/" + name)


def test_one_file_of_another_production_is_no_files() -> None:
    belongs = f"1 file of {DAY} belongs to another production."
    belong = f"2 files of {DAY} belong to another production."
    assert say("other-production", *good_day(), *taken(other(8))) == belongs
    assert say("other-production", *good_day(), *taken(other(8), other(9))) == belong
    for some, says in (
        ((8,), "1 file of this card belongs"),
        ((8, 9), "2 files of this card belong"),
    ):
        known = ledger(good_day(), revised(), taken(*map(other, some)))
        reasons = card_answer(known, known.loads[1], settings()).against_hand_over
        assert f"{DAY}: {says} to another production." in reasons


def test_the_files_of_a_card_that_were_not_looked_at_are_counted() -> None:
    for files, untaken, says in (
        (5, 4, "4 of its 5 files were not looked at yet."),
        (5, 1, "1 of its 5 files was not looked at yet."),
        (1, 1, "its 1 file was not looked at yet."),
    ):
        listed = f.Listed(1, 1, files, (), (), untaken)
        assert say("inventory-incomplete", *good_day(), listed) == f"SND_A1: {says}"


def test_one_file_of_another_day_is_no_files() -> None:
    early = recording(9, b"E.WAV", day="2031-05-05")
    says = say("files-of-other-days", *good_day(), *taken(early))
    assert says == "SND_A1: 1 of its files was recorded on other days: 2031-05-05."


def test_one_file_that_a_full_drive_lacks_is_no_files() -> None:
    full = target("shuttle-1", free=0)
    for files, words in ((1, "1 file that it lacks"), (2, "2 files that it lacks")):
        some = [recording(n, b"T%d.WAV" % n) for n in range(1, files + 1)]
        known = ledger(cards(), taken(*some))
        (alarm,) = room_alarms(known, situation(targets=(full,)), settings(), set()).values()
        assert f"shuttle-1 has no room for {words}: 0 MB are free" in alarm.says


def sets_of_a_scene(takes: int) -> list[Recording]:
    """Monos; two tracks have another name in each take."""
    return [
        file
        for n in range(takes)
        for file in monos(
            10 * n + 1, "1", f"{n + 1}", MORNING + 60 * n * HZ, "Mix", f"Boom {n}", f"Lav {n}"
        )
    ]


def lines(*facts: Any) -> list[str]:
    known = ledger(*facts)
    return list(finding_lines(day_facts(judge(known, DAY, settings()), known), each=False))


def test_findings_about_several_files_each_are_so_many_takes() -> None:
    files = sets_of_a_scene(6)
    (line,) = [x for x in lines(cards(), taken(*files)) if "tracks-changed" in x]
    assert line.endswith(
        "  tracks-changed: 5 takes of SND_A1: track 2 was Boom 0 and is Boom 1, track 3 was Lav 0 "
        "and is Lav 1, in the same scene, or similar: 1-T2_2.wav, 1-T3_2.wav, 1-T4_2.wav, … "
        "(takehold day --all shows each)"
    )


def test_several_findings_about_one_take_count_it_once() -> None:
    """Each is of the same files."""
    facts = day_facts_of(sets_of_a_scene(2))
    (one,) = [x for x in facts["findings"] if x["code"] == "tracks-changed"]
    again = [one | {"id": f"{n}", "says": f"{one['says']} {n}"} for n in range(4)]
    line, _ = finding_lines(facts | {"findings": again}, each=False)
    assert "tracks-changed: 1 take of SND_A1: " in line


def day_facts_of(files: list[Recording]) -> dict[str, Any]:
    known = ledger(cards(), taken(*files))
    return day_facts(judge(known, DAY, settings()), known)


def test_findings_about_a_file_each_are_so_many_files() -> None:
    """A sound report is a file, and no recording."""
    files = [recording(n, b"T%02d.WAV" % n, audio=b"%d" % n) for n in range(10, 15)]
    told = [*cards(), *taken(*files), *(x for r in files for x in copied(r, *DRIVES[:1]))]
    (line,) = [x for x in lines(told) if "copies-short" in x]
    assert "copies-short: 5 files of SND_A1: 1 of 2 proven copies: T10.WAV, " in line


def test_a_day_of_which_nothing_is_known_asks_for_no_wrap() -> None:
    """`takehold wrap` of it would say that there is nothing to close."""
    for facts, hint in (((), False), (good_day(), True)):
        known = ledger(*facts)
        with CliRunner().isolation() as (stdout, *_):
            print_day(day_facts(judge(known, DAY, settings()), known))
            last = stdout.getvalue().decode().splitlines()[-1]
        assert last.startswith("No manifest was written yet.")
        assert (f"takehold wrap {DAY}" in last) is hint
