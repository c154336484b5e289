"""The power cut at every flush: `python tests/crash/power.py --seed 1 --lucks 12 --processes 2`.

takehold copies, proves, records, signs and publishes a day in one real run, on a laptop's disk, a
card and two drives (ext4, exFAT) whose every write and flush is kept in order (`power_recording`).
Then the power of the whole machine is cut right before and right after each flush of any disk, and
after each write: what a disk flushed is there, and of the rest nothing, all, or what dice leave of
it (`power_medium`). Each time the disks are mounted and looked at, takehold is started again until
all is quiet, and everything is looked at again (`power_checker`).

A recording is never made twice the same: it is kept, and a failing point, told as RECORD:LUCK, is
played again with `--recording FOLDER --only RECORD:LUCK` and the same `--seed`. Points whose disks
are all equal to those of an earlier one are left out. Linux, as root. Exit status 1 if one failed.
"""

from __future__ import annotations

import argparse
import multiprocessing
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from crash.power_medium import Media, Point, points
from crash.power_recording import Recording, opened, recorded
from crash.power_stage import staged

CHUNK = 60


@dataclass
class Result:
    """What came of some points; `spoiled` counts those at which exFAT itself was damaged."""

    points: int = 0
    spoiled: int = 0
    failed: list[str] = field(default_factory=list)

    def add(self, other: Result) -> None:
        self.points += other.points
        self.spoiled += other.spoiled
        self.failed += other.failed


def distinct(recording: Recording, chosen: list[Point], seed: int) -> Iterator[Point]:
    """The points, in the order of the log, but those whose disks are as at an earlier one."""
    media, seen = Media(recording, seed), set()
    for point in sorted(chosen):
        state = hash(tuple(media.at(point).items()))
        if state not in seen:
            seen.add(state)
            yield point


def some(recording: Recording, chosen: list[Point], seed: int) -> Result:
    """Play points of one recording."""
    result = Result()
    with staged(recording, seed) as stage:
        for point in chosen:
            try:
                stage.play(point)
            except Exception as fault:
                result.failed.append(f"{point}: {type(fault).__name__}: {fault}")
            result.points += 1
            result.spoiled += stage.unreadable or any(stage.spoiled.values())
    return result


def made(folder: Path) -> Recording:
    """A new recording; in a process of its own, which leaves the machine's mounts alone."""
    return recorded(folder, folder.with_name(folder.name + "-stage"), {})


def _asked() -> argparse.Namespace:
    takes = argparse.ArgumentParser(description=__doc__)
    takes.add_argument("--seed", type=int, default=1)
    takes.add_argument("--lucks", type=int, default=6, help="at each flush: none, all, and dice")
    takes.add_argument("--every", type=int, default=1, metavar="N", help="only every N-th point")
    takes.add_argument("--processes", type=int, default=2)
    takes.add_argument("--recording", type=Path, help="play this one; made if it is not there")
    takes.add_argument("--only", help="RECORD:LUCK, as a failing point is told")
    takes.add_argument("--skip", type=int, default=0, metavar="N", help="go on after N points")
    return takes.parse_args()


def main() -> int:
    """Record, cut, tell."""
    asked = _asked()
    folder = asked.recording or Path(tempfile.mkdtemp(prefix="takehold-power-")) / "recording"
    spawned = multiprocessing.get_context("spawn")
    begun = time.monotonic()
    with ProcessPoolExecutor(asked.processes, mp_context=spawned) as pool:
        recording = opened(folder) if folder.exists() else pool.submit(made, folder).result()
        every = points(recording.records(), asked.lucks)[:: asked.every]
        chosen = list(distinct(recording, every, asked.seed))[asked.skip :]
        if asked.only:
            chosen = [Point(*map(int, asked.only.split(":")))]
        print(f"{len(every)} points, {len(chosen)} distinct, recording {folder}", flush=True)
        chunks = [chosen[n : n + CHUNK] for n in range(0, len(chosen), CHUNK)]
        total = Result()
        waiting = [pool.submit(some, recording, chunk, asked.seed) for chunk in chunks]
        for each in waiting:
            told = each.result()
            total.add(told)
            failed = "".join(f"\nFAILED {line}\n" for line in told.failed)
            print(failed or f" {total.points}", end="", flush=True)
    shutil.rmtree(recording.stage, ignore_errors=True)
    spent = time.monotonic() - begun
    print(
        f"\n{total.points} points in {spent:.0f} s, {1000 * spent / max(1, total.points):.0f} ms"
        f" each; exFAT itself damaged at {total.spoiled}; {len(total.failed)} failed"
    )
    if not asked.recording and not total.failed:
        shutil.rmtree(folder.parent)
    return 1 if total.failed else 0


if __name__ == "__main__":
    sys.exit(main())
