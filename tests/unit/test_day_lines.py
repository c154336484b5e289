"""cli/day and cli/findings: a day as it is printed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from click.testing import CliRunner

from planworld import (
    cards,
    copied,
    good_day,
    ledger,
    load,
    recording,
    revised,
    settings,
    taken,
    target,
)
from takehold.cli.day import load_names, print_day
from takehold.cli.facts import day_facts
from takehold.cli.findings import finding_lines
from takehold.cli.tables import PIPE_WIDTH, count, length, table
from takehold.decide.judge import judge
from takehold.model import facts as f
from takehold.model.recording import Recording
from takehold.model.settings import Role
from takehold.model.sound import Complaint

DAY = "2031-05-06"
DRIVES = (target("shuttle-1"), target("shuttle-2"))


def facts_of(*facts):
    """What is known of the day, as it is printed."""
    known = ledger(*facts)
    return day_facts(judge(known, DAY, settings()), known)


def lonely(number: int) -> list[f.Fact]:
    """Takes of the primary card that the backup card lacks."""
    files = [recording(n, b"T%02d.WAV" % n, audio=b"take %d" % n) for n in range(10, 10 + number)]
    return [fact for r in files for fact in (*taken(r), *copied(r, *DRIVES))]


def printed(facts, **options) -> list[str]:
    """The lines of `takehold day`."""
    out = CliRunner()
    with out.isolation() as (stdout, *_):
        print_day(facts, **options)
        return stdout.getvalue().decode().splitlines()


def test_many_findings_of_one_code_are_one_line():
    """Eight takes that only one card has: one line, with their number and the first names."""
    facts = facts_of(*good_day(), *lonely(8))
    lines = [line for line in finding_lines(facts, each=False) if "no such recording" in line]
    [line] = lines
    assert "8 files of SND_A1: the backup card has no such recording: T10.WAV, T11.WAV" in line
    assert "(takehold day --all shows each)" in line
    each = [line for line in finding_lines(facts, each=True) if "no such recording" in line]
    assert len(each) == 8


def test_the_card_of_earlier_versions_is_named_too():
    """They are not among the files of the day."""
    facts = facts_of(*good_day(), *lonely(8)) | {"files": []}
    lines = [line for line in finding_lines(facts, each=False) if "no such recording" in line]
    assert ["8 files of SND_A1: " in line for line in lines] == [True]


def test_three_are_told_one_by_one():
    facts = facts_of(*good_day(), *lonely(3))
    lines = [line for line in finding_lines(facts, each=False) if "no such recording" in line]
    assert len(lines) == 3
    assert all("--all" not in line for line in lines)


def test_two_cards_are_two_lines():
    """What is collapsed is of one card."""
    others = [recording(n, b"U%02d.WAV" % n, of=2, audio=b"%d" % n) for n in range(30, 35)]
    more = [fact for r in others for fact in (*taken(r), *copied(r, *DRIVES[:1]))]
    mine = [recording(n, b"T%02d.WAV" % n, audio=b"t%d" % n) for n in range(10, 15)]
    more += [fact for r in mine for fact in (*taken(r), *copied(r, *DRIVES[:1]))]
    lines = list(finding_lines(facts_of(*cards(), *more), each=False))
    short = [line for line in lines if "1 of 2 proven copies" in line]
    assert sorted(line.split(" of ")[1].split(":")[0] for line in short) == ["SND_A1", "SND_B1"]


def test_what_waits_for_a_decision_stands_before_what_is_decided():
    """Two files of one code; the first one is decided, so the second one is told before it."""
    known = [*cards(), *taken(unfinished(1, b"T01.WAV"), unfinished(2, b"T02.WAV"))]
    findings = [x for x in facts_of(*known)["findings"] if x["code"] == "header-unfinished"]
    facts = facts_of(*known, f.Acked(findings[0]["id"], "it is repaired by post", 5))
    lines = list(finding_lines(facts, each=False))
    told = [line for line in lines if "header was never" in line]
    assert "T02.WAV" in told[0]
    assert "T01.WAV" in told[1]
    assert lines[-1] == told[1]
    assert told[1].endswith("[decided: it is repaired by post]")


def unfinished(number: int = 1, path: bytes = b"T01.WAV") -> Recording:
    """Its header was never written to the end."""
    made = recording(number, path, audio=bytes([number]) * 288_000)
    complaint = Complaint("header-unfinished", "data size 0, 288000 bytes follow")
    return replace(made, description=replace(made.description, complaints=(complaint,)))


def test_the_technical_detail_is_for_programs():
    """288,000 bytes of one byte a frame at 48 kHz are six seconds."""
    facts = facts_of(*cards(), *taken(unfinished()))
    [line] = [x for x in finding_lines(facts, each=False) if "header was never" in x]
    assert line.endswith("its header was never finished; about 6.0 s of sound are in it.")
    [finding] = [x for x in facts["findings"] if x["code"] == "header-unfinished"]
    assert "288000 bytes follow" in finding["says"]


def test_each_finding_is_told_with_its_code_and_the_page_that_explains_it():
    facts = facts_of(*good_day(), *lonely(8), *cards(), *taken(unfinished()))
    lines = printed(facts)
    assert any("  backup-missing: 8 files of SND_A1: the backup card" in x for x in lines)
    assert any("  header-unfinished: SND_A1/T01.WAV: its header was" in x for x in lines)
    assert lines.count("What each of these words means, and what is safe: docs/problems.md") == 1


def test_the_verdict_stands_first_and_last():
    lines = printed(facts_of(*good_day(), *lonely(1)))
    assert lines[0].startswith(f"{DAY}: HOLD, ")
    assert f"{DAY}: HOLD." in lines[-2]
    ready = printed(facts_of(*good_day(), revised()))
    assert ready[0] == f"{DAY}: READY."
    assert ready[-2:] == [f"{DAY}: READY.", f"Manifest: {DAY}.r1.manifest.json."]


def test_rows_are_sorted_by_card_and_path():
    late, early = recording(7, b"A.WAV", audio=b"a"), recording(3, b"B.WAV", audio=b"b")
    lines = printed(facts_of(*cards(), *taken(early, late)))
    rows = [line.split()[1] for line in lines if line.startswith(" SND_A1")]
    assert rows == ["A.WAV", "B.WAV"]


def test_a_backup_file_that_the_primary_card_lacks_is_not_called_missing():
    alone = recording(9, b"X.WAV", of=2, audio=b"x")
    [row] = [x for x in printed(facts_of(*good_day(), *taken(alone))) if "X.WAV  " in x]
    assert "not on primary" in row
    assert "missing" not in row


def test_two_loads_of_one_label_are_told_apart():
    again = load(4, Role.BACKUP, label="SND_B1", identity="uuid:other")
    second = recording(9, b"X.WAV", of=4, audio=b"x")
    lines = printed(facts_of(*good_day(), f.LoadSeen(again), *taken(second)))
    assert any(line.startswith(" SND_B1 (2nd)   X.WAV") for line in lines)


def test_loads_are_numbered_in_the_order_in_which_they_came():
    entries = [{"load": n, "card": card} for n, card in ((9, "B"), (2, "B"), (3, "A"), (5, "B"))]
    assert load_names(entries) == {2: "B", 5: "B (2nd)", 9: "B (3rd)", 3: "A"}


@pytest.mark.parametrize("width", [150, 110, 90, 80, 60])
def test_a_narrow_table_leaves_columns_out_and_breaks_no_timecode(monkeypatch, capsys, width):
    """Tracks go first, then the length, then the scene; the start stays whole at any width."""
    for name, value in (("FORCE_COLOR", "1"), ("NO_COLOR", "1"), ("COLUMNS", str(width))):
        monkeypatch.setenv(name, value)
    head = ("card", "file", "scene", "start", "length", "tracks")
    names = ", ".join(["Boom", "Radio 1", "Radio 2", "Ambience", "Mix"])
    row = ("SND_A1", "DAY01/SCENE_012/A-TAKE_04.WAV", "12", "09:12:10:00", "3.0 s", names)
    spare = ("tracks", "length", "scene")
    table(head, [row], spare=spare, whole={"start", "card"})
    out = capsys.readouterr().out
    assert all(len(line) <= width for line in out.splitlines() if "\x1b" not in line)
    assert "09:12:10:00" in out
    there = [name for name in spare if name in out]
    assert there == list(spare)[len(spare) - len(there) :]
    assert ("tracks" in out) is (width == 150)


def test_a_pipe_is_as_wide_as_is_told(capsys):
    table(("a",), [("x" * 400,)])
    assert max(map(len, capsys.readouterr().out.splitlines())) <= PIPE_WIDTH


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (None, ""),
        (0.34, "0.3 s"),
        (59.96, "1 min 0.0 s"),
        (75.25, "1 min 15.2 s"),
        (3661, "1 h 1 min 1.0 s"),
        (3600, "1 h 0 min 0.0 s"),
    ],
)
def test_a_length_has_one_decimal(seconds, words):
    assert length(seconds) == words


def test_one_is_no_plural():
    assert (count(1, "file"), count(0, "file"), count(2, "file")) == (
        "1 file",
        "0 files",
        "2 files",
    )
