"""The takes of `takehold day`, as rows and as plain data."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from planworld import DAY, cards, ledger, recording, settings, taken
from takehold.cli.day import print_day
from takehold.cli.facts import Row, day_facts
from takehold.cli.take_facts import take_rows
from takehold.decide.judge import judge
from takehold.model.recording import Recording
from takeworld import HZ, MORNING, monos, names, wav


def facts_of(*recordings: Recording) -> Row:
    known = ledger(cards(), taken(*recordings))
    return day_facts(judge(known, DAY, settings()), known)


def printed(*recordings: Recording) -> list[str]:
    with CliRunner().isolation() as (stdout, *_):
        print_day(facts_of(*recordings))
        return stdout.getvalue().decode().splitlines()


SET = monos(1, "12A", "3", MORNING, "Boom", "Lav")
POLY = wav(5, b"S1T2.WAV", "1", "2", MORNING + 60 * HZ, channels=2, circled=True, note="plane",
           tracks=names("Mix", "Boom"))  # fmt: skip
AGAIN = wav(6, b"x_rerec.wav", "12A", "3", MORNING)


def test_a_take_is_one_row_whatever_its_files():
    lines = printed(*SET, POLY, AGAIN)
    head = next(n for n, line in enumerate(lines) if line.split()[:3] == ["card", "scene", "take"])
    rows = [line.split("  ") for line in lines[head + 2 : head + 5]]
    cells = [[cell.strip() for cell in row if cell.strip()] for row in rows]
    assert cells == [
        ["SND_A1", "12A", "3", "09:00:00:00", "10.0 s", "Boom, Lav", "12A-T3_1.wav and 1 more"],
        ["SND_A1", "12A", "3 again", "09:00:00:00", "10.0 s", "x_rerec.wav"],
        ["SND_A1", "1", "2 *", "09:01:00:00", "10.0 s", "Mix, Boom", "S1T2.WAV", "plane"],
    ]


def test_the_files_are_listed_below_each_with_its_copies():
    lines = printed(*SET)
    (head,) = [n for n, line in enumerate(lines) if line.split()[:2] == ["card", "file"]]
    assert "copies" in lines[head]
    assert [line.split()[1] for line in lines[head + 2 : head + 4]] == [
        "12A-T3_1.wav",
        "12A-T3_2.wav",
    ]


def test_programs_get_all_of_it():
    facts = json.loads(json.dumps(facts_of(*SET, POLY, AGAIN)))
    first, second = facts["takes"]
    assert (first["scene"], first["take"], first["start"], first["seconds"]) == (
        *("12A", "3"),
        "09:00:00:00",
        10.0,
    )
    assert (first["files"], first["parts"], first["tracks"]) == (
        ["12A-T3_1.wav", "12A-T3_2.wav"],
        1,
        ["Boom", "Lav"],
    )
    assert [(t["files"], t["rerecorded"]) for t in first["again"]] == [(["x_rerec.wav"], True)]
    assert (second["circled"], second["note"], second["channels"]) == (True, "plane", 2)


def test_files_that_tell_nothing_of_takes_make_no_table_of_them():
    assert take_rows(facts_of(recording(1))["takes"], {1: "SND_A1"}) == []
    assert not any(line.split()[:2] == ["card", "scene"] for line in printed(recording(1)))


@pytest.mark.parametrize(("primary", "count"), [(True, 1), (False, 2)])
def test_a_backup_cards_takes_are_shown_where_no_other_is(primary: bool, count: int):
    backup = [wav(n, b"%d.wav" % n, "1", f"{n}", of=2) for n in (11, 12)]
    lines = printed(*backup, *([POLY] if primary else []))
    (head,) = [n for n, line in enumerate(lines) if line.split()[:2] == ["card", "scene"]]
    rows = lines[head + 2 :]
    until = next(n for n, line in enumerate(rows) if not line.strip())
    assert until == count


def test_text_of_a_card_is_escaped():
    odd = wav(1, b"\x1b.wav", "\x1b[1m", "1", MORNING, note="\u202e", tracks=names("\x07"))
    assert all("\x1b" not in line and "\u202e" not in line for line in printed(odd))


def test_what_kind_of_take_it_is_has_a_column_of_its_own_where_any_is_told():
    """The words of iXML TAKE_TYPE, as people say them."""
    assert not any(" type " in line for line in printed(*SET))
    odd = wav(8, b"S1T3.WAV", "1", "3", MORNING + 120 * HZ, types=("FALSE_START", "X\x1b"))
    lines = printed(POLY, odd)
    assert any(line.split()[:4] == ["card", "scene", "take", "type"] for line in lines)
    assert any("false start, x\\x1b" in line for line in lines)
    (_, entry) = facts_of(POLY, odd)["takes"]
    assert entry["types"] == ["FALSE_START", "X\\x1b"]
    assert entry["derived"] is False


def test_long_names_are_cut_in_the_table_and_whole_beside_it():
    """A million letters are taken of iXML, and not shown."""
    long = wav(8, b"S1T3.WAV", "1" * 50_000, "3", MORNING, tracks=names("B" * 50_000))
    assert sum(map(len, printed(POLY, long))) < 3_000
    (entry, _) = facts_of(POLY, long)["takes"]
    assert (len(entry["scene"]), len(entry["tracks"][0])) == (50_000, 50_000)


def test_what_was_made_from_another_file_says_so():
    poly = wav(5, b"P.WAV", "1", "2", MORNING, channels=2, file_uid="U")
    split = monos(6, "1", "2", MORNING, "Mix", "Boom", parent_uid="U")
    told = facts_of(poly, *split)["takes"]
    assert [(entry["files"][0], entry["derived"]) for entry in told] == [
        ("P.WAV", False),
        ("1-T2_1.wav", True),
    ]
    assert any("derived" in line for line in printed(poly, *split))
