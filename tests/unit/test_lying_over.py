"""A backup recorder that rolls on over several takes is not matched: its file is named."""

from __future__ import annotations

from test_check_backup import TEN, about_backup, facts_of

from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.finding import Relation
from takehold.model.sound import Track
from twocards import HZ, Cards

SOUND = tuple(1 + n % 241 for n in range(6 * HZ))


def missing(start: int, begins: int = TEN, length: int = 6 * HZ) -> str:
    """What is said of a take of a second, beside a backup's file of so many frames."""
    made = Cards()
    made.add(1, "4T1.WAV", [SOUND[:HZ]], start, number=1, scene="4", take="1")
    made.add(2, "LONG.WAV", [tuple(-s for s in SOUND[:length])], begins, number=2)
    (one,) = [x for x in about_backup(facts_of(made)) if x.code == "backup-missing"]
    return one.says


def test_the_file_that_lies_over_a_take_is_named() -> None:
    assert missing(TEN + 2 * HZ).endswith(
        "no such recording; SND_B1/LONG.WAV lies over it by timecode, and was not compared with it."
    )


def test_so_it_is_across_midnight() -> None:
    assert "LONG.WAV" in missing(HZ, begins=24 * 3600 * HZ - HZ)


def test_one_that_covers_a_part_only_or_tells_no_timecode_is_not() -> None:
    assert "LONG.WAV" not in missing(TEN + 5 * HZ + 1)
    assert "LONG.WAV" not in missing(TEN - 1)
    assert "LONG.WAV" not in missing(HZ, begins=0)


def test_another_track_of_its_set_is_none() -> None:
    """As where each card lost another file of a take: both begin and end together."""
    made = Cards()
    line, other = SOUND[:HZ], tuple(-s for s in SOUND[:HZ])
    made.add(1, "4T1_2.WAV", [line], TEN, number=1, scene="4", tracks=(Track(2, 1, "Boom"),))
    made.add(2, "4T1_3.WAV", [other], TEN, number=2, scene="4", tracks=(Track(3, 1, "Anna"),))
    met = f.Compared(Comparison((1,), (2,), Relation.REDUCED, TEN, channels=(1,)))
    (one,) = [x for x in about_backup(facts_of(made, met)) if x.code == "backup-missing"]
    assert one.says == "SND_A1/4T1_2.WAV: the backup card has no such recording."
