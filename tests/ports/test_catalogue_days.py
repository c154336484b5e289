"""Of which days anything is known: asked by every command that shows one."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from planworld import DAY, load, recording
from takehold.adapters import catalogue_told
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.model import facts as f

BEFORE, AFTER = "2031-05-05", "2031-05-07"


@pytest.fixture
def path(tmp_path: Path) -> str:
    """Where a catalogue is to lie."""
    return str(tmp_path / "catalogue.sqlite")


@pytest.fixture
def catalogue(path: str) -> Iterator[SqliteCatalogue]:
    """An empty one."""
    with closing(SqliteCatalogue.open(path)) as made:
        yield made


def file(number: int, day: str) -> f.Inventoried:
    """One that was not read yet."""
    return f.Inventoried(replace(recording(number, b"%d.WAV" % number, read=False), day=day))


def test_days_of_files_and_of_cards(catalogue: SqliteCatalogue) -> None:
    assert catalogue.days() == frozenset()
    catalogue.record([f.LoadSeen(replace(load(1), day=AFTER))])
    assert catalogue.days() == {AFTER}
    catalogue.record([file(2, DAY), file(3, BEFORE), file(4, DAY)])
    assert catalogue.days() == {BEFORE, DAY, AFTER}


def test_what_is_gone_is_of_no_day(catalogue: SqliteCatalogue) -> None:
    """Also where the row stays, that its number is not given again."""
    catalogue.record([f.LoadSeen(replace(load(1), day=AFTER))])
    catalogue.record([file(2, DAY), file(3, DAY), file(4, BEFORE), f.Gone(3), f.Gone(4)])
    assert catalogue.days() == {DAY, AFTER}


def test_more_files_of_a_day_cost_nothing(catalogue: SqliteCatalogue, path: str) -> None:
    """SQLite's own steps are counted: the same for ten times the files."""
    catalogue.record([f.LoadSeen(load(1))])

    def steps() -> int:
        count = 0

        def step() -> int:
            nonlocal count
            count += 1
            return 0

        with closing(sqlite3.connect(path)) as db:
            db.set_progress_handler(step, 1)
            assert catalogue_told.days(db) == {BEFORE, DAY}
        return count

    catalogue.record([file(2, BEFORE), file(3, DAY)])
    few = steps()
    catalogue.record([file(n, (BEFORE, DAY)[n % 2]) for n in range(4, 44)])
    assert steps() == few
