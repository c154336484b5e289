"""Two recorders that do not start and stop together: what each of both files lacks."""

from __future__ import annotations

from typing import Any

import pytest
from test_check_backup import TEN, about_backup, facts_of

from planworld import NOON
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Finding, Relation
from twocards import HZ, Cards

LONG = 3 * HZ
SOUND = tuple(1 + n % 251 for n in range(5 * HZ))


def said(begin: int, end: int, relation: Relation, bits: int = 24, **figures: Any) -> Finding:
    """What is said of three seconds, where the backup begins and ends so many frames later."""
    made = Cards()
    made.add(1, "T.WAV", [SOUND[HZ : HZ + LONG]], TEN, number=1)
    theirs = SOUND[HZ + begin : HZ + LONG + end]
    made.add(2, "T.WAV", [theirs], TEN + begin, bits, number=2)
    missing = [(0, begin)] * (begin > 0) + [(LONG + end, LONG)] * (end < 0)
    told = {"missing": tuple((1, *stretch) for stretch in missing), "offset": -begin} | figures
    if relation is Relation.SHORT:
        told |= {"frame": missing[0][0], "frames": sum(e - b for b, e in missing)}
    done = f.Compared(Comparison((1,), (2,), relation, NOON, **told))
    codes = ("backup-short", "primary-short")
    (one,) = [x for x in about_backup(facts_of(made, done)) if x.code in codes]
    return one


HALF, LESS = HZ // 2, 2 * HZ // 5


def test_a_backup_that_lacks_both_ends_tells_each_with_its_own_timecode() -> None:
    """25 frames a second: 0.4 s before the end of 3 s is 2:15."""
    one = said(HALF, -LESS, Relation.SHORT)
    assert one.says == (
        "SND_A1/T.WAV: the backup holds a part only; 0.900 s are missing: "
        "0.500 s, from 10:00:00:00 on, and 0.400 s, from 10:00:02:15 on."
    )


@pytest.mark.parametrize("bits", [24, 16])
@pytest.mark.parametrize(
    ("begin", "end", "says"),
    [
        (HALF, LESS, "from 10:00:00:00 on; and it holds 0.400 s behind its end, which this file"),
        (-HALF, -LESS, "10:00:02:15 on; and it holds 0.500 s before it begins, which this file"),
    ],
)
def test_what_the_primary_lacks_is_told_besides(begin: int, end: int, says: str, bits: int) -> None:
    one = said(begin, end, Relation.SHORT, bits)
    assert (one.code, says in one.says) == ("backup-short", True)
    assert "neither file is whole" in one.do


def test_a_backup_that_begins_earlier_and_ends_later_tells_both() -> None:
    one = said(-HALF, LESS, Relation.LONGER, frames=HALF + LESS)
    assert one.says == (
        "SND_A1/T.WAV: the backup holds 0.900 s more, 0.500 s before it begins and 0.400 s behind "
        "its end: this file is cut."
    )


@pytest.mark.parametrize(("frame", "says"), [(72_000, "1.500"), (69_999, "1.458"), (47, "0.000")])
def test_without_timecode_a_place_is_told_to_the_millisecond_and_not_behind_it(
    frame: int, says: str
) -> None:
    """69,999 frames of 48 kHz are 1.45831 s; who listens from 2 s on does not hear it."""
    made = Cards()
    made.add(1, "T.WAV", [SOUND[:LONG]], number=1)
    made.add(2, "T.WAV", [SOUND[1 : LONG + 1]], number=2)
    done = f.Compared(Comparison((1,), (2,), Relation.DIFFERENT, NOON, frame))
    (one,) = about_backup(facts_of(made, done))
    assert one.says.endswith(f"holds other audio, from {says} s on.")
