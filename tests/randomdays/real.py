"""Random days on real volumes: `python tests/randomdays/real.py --days 36 --seed 1`; root only.

A history has one to three days. It is told with its number if it breaks a property; `--seed NUMBER
--days 1` draws the same events again. What the program had done when one of them came is the
machine's own chance, so it may take some tries. Exit status 1 if any broke.
"""

from __future__ import annotations

import argparse
import contextlib
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faultlab.lab import Lab
from loopbench import own_namespace
from randomdays.real_checks import all_is_proven, manifests_true
from randomdays.real_events import EVENTS, decide, drives_in, emptied, takes, writable
from randomdays.real_world import RealWorld

PASSES = 5


def history(number: int, folder: Path, most: int = 3) -> tuple[int, Counter[str]]:
    """One history: how many days it had, and what happened in it. Raises what broke."""
    with contextlib.closing(Lab(folder)) as lab:
        world = RealWorld(number, lab)
        try:
            dates = world.begin_days(min(most, world.chance.randrange(1, 4)))
            for date in dates:
                world.days.append(date)
                _day(world)
            _finally(world)
        except BaseException as fault:
            fault.add_note(f"real history {number}, the last of it:\n" + "\n".join(world.log[-40:]))
            raise
        finally:
            world.close()
        return len(dates), world.done


def _day(world: RealWorld) -> None:
    takes(world)
    drives_in(world)
    world.boot()
    for _ in range(world.chance.randrange(6, 13)):
        event = world.chance.choices(list(EVENTS), list(EVENTS.values()))[0]
        world.log.append(event.__name__.strip("_"))
        event(world)
        if world.chance.random() < 0.6:
            world.log.append("    breathe")
            world.breathe()
        world.look()
        manifests_true(world)


def _finally(world: RealWorld) -> None:
    """No more faults; everything is connected anew; each day is closed."""
    world.log.append("finally")
    world.shut()
    for thing in (*world.cards, *world.drives):
        if thing.here:
            thing.disk.mend()
            world.take_out(thing)
        world.put_in(thing)
    writable(world)
    emptied(world)
    for _ in range(PASSES):
        if world.command("once").returncode == 0:
            break
    world.command("recheck")
    world.command("once")
    for day in world.days:
        world.command("wrap", day)
    decide(world)
    world.look()
    manifests_true(world)
    all_is_proven(world)


def main() -> int:
    """Until enough days have passed."""
    takes = argparse.ArgumentParser(description=__doc__)
    takes.add_argument("--days", type=int, default=36)
    takes.add_argument("--seed", type=int, default=1, help="the number of the first history")
    asked = takes.parse_args()
    if refused := own_namespace():
        print(f"Not on this machine: {refused}.")
        return 3
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # by way of the lab's end
    begun, days, broke, number = time.monotonic(), 0, 0, asked.seed
    done: Counter[str] = Counter()
    while days < asked.days:
        with tempfile.TemporaryDirectory() as folder:
            try:
                had, happened = history(number, Path(folder))
                days, done = days + had, done + happened
                print(f"history {number}: {had} days, {happened.total()} events", flush=True)
            except BaseException as fault:
                if isinstance(fault, KeyboardInterrupt | SystemExit):
                    raise
                broke += 1
                days += 1
                print(f"history {number} BROKE", flush=True)
                print("".join(traceback.format_exception(fault, limit=-4)), flush=True)
        number += 1
    spent = time.monotonic() - begun
    print(", ".join(f"{what} {times}" for what, times in sorted(done.items())))
    print(f"histories {asked.seed} to {number - 1}: {days} days in {spent:.0f} s, {broke} broke")
    return 1 if broke else 0


if __name__ == "__main__":
    sys.exit(main())
