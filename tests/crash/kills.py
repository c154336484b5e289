"""takehold killed at every operation: `python tests/crash/kills.py --rounds 4 --seed 1`.

Each scenario (`kills_scenarios.py`) is first played undisturbed, and its N system calls that can
change anything stored are counted; with `--looks` those that only read, close or lock, too.
Call 1 to N is a point each: the scenario's start is put back, its command is played and killed at
that call, what must always hold is checked, it is started again until all is quiet, and everything
that was promised is checked. `--every K` takes each K-th call. Another round has other luck: half
of the writes are cut in the middle, and some restarts are killed as well.
The threads take turns as they like, so a number is the same place only roughly.

A failing point is told as SCENARIO:CALL:ROUND; `--only` plays it again with the same `--seed`.
Linux on x86-64, as root. Exit status 1 if a point failed.
"""

from __future__ import annotations

import argparse
import contextlib
import multiprocessing
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from crash.kills_counter import Kill, die_with_the_parent
from crash.kills_scenarios import SCENARIOS, Scenario
from crash.kills_stage import Stage, staged

KILLED_TWICE = 0.15
CUT_IN_HALF = 0.5


@dataclass(frozen=True, slots=True)
class Point:
    """The `call` of a scenario at which it is killed; `round` is how often it was gone through."""

    scenario: str
    call: int
    round: int = 0

    def __str__(self) -> str:
        return f"{self.scenario}:{self.call}:{self.round}"


@dataclass(frozen=True, slots=True)
class Part:
    """Of one round through a scenario, every `every`-th call from `first` on."""

    scenario: str
    round: int
    first: int
    every: int
    seed: int
    looks: bool = False
    to_the_first: bool = False


@dataclass
class Told:
    """What came of some points of a scenario; `at` counts the kinds of calls killed at."""

    scenario: str
    calls: int = 0
    points: int = 0
    ended_before: int = 0
    killed_twice: int = 0
    at: Counter[str] = field(default_factory=Counter)
    failed: list[str] = field(default_factory=list)

    def add(self, other: Told) -> None:
        """Sum it up."""
        self.calls = max(self.calls, other.calls)
        self.points += other.points
        self.ended_before += other.ended_before
        self.killed_twice += other.killed_twice
        self.at += other.at
        self.failed += other.failed


@contextlib.contextmanager
def _played(scenario: Scenario) -> Iterator[Stage]:
    """A stage at the start of a scenario, in memory."""
    made = tempfile.mkdtemp(prefix="takehold-kills-", dir="/dev/shm")
    try:
        with staged(Path(made) / "stage") as stage:
            scenario.before(stage)
            stage.keep()
            yield stage
    finally:
        shutil.rmtree(made, ignore_errors=True)


def play(part: Part) -> Told:
    """Play a part of a scenario, each point from the same start; undisturbed all must be well."""
    scenario = SCENARIOS[part.scenario]
    told = Told(part.scenario)
    with _played(scenario) as stage:
        card = stage.card_digest()
        told.calls, _ = _play(stage, scenario, None, part.looks)
        _check(stage, scenario)
        scenario.again(stage)
        scenario.quiet(stage)
        for call in range(part.first, told.calls + 1, part.every):
            point = Point(part.scenario, call, part.round)
            _one(stage, scenario, point, part.seed, part.looks, told)
            if part.to_the_first and told.failed:
                break
        if stage.card_digest() != card:
            told.failed.append(f"{told.scenario}: the card was written to")
    return told


def again(point: Point, seed: int, looks: bool) -> Told:
    """Play one point."""
    told = Told(point.scenario)
    with _played(SCENARIOS[point.scenario]) as stage:
        _one(stage, SCENARIOS[point.scenario], point, seed, looks, told)
    return told


def _one(
    stage: Stage, scenario: Scenario, point: Point, seed: int, looks: bool, told: Told
) -> None:
    dice = random.Random(f"{seed} {point}")
    at = "the start"
    try:
        stage.put_back()
        kill = Kill(point.call, half=dice.random() < CUT_IN_HALF)
        _, at = _play(stage, scenario, kill, looks)
        told.points += 1
        told.ended_before += not at
        told.at[at.split(" ")[0] or "nothing"] += 1
        _check(stage, scenario)
        if dice.random() < KILLED_TWICE:
            second = Kill(1 + int(point.call * dice.random()), half=dice.random() < CUT_IN_HALF)
            _, later = _play(stage, scenario, second, looks)
            told.killed_twice += 1
            at += f", again at call {second.at}, {later}"
            _check(stage, scenario)
        scenario.again(stage)
        _check(stage, scenario)
        scenario.quiet(stage)
    except Exception as fault:
        late = stage.said()[-3000:] if isinstance(fault, TimeoutError) else ""
        told.failed.append(f"{point} at {at}: {type(fault).__name__}: {fault}{late}")


def _play(stage: Stage, scenario: Scenario, kill: Kill | None, looks: bool) -> tuple[int, str]:
    """The scenario's own command; how many calls were counted, and which it was killed at."""
    ending = stage.play(
        scenario.words(stage), kill, says=scenario.says, looks=looks, lying=scenario.lying
    )
    return ending.calls, ending.at


def _check(stage: Stage, scenario: Scenario) -> None:
    stage.assert_true(papers=scenario.papers)
    scenario.at_once(stage)


def parts_of(asked: argparse.Namespace) -> list[Part]:
    """All that was asked for; a whole round is split, so that every process has something to do."""
    split = 4 * asked.processes if asked.every < 5 else 1
    return [
        Part(
            name,
            number,
            # Which of the calls a coarse run takes is luck, too.
            1 + (asked.seed + number) % asked.every + asked.every * part,
            asked.every * split,
            asked.seed,
            asked.looks,
            asked.to_the_first,
        )
        for number in range(asked.from_round, asked.rounds)
        for name in asked.scenario or SCENARIOS
        for part in range(split)
    ]


def _asked() -> argparse.Namespace:
    takes = argparse.ArgumentParser(description=__doc__)
    takes.add_argument("--every", type=int, default=1)
    takes.add_argument("--rounds", type=int, default=1)
    takes.add_argument("--from-round", type=int, default=0, help="go on where a run broke off")
    takes.add_argument("--seed", type=int, default=1)
    takes.add_argument("--processes", type=int, default=2)
    takes.add_argument("--scenario", action="append", choices=list(SCENARIOS))
    takes.add_argument("--only", help="SCENARIO:CALL:ROUND, as a failing point is told")
    takes.add_argument("--looks", action="store_true", help="calls that change nothing, too")
    takes.add_argument("--to-the-first", action="store_true", help="stop where one has failed")
    return takes.parse_args()


def main() -> int:
    """Count, kill, tell."""
    asked = _asked()
    if asked.only:
        name, call, number = asked.only.split(":")
        told = again(Point(name, int(call), int(number)), asked.seed, asked.looks)
        print("\n".join(told.failed) or "it holds")
        return 1 if told.failed else 0
    begun = time.monotonic()
    spawned = multiprocessing.get_context("spawn")
    sums: dict[str, Told] = {}
    with ProcessPoolExecutor(asked.processes, spawned, die_with_the_parent) as pool:
        for told in pool.map(play, parts_of(asked)):
            sums.setdefault(told.scenario, Told(told.scenario)).add(told)
            print("".join(f"FAILED {line}\n" for line in told.failed), end="")
            print(f"{told.scenario}: {told.points} points more", flush=True)
    return _tell(sums, time.monotonic() - begun)


def _tell(sums: dict[str, Told], spent: float) -> int:
    all_ = Told("all")
    for name, told in sums.items():
        all_.add(told)
        print(
            f"{name}: {told.calls} calls, {told.points} points, {told.killed_twice} killed"
            f" twice, {told.ended_before} ended before, {len(told.failed)} failed"
        )
    print("killed at: " + ", ".join(f"{name} {n}" for name, n in all_.at.most_common()))
    each = 1000 * spent / max(1, all_.points)
    print(f"{all_.points} points in {spent:.0f} s, {each:.0f} ms each, {len(all_.failed)} failed")
    return 1 if all_.failed else 0


if __name__ == "__main__":
    sys.exit(main())
