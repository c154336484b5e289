"""Random days by the thousand: `python tests/randomdays/run.py --days 100000 --seed 1`.

Histories are numbered from `--seed` on and run until so many days have passed. A history that
breaks a property is told with its number: `--seed NUMBER --days 1` runs it again, the very same.
Exit status 1 if any broke.
"""

from __future__ import annotations

import argparse
import sys
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from randomdays.history import run

CHUNK = 20


def some(first: int, count: int) -> tuple[int, list[str]]:
    """So many histories: how many days they had, and what broke."""
    days, broke = 0, []
    for number in range(first, first + count):
        try:
            days += run(number)
        except BaseException as fault:
            broke.append(
                f"history {number}\n{''.join(traceback.format_exception(fault, limit=-4))}"
            )
    return days, broke


def main() -> int:
    """Until enough days have passed."""
    takes = argparse.ArgumentParser(description=__doc__)
    takes.add_argument("--days", type=int, default=1000)
    takes.add_argument("--seed", type=int, default=1, help="the number of the first history")
    takes.add_argument("--processes", type=int, default=2)
    asked = takes.parse_args()
    begun, days, broke, first = time.monotonic(), 0, 0, asked.seed
    count = min(CHUNK, max(1, asked.days // 6))
    with ProcessPoolExecutor(asked.processes) as pool:
        while days < asked.days:
            starts = [first + count * n for n in range(asked.processes if asked.days > 1 else 1)]
            first = starts[-1] + count
            for had, told in pool.map(some, starts, [count] * len(starts)):
                days += had
                broke += len(told)
                print("\n".join(told), end="", flush=True)
    spent = time.monotonic() - begun
    print(
        f"histories {asked.seed} to {first - 1}: {days} days, {60 * days / spent:.0f} a minute, "
        f"{broke} broke"
    )
    return 1 if broke else 0


if __name__ == "__main__":
    sys.exit(main())
