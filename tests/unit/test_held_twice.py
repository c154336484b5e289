"""A copy that somebody made of a take on the primary card: the backup card has that take once."""

from __future__ import annotations

import pytest

from planworld import DAY, cards, ledger, recording, settings, taken
from takehold.decide.check import Around
from takehold.decide.judge import judge
from takehold.model.recording import Recording

TAKE = recording(1, b"D/T1.WAV")


def told(*recordings: Recording) -> list[tuple[int | None, str]]:
    """What is said of a backup that lacks."""
    book = ledger(cards(), taken(TAKE, *recordings))
    found = judge(book, DAY, settings(), Around()).findings
    return [(f.recording, f.says) for f in found if f.code == "backup-missing"]


@pytest.mark.parametrize("head", [b"", b"its note was edited"])
def test_the_sentence_names_the_take(head: bytes) -> None:
    copy, its = recording(2, b"SELECTS/T1.WAV", head=head), recording(3, b"D/T1.WAV", of=2)
    [(number, says)] = told(copy, its)
    assert number == copy.id
    assert "has it once, and this card twice: SND_A1/D/T1.WAV" in says


@pytest.mark.parametrize("audio", [b"another", b"\x80" * 9], ids=["other audio", "silence"])
def test_of_another_recording_nothing_is_there(audio: bytes) -> None:
    its = recording(3, b"D/T1.WAV", of=2)
    [(number, says)] = told(recording(2, b"D/T2.WAV", audio=audio), its)
    assert number == 2
    assert "has no such recording" in says


def test_nor_of_two_that_the_backup_card_lacks() -> None:
    other = recording(3, b"D/X.WAV", of=2, audio=b"another")
    assert all("has no such" in says for _, says in told(recording(2, b"SELECTS/T1.WAV"), other))
