"""A set that lacks a file on both cards, and is whole on a further backup card."""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_whole_beside import BACKUP, PRIMARY, lines, monos, poly

from planworld import load
from takehold.model import facts as f
from takehold.model.finding import Finding
from takehold.model.settings import Role
from takeworld import found_on
from twocards import Cards

FURTHER = 3


def said(
    *, as_set: bool = True, there: tuple[int, ...] = (1, 2, 3), other: bool = False
) -> Finding:
    """Of the set, where a file of it is on the further card alone, or there with `other` sound."""
    made, sound = Cards(), lines()
    monos(made, BACKUP, lines(seed=2) if other else sound, there, 3)
    if not as_set:
        made = Cards()
        poly(made, sound)
    further = [replace(r, id=r.id + 500, load=FURTHER) for r in made.files.values()]
    both = Cards()
    for card in (PRIMARY, BACKUP):
        monos(both, card, sound, (1, 3), 3)
    seen = f.LoadSeen(load(FURTHER, Role.BACKUP, label="SND_C1", identity="uuid:C"))
    found = found_on([*both.files.values(), *further], earlier=[seen])
    (one,) = (x for x in found if x.code == "set-incomplete")
    return one


@pytest.mark.parametrize("as_set", [True, False])
def test_the_card_that_has_it_whole_is_named(*, as_set: bool) -> None:
    found = said(as_set=as_set)
    assert found.severity == "look"
    assert found.says.endswith("not 2) and whole on the backup card SND_C1.")
    assert found.do == "Hand the files of the backup card SND_C1 over with it."


def test_cards_that_have_it_whole_together_are_named() -> None:
    assert said(there=(2,)).says.endswith("whole on the backup cards SND_B1 and SND_C1.")


@pytest.mark.parametrize(("there", "other"), [((1, 3), False), ((1, 2, 3), True)])
def test_a_card_that_lacks_it_too_or_holds_other_sound_is_not_whole(
    there: tuple[int, ...], *, other: bool
) -> None:
    assert said(there=there, other=other).severity == "hold"
