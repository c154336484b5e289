"""Texts of a file are as long as it likes, and are not shown so: iXML takes a million letters."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from test_sparse_sets import said, sets

from planworld import DAY, cards, ledger, settings, taken
from takehold.cli.facts import day_facts
from takehold.cli.take_facts import take_rows
from takehold.decide.backup_words import tracks
from takehold.decide.day import day_of
from takehold.decide.judge import judge
from takehold.decide.recorder import recorders
from takehold.model.sound import Metadata, Track
from takeworld import HZ, MORNING, names, wav

LONG = "B" * 50_000
FEW = 400
"""Letters of a sentence, or of a cell."""


def test_a_track_without_a_backup_is_named_briefly() -> None:
    known = ledger(cards(), taken(wav(1, b"T.WAV", tracks=names("Mix", LONG), channels=2)))
    standing = judge(known, DAY, settings()).view.index[1]
    assert len(tracks(standing, (1, 2))) < FEW
    assert tracks(standing, (1,)) == "track 1 (Mix)"


def test_tracks_that_a_whole_backup_card_lacks_are_named_briefly() -> None:
    made = sets(3)
    for number, file in made.files.items():
        told = file.description.metadata
        if told.tracks[0].name == "Boom":
            renamed = replace(told, tracks=(Track(2, 1, LONG),))
            made.files[number] = replace(
                file, description=replace(file.description, metadata=renamed)
            )
    (one,) = said(made)
    assert "BBB…BBB" in one.says
    assert max(len(one.says), len(one.subject)) < FEW


def test_a_date_that_is_none_is_told_briefly() -> None:
    seen = datetime(2031, 5, 6, 21, 0, tzinfo=UTC)
    odd = day_of(Metadata(date=LONG), DAY, seen, 360).complaint
    assert odd is not None
    assert len(odd.detail) < FEW
    odd = day_of(Metadata(date="soon"), DAY, seen, 360).complaint
    assert odd is not None
    assert odd.detail == "the date reads 'soon'"


def test_cells_of_a_take_are_brief_and_its_marks_are_whole() -> None:
    """Many types of any length; that it was deleted stands behind them."""
    types = tuple(f"W{n}_{LONG}" for n in range(32))
    odd = wav(1, b"T.WAV", "1", "1", MORNING, types=types, note=LONG)
    known = ledger(cards(), taken(odd))
    (entry,) = day_facts(judge(known, DAY, settings()), known)["takes"]
    (row,) = take_rows([entry | {"derived": True, "deleted": True}], {1: "SND_A1"})
    assert max(len(str(cell)) for cell in row) < FEW
    assert str(row[3]).endswith(", derived, deleted")


def test_a_recorder_is_named_briefly() -> None:
    """Two of them in one source, with some takes each in the same hours."""
    takes = [
        wav(n, b"%d.WAV" % n, "1", f"{n}", MORNING + 60 * n * HZ, originator="AB"[n % 2] + LONG)
        for n in range(1, 9)
    ]
    view = judge(ledger(cards(), taken(*takes)), DAY, settings()).view
    titles = [one.title for one in recorders(view, settings())]
    assert len(titles) == 2
    assert all("…" in title and len(title) < FEW for title in titles)
