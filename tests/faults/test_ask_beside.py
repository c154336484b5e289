"""A command beside a running daemon: stored without looking through the whole catalogue."""

from __future__ import annotations

from contextlib import closing

import pytest

from takehold.adapters import catalogue_file
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.model.errors import TakeholdError, UsageError
from takehold.model.facts import Asked


def test_it_is_seen_by_the_one_that_works_with_the_catalogue(tmp_path) -> None:
    path = str(tmp_path / "100%? #1.db")  # what a URI would take for its own
    with closing(SqliteCatalogue.open(path)) as daemons:
        with closing(SqliteCatalogue.open_to_ask(path)) as asking:
            number = asking.ask("wrap", "2031-03-14", 10)
        assert daemons.asked() == (Asked(number, "wrap", "2031-03-14", 10),)
    assert [file.name for file in tmp_path.iterdir() if file.suffix == ".db"] == ["100%? #1.db"]


def test_it_is_not_made_and_not_brought_to_another_form(tmp_path) -> None:
    """The daemon that runs reads the form that it knows."""
    with pytest.raises(TakeholdError):
        SqliteCatalogue.open_to_ask(str(tmp_path / "none.db"))
    assert not (tmp_path / "none.db").exists()
    old = tmp_path / "old.db"
    catalogue_file.open_to_write(str(old), catalogue_file.migrations()[:-1]).close()
    before = old.read_bytes()
    with pytest.raises(UsageError):
        SqliteCatalogue.open_to_ask(str(old))
    assert old.read_bytes() == before
