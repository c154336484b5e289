"""Random days by the thousand: `python tests/randomdays/run.py --days 100000 --seed 1`.

Histories are numbered from `--seed` on and run until so many days have passed. A history that
breaks a property is told with its number: `--seed NUMBER --days 1` runs it again, the very same.
Exit status 1 if any broke.
"""

from __future__ import annotations

import argparse
import itertools
import os
import sys
import time
import traceback
from collections.abc import Iterator
from multiprocessing import Pool
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from randomdays.history import run

CHUNK = 10
SAY_EVERY = 1000  # days
WAVE = 4  # chunks a process gets at once


def some(first: int, count: int) -> tuple[int, int, list[str]]:
    """So many histories from the first on: their number, how many days they had, what broke."""
    days, broke = 0, []
    for number in range(first, first + count):
        try:
            days += run(number)
        except BaseException as fault:
            told = "".join(traceback.format_exception(fault, limit=-4))
            broke.append(f"history {number}\n{told}")
    return count, days, broke


def results(seed: int, count: int, processes: int) -> Iterator[tuple[int, int, list[str]]]:
    """Without an end, in the order of the numbers; with one process there is no other."""
    firsts = itertools.count(seed, count)
    if processes == 1:
        yield from (some(first, count) for first in firsts)
    with Pool(processes) as pool:
        while True:
            wave = [(next(firsts), count) for _ in range(processes * WAVE)]
            yield from pool.starmap(some, wave, chunksize=1)


def main() -> int:
    """Until enough days have passed."""
    takes = argparse.ArgumentParser(description=__doc__)
    takes.add_argument("--days", type=int, default=1000)
    takes.add_argument("--seed", type=int, default=1, help="the number of the first history")
    takes.add_argument("--processes", type=int, default=2)
    asked = takes.parse_args()
    begun, days, broke, histories = time.monotonic(), 0, 0, 0
    alone = asked.days == 1
    for count, had, told in results(
        asked.seed, 1 if alone else CHUNK, 1 if alone else asked.processes
    ):
        histories, days, broke = histories + count, days + had, broke + len(told)
        print("\n".join(told), end="", flush=True)
        if days // SAY_EVERY > (days - had) // SAY_EVERY:
            print(f"{days} days in {histories} histories so far, {broke} broke", flush=True)
        if alone or days >= asked.days:
            break
    spent, busy = time.monotonic() - begun, sum(os.times()[:4])
    print(
        f"histories {asked.seed} to {asked.seed + histories - 1}: {days} days, "
        f"{60 * days / spent:.0f} a minute, {60 * days / busy:.0f} a minute of processor time, "
        f"{broke} broke"
    )
    return 1 if broke else 0


if __name__ == "__main__":
    sys.exit(main())
