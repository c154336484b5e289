"""Who has to wait for whom: `python tests/benchmarks/beside.py [--gigabytes 1] [--repeat 3]`.

    slow     a drive that takes 40 MB/s beside a fast one
    stalled  a drive that stops taking anything beside a fast one
    cards    two cards at once, to the same two drives

Media as in places.py. Each case is timed beside the same work alone, turn by turn in one run: from
the start of `takehold once` until the last of the card's files has its name on the fast drive
(`proven`: a name is given last), and until all of the card was read (`card free`). Medians, and
their ratio to the work alone. Needs root.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.cards import takes, write
from benchmarks.places import DRIVE_WRITE, Places, places
from instance import config_text

LOOK_S = 0.02
LONGEST_S = 600
SLOW_MB = 40
STALLED_MB = 0.001
STALL_SECONDS = 5
# Case: the cards and the drives that take part, the pace of the second drive, its bar.
CASES = {
    "slow": (1, 2, SLOW_MB, 1.15),
    "stalled": (1, 2, STALLED_MB, 1.10),
    "cards": (2, 2, DRIVE_WRITE, 1.10),
}


@dataclass(frozen=True, slots=True)
class Times:
    """Seconds since the start of the command."""

    proven: float
    free: float


def run(where: Places, sizes: Sequence[int], drives: Sequence[Path], pace: float) -> Times:
    """Copy the first cards to the drives; the first card and the first drive are timed."""
    where.clean()
    where.pace(where.drives[1], "write", pace)
    cards = where.cards[: len(sizes)]
    with tempfile.TemporaryDirectory(prefix="takehold-bench-") as folder:
        scratch = Path(folder)
        sources = {f"card-{n}": ("backup", str(card.name)) for n, card in enumerate(cards, 1)}
        keys = {"copies_required": 1, "stall_seconds": STALL_SECONDS, "reserve_megabytes": 0}
        config = scratch / "takehold.toml"
        named = {f"drive-{n}": drive for n, drive in enumerate(drives, 1)}
        config.write_text(config_text(sources, named, keys))
        environment = {**os.environ, "TAKEHOLD_STATE": str(scratch / "state")}
        takehold = [sys.executable, "-m", "takehold", "--config", str(config)]
        subprocess.run([*takehold, "key", "new"], env=environment, check=True, capture_output=True)
        wanted = [p.name for p in cards[0].rglob("*.WAV")]
        before = where.read_from(cards[0]) or 0
        begun = time.monotonic()
        with subprocess.Popen(
            [*takehold, "once"],
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        ) as process:
            try:
                return _watched(where, sizes[0] + before, wanted, begun)
            finally:
                where.pace(where.drives[1], "write", DRIVE_WRITE)
                process.terminate()
                process.wait(LONGEST_S)


def _watched(where: Places, read: int, wanted: Sequence[str], begun: float) -> Times:
    proven = free = 0.0
    while not (proven and free):
        now = time.monotonic() - begun
        if now > LONGEST_S:
            sys.exit(f"not proven within {LONGEST_S} s")
        there = {p.name for p in where.drives[0].rglob("*.WAV")}
        proven = proven or (now if there.issuperset(wanted) else 0.0)
        free = free or (now if (where.read_from(where.card) or 0) >= read else 0.0)
        time.sleep(LOOK_S)
    return Times(proven, free)


def compare(where: Places, sizes: Sequence[int], repeat: int) -> list[dict[str, object]]:
    """Each case beside the same work alone."""
    rows: list[dict[str, object]] = []
    for case, (cards, drives, pace, bar) in CASES.items():
        # What one card needs alone to those drives that are as they should be.
        beside_of = where.drives[:drives] if case == "cards" else where.drives[:1]
        alone, beside = [], []
        for turn in range(repeat):
            alone.append(run(where, sizes[:1], beside_of, DRIVE_WRITE))
            beside.append(run(where, sizes[:cards], where.drives[:drives], pace))
            print(f"  {turn + 1}/{repeat} {case}: {alone[-1]} {beside[-1]}", file=sys.stderr)
        for figure in ("proven", "free"):
            one, other = (statistics.median(getattr(t, figure) for t in s) for s in (alone, beside))
            row = {"case": case, "until": figure, "alone": one, "beside": other}
            rows.append(row | {"ratio": other / one, "bar": bar})
    return rows


def main() -> None:
    """Make the places, run all, print the table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--gigabytes", type=float, default=1.0)
    asked.add_argument("--repeat", type=int, default=3)
    asked.add_argument("--json", type=Path)
    given = asked.parse_args()
    content = takes(given.gigabytes)
    folder = Path(tempfile.mkdtemp(prefix="takehold-bench-"))
    try:
        with places(folder / "places", "media", 2, 2 * content.files * content.payload, 2) as where:
            sizes = [write(card / "SND", content) for card in where.cards]
            where.slow_down()
            rows = compare(where, sizes, given.repeat)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print("| case | until | alone s | beside s | ratio | bar |\n|---|---|---|---|---|---|")
    for row in rows:
        figures = f"{row['alone']:.2f} | {row['beside']:.2f} | {row['ratio']:.2f}"
        print(f"| {row['case']} | {row['until']} | {figures} | {row['bar']} |")
    if given.json:
        given.json.write_text(json.dumps(rows, indent=1) + "\n")


if __name__ == "__main__":
    main()
