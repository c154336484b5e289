"""What it costs to judge a day, for a person waits for it: in proportion, and nothing twice.

Lines and calls are counted, not seconds: the count is the same on every machine.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from types import CodeType, FrameType

from benchmarks.matching import lines_of
from benchmarks.season import LABELS, ROLES, Season, Shape
from planworld import HERE, root, settings, target
from takehold.decide import coverage, layouts, zeros
from takehold.decide.judge import judge
from takehold.decide.judged import Judged
from takehold.model.finding import Verdict
from takehold.model.ledger import Ledger
from takehold.model.settings import Source

FEW, MANY, TRACKS = 20, 80, 8
# Of each take, on two cards, with three copies each. It took 2,400 when this was written.
LINES_A_TAKE = 3000


def season(takes: int) -> Callable[[], Judged]:
    """The judging of a day of so many takes, of which nothing is to be said."""
    cards = {role: root(LABELS[role]) for role in ROLES}
    drives = [target(f"shuttle-{number}") for number in (1, 2, 3)]
    made = Season(Shape(takes, takes, TRACKS), cards, drives, HERE)
    known = Ledger.of(made.facts({role: {} for role in ROLES}))
    sources = tuple(Source(role.value, role, label=LABELS[role]) for role in ROLES)
    wanted = settings(sources=sources)

    def work() -> Judged:
        return judge(known, made.today, wanted)

    return work


def calls_of(work: Callable[[], object], *of: Callable[..., object]) -> list[int]:
    """How often each of these functions is called."""
    count: Counter[CodeType] = Counter()

    def told(frame: FrameType, event: str, _arg: object) -> None:
        if event == "call":
            count[frame.f_code] += 1

    before = sys.getprofile()
    sys.setprofile(told)
    try:
        work()
    finally:
        sys.setprofile(before)
    return [count[function.__code__] for function in of]


def test_four_times_the_takes_cost_four_times_the_steps() -> None:
    """A square would be sixteen times; sorting adds little."""
    few, many = (lines_of(season(takes)) for takes in (FEW, MANY))
    assert few > 20 * FEW, "the lines are counted at all"
    assert many < 4.5 * few
    assert many < LINES_A_TAKE * MANY


def test_the_day_is_a_good_one() -> None:
    """Else the counts are of something else."""
    judged = season(FEW)()
    assert judged.verdict is Verdict.READY
    assert len(judged.view.files) == 2 * FEW


def test_each_track_is_weighed_for_zeros_once() -> None:
    assert calls_of(season(FEW), zeros._track) == [FEW * TRACKS]


def test_what_is_not_said_is_not_put_together() -> None:
    """No name of a sound track, no channels where the bytes tell all, no clock without packs."""
    its = (zeros.name_of, zeros.said_name, layouts.heard, coverage._window)
    assert calls_of(season(FEW), *its) == [0, 0, 0, 0]
