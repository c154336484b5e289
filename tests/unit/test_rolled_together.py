"""A mix beside isos on one card, against one poly file of all of them on the other."""

from __future__ import annotations

import pytest
from test_match_layouts import ANNA, BERT, BOOM, MIX, SAID, START, line

from takehold.decide.match import Matched, match
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Relation
from takehold.model.sound import Track
from twocards import Cards, Line, relations

WORDS = {"Mix": 1, "Boom": 2, "Anna": 3}
OTHER, REDUCED, MISSING = Relation.OTHER_LAYOUT, Relation.REDUCED, Relation.MISSING


def names(*words: str) -> tuple[Track, ...]:
    return tuple(Track(WORDS.get(word, 9), n, word) for n, word in enumerate(words, 1))


def beside(cards: Cards, of: int, mix: Line, *isos: Line, **said: object) -> list[int]:
    """Isos, a set of two by its own account, and a file of their mix, of one family."""
    about = {**SAID, "start": START, "family_uid": "F1", **said}
    files = [
        cards.add(of, f"T03_{n}.WAV", [samples], **{**about, "total_files": 2,
                  "set_index": str(n), "tracks": names(word)})
        for n, (word, samples) in enumerate(zip(("Boom", "Anna"), isos, strict=True), 1)
    ]  # fmt: skip
    return [cards.add(of, "T03_MIX.WAV", [mix], **{**about, "tracks": names("Mix")}), *files]


def poly(cards: Cards, of: int, *lines: Line, bits: int = 24) -> int:
    return cards.add(of, "T03.WAV", lines, START, bits, tracks=names("Mix", "Boom", "Anna"), **SAID)


def changed(line: Line) -> Line:
    return (*line[:9], line[9] ^ 4, *line[10:])


@pytest.mark.parametrize("said", [{}, {"start": 0}])
def test_one_sample_that_differs_is_told_of_its_track_alone(said: dict) -> None:
    cards = Cards()
    files = beside(cards, 1, MIX, changed(BOOM), ANNA, **said)
    one = cards.add(2, "T03.WAV", [MIX, BOOM, ANNA], **{"start": START, **SAID, **said})
    found = cards.match()
    assert relations(found, files) == [OTHER, Relation.DIFFERENT, OTHER]
    assert found.backups[0].alone == ()
    assert cards.asked == [(tuple(files), (one,))]


def test_all_of_them_are_held_in_sixteen_bits() -> None:
    cards = Cards()
    files = beside(cards, 1, MIX, BOOM, ANNA)
    poly(cards, 2, MIX, BOOM, ANNA, bits=16)
    assert relations(cards.match(), files) == [REDUCED] * 3


def test_where_both_cards_have_a_mix_beside_their_tracks_each_is_held_by_its_like() -> None:
    """Though the tracks' file of the backup has as many channels as all of the primary's."""
    cards = Cards()
    files = beside(cards, 1, MIX, BOOM, ANNA)
    tracks = names("Boom", "Anna", "Bert")
    own, its = ({**SAID, "family_uid": uid} for uid in ("G1", "G2"))
    one = cards.add(2, "T03.WAV", [BOOM, ANNA, BERT], START, 16, tracks=tracks, **own)
    mix = cards.add(2, "T03_MIX.WAV", [MIX], START, 16, tracks=names("Mix"), **its)
    assert relations(cards.match(), files) == [REDUCED] * 3
    assert sorted(cards.asked) == [(tuple(files[1:]), (one,)), ((files[0],), (mix,))]


def test_a_poly_file_is_held_by_all_of_them() -> None:
    for lines in ((MIX, changed(BOOM), ANNA), (changed(MIX), BOOM, ANNA)):
        cards = Cards()
        one = poly(cards, 1, *lines)
        files = beside(cards, 2, MIX, BOOM, ANNA)
        (answer,) = cards.match().primaries
        assert (answer.relation, len(answer.channels)) == (Relation.DIFFERENT, 1)
        assert cards.asked == [((one,), tuple(files))]


def test_a_cut_poly_file_is_short_of_all_of_them() -> None:
    cards = Cards()
    files = beside(cards, 1, MIX, BOOM, ANNA)
    poly(cards, 2, *(line[:30] for line in (MIX, BOOM, ANNA)))
    found = cards.match()
    assert relations(found, files) == [Relation.SHORT] * 3


def test_parts_go_beside_parts() -> None:
    cards = Cards()
    first = beside(cards, 1, MIX, BOOM, ANNA)
    more = beside(cards, 1, BERT, line("b"), changed(line("a")), start=START + 40)
    whole = [MIX + BERT, BOOM + line("b"), ANNA + line("a")]
    cards.add(2, "T03.WAV", whole, START, **SAID)
    assert relations(cards.match(), [*first, *more]) == [OTHER] * 5 + [Relation.DIFFERENT]


def test_without_room_for_all_each_is_held_for_itself() -> None:
    """The backup has the isos in 16 bits, and no mix; or mix and isos in files as they are here."""
    cards = Cards()
    files = beside(cards, 1, MIX, BOOM, ANNA)
    cards.add(2, "X.WAV", [BOOM, ANNA], START, 16, family_uid="X", **SAID)
    assert relations(cards.match(), files) == [MISSING, REDUCED, REDUCED]
    cards.add(2, "Y.WAV", [MIX], START, 16, family_uid="Y", **SAID)
    assert relations(cards.match(), files) == [REDUCED] * 3


def test_a_mix_that_a_file_beside_it_holds_too_is_no_track_more() -> None:
    """Else one of both would lack on the other card."""
    cards = Cards()
    one = poly(cards, 1, MIX, BOOM, ANNA)
    cards.add(1, "T03_MIX.WAV", [MIX], START, tracks=names("M"), family_uid="F2", **SAID)
    cards.add(2, "T03.WAV", [MIX, BOOM, ANNA, changed(ANNA)], START, 16, **SAID)
    assert relations(cards.match(), [one]) == [REDUCED]
    assert cards.asked[0][0] == (one,)


WHOLE = (MIX, BOOM, ANNA)


@pytest.mark.parametrize(("bits", "held"), [(24, OTHER), (16, REDUCED)])
def test_of_a_file_with_fewer_tracks_only_what_it_lacks_has_no_backup(bits: int, held) -> None:  # type: ignore[no-untyped-def]
    cards = Cards()
    files = beside(cards, 1, *WHOLE)
    cards.add(2, "T03.WAV", [MIX, BOOM], START, bits, tracks=names("Mix", "Boom"), **SAID)
    assert relations(cards.match(), files) == [held, held, MISSING]


def test_turned_round_the_file_is_held_against_all_of_them() -> None:
    cards = Cards()
    tracks = names("Mix", "Boom")
    one = cards.add(1, "T03.WAV", [MIX, changed(BOOM)], START, tracks=tracks, **SAID)
    files = beside(cards, 2, *WHOLE)
    (answer,) = cards.match().primaries
    assert (answer.relation, answer.channels) == (Relation.DIFFERENT, (2,))
    assert cards.asked == [((one,), tuple(files))]


def test_a_mix_that_is_the_one_open_microphone_is_a_track_by_its_name() -> None:
    cards = Cards()
    files = beside(cards, 1, BOOM, BOOM, ANNA)
    poly(cards, 2, BOOM, BOOM, ANNA, bits=16)
    assert relations(cards.match(), files) == [REDUCED] * 3


@pytest.mark.parametrize("said", [{"scene": "12B"}, {"start": START + 5}])
def test_the_beginning_tells_it_or_scene_and_take(said: dict) -> None:
    """The scene was corrected on one card; or that recorder began later."""
    cards = Cards()
    files = beside(cards, 1, *WHOLE, **said)
    one = poly(cards, 2, *WHOLE, bits=16)
    assert relations(cards.match(), files) == [REDUCED] * 3
    assert cards.asked == [(tuple(files), (one,))]


def settled(cards: Cards, ours: tuple[int, ...], theirs: tuple[int, ...]) -> Matched:
    """The answers of several cards once all that was asked for is compared."""
    known: dict[tuple[Side, Side], Comparison] = {}
    for _ in range(4):
        both = ([file for load in loads for file in cards.card(load)] for loads in (ours, theirs))
        found = match(*both, known)
        if not found.uncompared:
            return found
        known |= {pair: cards.compare(*pair) for pair in found.uncompared}
    raise AssertionError("asked again and again")


def test_two_backup_cards_with_one_file_each_hold_them_both() -> None:
    cards = Cards()
    files = beside(cards, 1, *WHOLE)
    for card in (2, 3):
        poly(cards, card, *WHOLE, bits=16)
    found = settled(cards, (1,), (2, 3))
    assert relations(found, files) == [REDUCED] * 3
    assert len({answer.others for answer in found.primaries}) == 1, "one of them holds all"
    assert [answer.relation for answer in found.backups] == [REDUCED] * 2


def test_a_card_and_its_mirror_are_held_by_all_of_them() -> None:
    cards = Cards()
    for card in (1, 4):
        poly(cards, card, *WHOLE)
    files = beside(cards, 2, *WHOLE, bits=16)
    answers = settled(cards, (1, 4), (2,)).primaries
    assert [(a.relation, a.channels, a.others) for a in answers] == [(REDUCED, (), (*files,))] * 2


def test_where_the_other_card_has_the_mix_in_its_file_and_beside_it() -> None:
    cards = Cards()
    files = beside(cards, 1, *WHOLE)
    poly(cards, 2, *WHOLE, bits=16)
    cards.add(2, "T03_MIX.WAV", [MIX], START, 16, tracks=names("Mix"), family_uid="F2", **SAID)
    assert relations(cards.match(), files) == [REDUCED] * 3


def test_a_mix_that_only_the_backup_has_beside_its_tracks_is_no_other_audio() -> None:
    """It has a family of its own, and begins with files that answer."""
    cards = Cards()
    for card in (1, 2):
        for n, samples in enumerate((BOOM, ANNA), 1):
            cards.add(card, f"T03_{n}.WAV", [samples], START, set_index=str(n), family_uid="F1",
                      tracks=names("Boom" if n == 1 else "Anna"), **SAID)  # fmt: skip
    said = {**SAID, "family_uid": "M1"}
    mix = cards.add(2, "T03_MIX.WAV", [MIX], START, tracks=names("Other"), **said)
    (answer,) = (one for one in cards.match().backups if one.recording == mix)
    assert (answer.relation, answer.other) == (MISSING, None)
