"""A track that lies in another file of the card too, as the mix in a file beside the poly file."""

from __future__ import annotations

from test_match_layouts import ANNA, BOOM, MIX, START, line, monos, poly

from takehold.decide.match import Matched, match
from takehold.model.finding import Relation
from twocards import HZ, Cards

WHOLE = Relation.OTHER_LAYOUT


def beside(of_poly: int, *, split: bool = False, start: int = START) -> tuple[Cards, int]:
    """One card has mix and tracks in one file, the other the tracks; both a file of the mix."""
    cards = Cards()
    one = poly(cards, of_poly, MIX, BOOM, ANNA)
    if split:
        monos(cards, 3 - of_poly, BOOM, ANNA)
    else:
        poly(cards, 3 - of_poly, BOOM, ANNA)
    for of in (1, 2):
        poly(cards, of, MIX, path="12A-T03_MIX.WAV", start=start)
    return cards, one


def matched(cards: Cards) -> Matched:
    return match(cards.card(1), cards.card(2))


def test_the_mix_is_held_by_the_file_beside_the_tracks() -> None:
    for split in (False, True):
        cards, one = beside(1, split=split)
        found = matched(cards)
        (answer,) = (a for a in found.primaries if a.recording == one)
        assert (answer.relation, answer.channels) == (WHOLE, ())
        assert set(answer.others) == {file.id for file in cards.card(2)}
        relations = {a.relation for a in found.backups}
        assert relations == {WHOLE, Relation.IDENTICAL}, "the mix files confirm each other's reads"


def test_so_the_backups_mix_is_not_on_the_backup_only() -> None:
    cards, one = beside(2)
    found = matched(cards)
    assert {a.relation for a in found.primaries} == {WHOLE, Relation.IDENTICAL}
    (answer,) = (a for a in found.backups if a.recording == one)
    assert (answer.relation, answer.alone) == (WHOLE, ())


def test_a_mix_that_begins_elsewhere_or_holds_other_samples_is_no_backup_of_it() -> None:
    for start, other in ((START + HZ, MIX), (START, line("other"))):
        cards = Cards()
        one = poly(cards, 1, MIX, BOOM)
        poly(cards, 2, BOOM)
        for of in (1, 2):
            poly(cards, of, other, path="12A-T03_MIX.WAV", start=start)
        (answer,) = (a for a in matched(cards).primaries if a.recording == one)
        assert (answer.relation, answer.channels) == (Relation.REDUCED, (1,))


def test_what_of_it_lies_nowhere_is_told() -> None:
    cards = Cards()
    one = poly(cards, 1, MIX, BOOM, ANNA)
    poly(cards, 2, BOOM)
    for of in (1, 2):
        poly(cards, of, MIX, path="12A-T03_MIX.WAV")
    (answer,) = (a for a in matched(cards).primaries if a.recording == one)
    assert (answer.relation, answer.channels) == (Relation.REDUCED, (3,))
    assert len(answer.others) == 2


def test_a_mix_beside_a_file_that_is_held_at_lower_quality_is_held_so_too() -> None:
    """The backup's recorder writes the poly file only, in 16 bits."""
    cards = Cards()
    one, other = ([s >> 3 << 3 | 1 for s in words] for words in (MIX, BOOM))
    poly(cards, 1, tuple(one), tuple(other), family_uid="F1")
    mix = poly(cards, 1, tuple(one), path="12A-T03_MIX.WAV", family_uid="M1")
    backup = poly(cards, 2, tuple(one), tuple(other), bits=16)
    (answer,) = (a for a in cards.match().primaries if a.recording == mix)
    assert (answer.relation, answer.others) == (Relation.REDUCED, (backup,))
