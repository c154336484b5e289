"""Which recordings are read a second time, and when (P8)."""

from __future__ import annotations

import pytest

from planworld import (
    CARDS,
    DAY,
    NOON,
    cards,
    ledger,
    load,
    reading,
    recording,
    settings,
    taken,
    trouble,
)
from takehold.decide.confirm import second_reads
from takehold.model import facts as f
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings

ALONE = settings(sources=CARDS[:1])
CLOSING = {DAY: NOON + 10}
A, B, C = (reading(x) for x in (b"A", b"B", b"C"))


def again(
    mine: Recording,
    *others: Recording,
    made: Settings | None = None,
    closing: dict[str, int] | None = None,
    troubles: tuple[f.Fact, ...] = (),
) -> bool:
    """Whether `mine`, lying there, is to be read again now."""
    known = ledger(cards(), [f.LoadSeen(load(3, Role.BODYPACK))], taken(mine, *others), troubles)
    found = second_reads(known, [mine], made or settings(), closing or {}, NOON + 20)
    assert found in ([], [mine])
    return bool(found)


def test_without_a_backup_card_it_is_read_again_at_once() -> None:
    assert again(recording(1), made=ALONE)


def test_while_a_backup_card_may_come_it_is_waited_for() -> None:
    assert not again(recording(1))
    assert not again(recording(1), recording(2, of=2, read=False))


def test_when_the_day_is_closed_nobody_waits_any_more() -> None:
    assert again(recording(1), closing=CLOSING)
    assert not again(recording(1), closing={"2031-05-07": NOON})


def test_a_backup_that_was_read_and_has_no_answer_is_waited_for_no_more() -> None:
    assert again(recording(1), recording(2, b"X.WAV", of=2, audio=b"other"))


def test_a_counterpart_confirms_without_a_second_read() -> None:
    """Nothing is read twice that two cards agree on (P9)."""
    assert not again(recording(1), recording(2, of=2), closing=CLOSING)


def test_a_counterpart_in_other_bytes_is_not_enough_and_not_waited_for() -> None:
    """What stands around the same audio is confirmed by a second read, as soon as there is time."""
    assert again(recording(1), recording(2, of=2, head=b"other"))
    assert not again(recording(1, readings=(A, A)), recording(2, of=2, head=b"other"))


def test_what_was_never_read_or_agreed_already_is_not_read_again() -> None:
    assert not again(recording(1, read=False), made=ALONE, closing=CLOSING)
    assert not again(recording(1, readings=(A, A)), made=ALONE, closing=CLOSING)


@pytest.mark.parametrize(
    ("reads", "wanted"),
    [((A, B), True), ((A, B, C), True), ((A, B, B, A), True), ((A, B, C, A, B), False)],
)
def test_a_dispute_is_read_on_up_to_a_bound(reads: tuple, wanted: bool) -> None:
    assert again(recording(1, readings=reads)) is wanted


def test_a_refuted_read_is_not_read_again_but_copied_anew() -> None:
    assert not again(recording(1, readings=(A, B, B)), made=ALONE)


def test_a_read_that_failed_waits() -> None:
    assert not again(recording(1), made=ALONE, troubles=(trouble("rec 1"),))


def test_every_file_needs_it_also_those_of_backup_and_transmitter() -> None:
    assert again(recording(5, b"Z.WAV", of=3), closing=CLOSING)
    assert again(recording(6, b"Z.WAV", of=2), closing=CLOSING)
    assert again(recording(7, b"LOG.TXT", audio=None), made=ALONE)


def test_the_card_is_read_again_at_wrap_where_that_is_asked_for() -> None:
    thorough = settings(recheck_cards_at_wrap=True)
    twice = recording(1, readings=(reading(at=NOON), reading(at=NOON + 1)))
    later = recording(1, readings=(reading(at=NOON), reading(at=NOON + 11)))
    assert again(twice, made=thorough, closing=CLOSING)
    assert not again(twice, closing=CLOSING)
    assert not again(twice, made=thorough)
    assert not again(later, made=thorough, closing=CLOSING)


def test_an_older_version_is_not_asked_for() -> None:
    """It does not lie there any more; the newest one does."""
    older, newer = recording(1), recording(2, version=2, audio=b"new")
    known = ledger(cards(), taken(older, newer))
    assert second_reads(known, [newer], ALONE, {}, NOON) == [newer]
