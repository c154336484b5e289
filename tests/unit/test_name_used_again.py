"""A take that was deleted in the recorder, and its name given to another one: both are takes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from planworld import (
    DAY,
    NOON,
    cards,
    copied,
    ledger,
    reading,
    recording,
    settings,
    taken,
    target,
    view,
)
from takehold.cli.take_facts import take_facts, take_table
from takehold.decide.check import Around
from takehold.decide.judge import judge
from takehold.decide.manifest import Writer, document, revision
from takehold.decide.rebuild import facts_of_manifests
from takehold.formats.canonical import canonical
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording

DRIVES = (target("shuttle-1"), target("shuttle-2"))
MINUTE = 60 * 48_000
SCHEMA = json.loads((Path(__file__).parents[2] / "docs/manifest.schema.json").read_text())


def rolled(number: int, of: int, minute: int, audio: bytes, **changes: Any) -> Recording:
    """A take 2 that begins at that minute, read once."""
    said = {"scene": "1", "take": "2", "time_reference": minute * MINUTE}
    made = recording(number, b"T2.WAV", of=of, audio=audio, said=said, **changes)
    return replace(made, place=made.place + b".edit-2") if made.version > 1 else made


FIRST, ITS_FIRST = rolled(1, 1, 2, b"the first"), rolled(2, 2, 2, b"the first")
NEXT, ITS_NEXT = (rolled(number, of, 5, b"another", version=2) for number, of in ((3, 1), (4, 2)))


def known(*recordings: Recording) -> Ledger:
    book = ledger(cards(), taken(*recordings))
    for each in recordings:
        book.apply(copied(each, *DRIVES))
    return book


def found(book: Ledger) -> list[Finding]:
    return list(judge(book, DAY, settings(), Around()).findings)


def starts(book: Ledger) -> list[int | None]:
    """Where the primary card's takes begin, in minutes."""
    takes = judge(book, DAY, settings(), Around()).takes
    return [t.start // MINUTE for t in takes if t.load == 1 and t.start is not None]


def test_both_are_takes_of_the_day_and_none_is_a_second_one() -> None:
    book = known(FIRST, ITS_FIRST, NEXT, ITS_NEXT)
    assert starts(book) == [2, 5]
    assert "take-twice" not in {f.code for f in found(book)}


def test_the_table_says_which_of_them_the_card_holds_no_more() -> None:
    made = judge(known(FIRST, ITS_FIRST, NEXT, ITS_NEXT), DAY, settings(), Around())
    rows = [take_facts(take, made.view, made.coverage) for take in made.takes if take.load == 1]
    assert [row["deleted"] for row in rows] == [True, False]
    head, lines = take_table(rows, {1: "SND_A1"})
    assert [line[head.index("type")] for line in lines] == ["deleted", ""]


def test_what_both_cards_held_was_confirmed_and_is_decided_on_once() -> None:
    """The sentence tells both names on the drives, for the new take has the longer one."""
    told = [f for f in found(known(FIRST, ITS_FIRST, NEXT, ITS_NEXT)) if f.code == "other-audio"]
    assert [(f.recording, f.severity) for f in told] == [
        (FIRST.id, Severity.LOOK),
        (ITS_FIRST.id, Severity.NOTE),
    ]
    assert "newer one is T2.WAV.edit-2, and the first T2.WAV" in told[0].says
    assert not any("read once only" in f.says for f in told)


@pytest.mark.parametrize(
    "there",
    [
        (FIRST, NEXT, ITS_NEXT),
        (FIRST, rolled(2, 2, 2, b"the last."), NEXT, ITS_NEXT),
    ],
    ids=["on one card", "other bytes"],
)
def test_what_nothing_confirmed_was_read_once_only(there: tuple[Recording, ...]) -> None:
    told = [f for f in found(known(*there)) if f.code == "other-audio"]
    assert {f.severity for f in told} == {Severity.LOOK}
    assert all("read once only" in f.says for f in told)


def test_a_name_used_again_on_the_backup_card_alone_is_looked_at() -> None:
    """The primary card holds the first one still, and has its only other copy no more."""
    told = [f for f in found(known(FIRST, ITS_FIRST, ITS_NEXT)) if f.code == "other-audio"]
    assert [(f.recording, f.severity) for f in told] == [(ITS_FIRST.id, Severity.LOOK)]


@pytest.mark.parametrize(
    "newer",
    [
        rolled(3, 1, 2, b"the first, and on", version=2),
        rolled(3, 1, 5, b"the first", version=2),
        rolled(3, 1, 5, b"\x80" * 9, version=2),
    ],
    ids=["went on", "timecode restamped", "silence"],
)
def test_what_may_be_the_same_recording_is_one_take(newer: Recording) -> None:
    assert len(starts(known(FIRST, newer))) == 1


def test_of_an_edited_version_and_the_first_the_last_is_the_take() -> None:
    edited = replace(FIRST, id=5, version=2, readings=(reading(b"the first", b"edited"),))
    book = known(FIRST, edited, replace(NEXT, id=6, version=3))
    assert starts(book) == [2, 5]
    assert [s.recording.id for s in view(book).files if s.deleted] == [edited.id]


def test_the_manifest_tells_which_of_that_name_a_take_is() -> None:
    """By the published schema (JSON Schema 2020-12)."""
    book, made = known(FIRST, ITS_FIRST, NEXT, ITS_NEXT), settings()
    doc = document(judge(book, DAY, made), book, made, (), Writer("cart", "takehold 0"))
    raw = canonical(revision(doc, 1, NOON + 9000, None))
    written = json.loads(raw)
    jsonschema.Draft202012Validator(SCHEMA).validate(written)
    mine = [take["parts"] for take in written["takes"] if take["load"] == 1]
    assert mine == [[[{"path": "T2.WAV", "version": 1}]], [[{"path": "T2.WAV"}]]]
    again = ledger(facts_of_manifests([(raw, written)]))
    assert starts(again) == [2, 5], "a catalogue that was lost comes to the same"
    told = [[s.deleted for s in view(its).files] for its in (book, again)]
    assert told[0] == told[1] == [True, True, False, False]
