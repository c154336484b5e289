"""Facts are recorded once; which days they touch is asked until it was answered."""

from __future__ import annotations

from collections.abc import Iterable
from typing import cast

import pytest

from memory_catalogue import MemoryCatalogue
from planworld import cards, copied, recording, taken, target
from takehold.engine.book import Book
from takehold.engine.closing import Closer
from takehold.model import facts as f
from takehold.model.errors import WorldError
from takehold.model.ledger import Ledger

FIRST = recording()


class Asked:
    """Stands for the closer: the first question fails, as where a day cannot be woken."""

    def __init__(self) -> None:
        self.fails = True
        self.told: list[f.Fact] = []

    def touched(self, _ledger: Ledger, facts: Iterable[f.Fact]) -> None:
        if self.fails:
            self.fails = False
            raise WorldError("The catalogue cannot be read.")
        self.told += facts


def test_what_could_not_be_noted_is_noted_later_and_recorded_once() -> None:
    """A copy that is lost: without that, no new revision of its day would be written."""
    catalogue, closer, known = MemoryCatalogue(), Asked(), Ledger()
    book = Book(catalogue, known, cast("Closer", closer))
    facts = [*cards(), *taken(FIRST), *copied(FIRST, target())]
    assert book.keep(facts)
    with pytest.raises(WorldError):
        book.note()
    lost = f.Broken(FIRST.id, "shuttle-1", target().root.identity, FIRST.place, "missing", 1)
    assert book.keep([lost])
    book.note()
    book.note()
    assert closer.told == [*facts, lost]
    assert [fact for fact in catalogue.facts() if isinstance(fact, f.Inventoried)] == taken(FIRST)
    assert known.copies_of(FIRST.id) == ()
