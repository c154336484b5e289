"""A file of the primary card only that holds tracks of a file beside it, to the sample: a mix."""

from __future__ import annotations

import pytest
from test_match_layouts import ANNA, BERT, BOOM, MIX, SAID, START

from takehold.model.finding import Relation
from twocards import Cards, relations

OTHER, MISSING = Relation.OTHER_LAYOUT, Relation.MISSING


def a_take(*, backup: tuple = (MIX, BOOM, ANNA), bits: int = 24) -> Cards:
    """One poly file on each card."""
    cards = Cards()
    cards.add(1, "T03.WAV", [MIX, BOOM, ANNA], START, family_uid="P", **SAID)
    cards.add(2, "T03.WAV", backup, START, bits, family_uid="P", note="b", **SAID)
    return cards


@pytest.mark.parametrize("start", [START, None, 0])
@pytest.mark.parametrize("lines", [(MIX,), (MIX, MIX), (ANNA, BOOM)])
def test_a_mix_beside_its_take_is_held_by_the_backup_of_that(lines: tuple, start: int) -> None:
    cards = a_take()
    for name in ("MIX/T03_MIX.WAV", "MIX/COPY.WAV"):
        one = cards.add(1, name, lines, start, family_uid=name, **SAID)
        found = cards.match()
        told = {a.recording: a for a in found.primaries}
        assert (told[one].relation, told[one].others) == (OTHER, (1001 + 1000,))
        assert told[1000].relation is Relation.SAME_AUDIO
    (its,) = found.backups
    assert its.others == (1000,)
    assert cards.asked == []


def test_what_the_backup_of_its_take_does_not_hold_is_missing() -> None:
    cards = a_take(backup=(BERT, BOOM, ANNA))
    one = cards.add(1, "T03_MIX.WAV", [MIX], START, family_uid="M", **SAID)
    assert relations(cards.match(), [one]) == [MISSING]
    cards = a_take(bits=16)
    one = cards.add(1, "T03_MIX.WAV", [MIX], START, family_uid="M", **SAID)
    assert relations(cards.match(), [one]) == [MISSING]


def test_what_begins_elsewhere_is_a_recording_of_its_own() -> None:
    cards = a_take()
    one = cards.add(1, "T04.WAV", [MIX], START + 4000, scene="12A", take="4")
    assert relations(cards.match(), [one]) == [MISSING]


def test_a_second_copy_of_all_of_it_needs_a_backup() -> None:
    cards = a_take()
    one = cards.add(1, "Z.WAV", [MIX, BOOM, ANNA], START, family_uid="Z", **SAID)
    assert relations(cards.match(), [one]) == [MISSING]
