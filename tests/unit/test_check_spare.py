"""A second backup card with the mix of each take only: said once for the card."""

from __future__ import annotations

from test_check_beside import SECOND_BACKUP, day_of, told
from test_match_layouts import line

from takehold.decide.check_spare import NAMED
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation, Severity
from takehold.model.ledger import Ledger
from takehold.model.sound import Track
from twocards import HZ, Cards

TRACKS = (Track(1, 1, "Mix"), Track(2, 2, "Boom"), Track(3, 3, "Anna"))


def a_day(takes: int, *, odd: int = 0) -> Ledger:
    """So many takes on both cards, and on a second backup card the mix of each in 16 bits.

    Of take `odd` that has no sound of it.
    """
    made = Cards()
    done: list[f.Fact] = []
    for n in range(1, takes + 1):
        start, name = (10 * 3600 + n * 60) * HZ, f"T{n:02}.WAV"
        lines = [line(f"{word} {n}") for word in ("mix", "boom", "anna")]
        made.add(1, name, lines, start, number=n, scene="1", take=str(n), tracks=TRACKS)
        made.add(2, name, lines, start, number=100 + n, scene="1", take=str(n))
        made.add(5, name, lines[:1], start, 16, number=200 + n, scene="1", take=str(n))
        relation = Relation.DIFFERENT if n == odd else Relation.REDUCED
        told_one = Comparison((n,), (200 + n,), relation, 1, channels=(2, 3),
                              residual_db=-60.0 - n, correlation=0.9999)  # fmt: skip
        done.append(f.Compared(told_one))
    known = day_of(*made.files.values(), loads=(SECOND_BACKUP,))
    known.apply(done)
    return known


def test_a_card_of_mixes_is_told_once() -> None:
    ((severity, says),) = told(a_day(4), "backup-spare")
    assert severity is Severity.NOTE
    assert says == (
        "SND_B2: 4 of its files hold recordings of SND_A1 at a lower quality and without tracks 2 "
        "(Boom), 3 (Anna); other files of a backup card answer these; the worst is T01.WAV: what "
        "differs lies 61.0 dB below it, correlation 0.9999. They are T01.WAV, T02.WAV, T03.WAV, "
        "T04.WAV."
    )


def test_two_are_told_one_by_one() -> None:
    (_, first), _ = told(a_day(2), "backup-spare")
    assert first == (
        "SND_B2/T01.WAV: SND_A1/T01.WAV is answered by another file of a backup card; this one "
        "holds it at a lower quality (what differs lies 61.0 dB below it, correlation 0.9999) and "
        "without tracks 2 (Boom), 3 (Anna)."
    )


def test_what_holds_other_audio_is_told_for_itself() -> None:
    severities = sorted(str(severity) for severity, _ in told(a_day(5, odd=2), "backup-spare"))
    assert severities == ["look", "note"]


def test_of_many_the_first_are_named() -> None:
    ((_, says),) = told(a_day(NAMED + 2), "backup-spare")
    assert says.endswith("T20.WAV and 2 more.")
