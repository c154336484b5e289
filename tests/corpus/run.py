"""The corpus: `python tests/corpus/run.py --takes 300 --seed 1 [--odd]`.

A made-up day with planted truths on two cards goes through the real program; on the odd one the
config does not say how many channels are expected. Two volumes are formatted within a day of their
own: that needs root. Printed: what was planted, how often, what was missed, what was said in vain.
Exit status 1 unless all is 0.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from corpus.damage import DAMAGE
from corpus.day import SCENE_TAKES, Day, Result, build, is_later_today, said_of, weigh
from corpus.formatted import play_formatted
from corpus.plants import CHECKS, RELATIONS
from corpus.rounds import ROUNDS, go_round

PLANTS = RELATIONS + CHECKS + DAMAGE
EXPECT = {"timecode_rate": "25", "sample_rate": 48_000, "bit_depth": 24, "channels": 3}


def play(folder: Path, takes: int, seed: int, *, odd: bool) -> Result:
    """One day: built, gone through, weighed."""
    day = Day(folder, np.random.default_rng(seed), odd)
    day.keys = {"expect": {key: EXPECT[key] for key in EXPECT if not (odd and key == "channels")}}
    build(day, PLANTS, takes - len(ROUNDS) * SCENE_TAKES)
    go_round(day, takes // SCENE_TAKES)
    for card in day.cards:
        if is_later_today(day.card(card)):
            day.owed("clock-ahead", f"{card}: by the recorder's clock")
    of_volumes = play_formatted(folder / "formatted", seed, odd=odd)
    return both(weigh(day, said_of(day)), of_volumes)


def both(one: Result, other: Result) -> Result:
    """Two days as one."""
    return Result(
        one.planted + other.planted,
        one.missed + other.missed,
        one.false_alarms + other.false_alarms,
        one.figures + other.figures,
    )


def table(result: Result) -> str:
    """As docs/matching.md shows it."""
    lines = ["| planted | times | missed |", "|---|---|---|"]
    for plant, times in sorted(result.planted.items()):
        missed = sum(line.startswith(f"{plant}: ") for line in result.missed)
        lines.append(f"| {plant} | {times} | {missed} |")
    return "\n".join(lines)


def main() -> int:
    """Print the table and what was wrong."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--takes", type=int, default=300)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--odd", action="store_true", help="odd layouts of chunks")
    asked.add_argument("--folder", type=Path, help="keep it there")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="corpus-") as scratch:
        folder = given.folder or Path(scratch)
        folder.mkdir(exist_ok=True)
        result = play(folder, given.takes, given.seed, odd=given.odd)
    print(table(result))
    for line in result.missed:
        print("MISSED", line)
    for line in result.false_alarms:
        print("FALSE", line)
    print(
        f"{sum(result.planted.values())} takes, {len(result.missed)} missed, "
        f"{len(result.false_alarms)} said in vain"
    )
    return 1 if result.missed or result.false_alarms else 0


if __name__ == "__main__":
    sys.exit(main())
