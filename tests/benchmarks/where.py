"""Where the processor's time goes: `python tests/benchmarks/where.py media [--gigabytes 2]`.

    python tests/benchmarks/where.py KIND [--gigabytes 2 | --small FILES KILOBYTES] [--repeat 3]

`takehold once` copies one card to two drives; CPU seconds (clock_gettime(2),
CLOCK_THREAD_CPUTIME_ID) of each kind of its threads, drives added up: medians. What the threads of
the kernel do for it is in none. Needs root.
"""

from __future__ import annotations

import argparse
import collections
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.cards import small, takes, write
from benchmarks.copying import LONGEST_S, product
from benchmarks.places import places

# Runs the command with a count of each thread's own time, which is printed last.
COUNTED = """
import atexit, json, sys, threading, time
spent, plain = {}, threading.Thread.run
def run(thread):
    begun = time.thread_time()
    try:
        plain(thread)
    finally:
        name = thread.name.split(" ")[0].split("-")[0]
        spent[name] = spent.get(name, 0) + time.thread_time() - begun
threading.Thread.run = run
def tell():
    spent["main"] = time.thread_time()
    print(json.dumps(spent | {"all": time.process_time()}), file=sys.stderr)
atexit.register(tell)
from takehold.cli.main import main
main()
"""
NAMES = {
    "hash": "checksums of the card's bytes",
    "measure_0": "the audio measure",
    "prove": "flush, read-back, names",
    "write": "writing; of small files the read-back and names too",
    "card": "listing, reading; of small files their checksums and measure too",
    "main": "start, catalogue, judging, manifest",
    "all": "all",
}


def main() -> None:
    """Measure and print the table."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("kind", choices=("media", "loop", "exfat", "tmpfs"))
    asked.add_argument("--gigabytes", type=float, default=2.0)
    asked.add_argument("--small", nargs=2, type=int, metavar=("FILES", "KILOBYTES"))
    asked.add_argument("--repeat", type=int, default=3)
    given = asked.parse_args()
    content = small(*given.small) if given.small else takes(given.gigabytes)
    folder = Path(tempfile.mkdtemp(prefix="takehold-bench-"))
    runs = collections.defaultdict(list)
    try:
        size = content.files * content.payload
        with places(folder / "places", given.kind, 2, size) as where:
            size = write(where.card / "SND_A1", content)
            where.slow_down()
            for _ in range(given.repeat):
                where.clean()
                with tempfile.TemporaryDirectory(prefix="takehold-bench-") as scratch:
                    words = product(Path(scratch), ("primary", "backup"), where.drives)
                    command = [words[0], "-c", COUNTED, *words[3:]]
                    state = {**os.environ, "TAKEHOLD_STATE": str(Path(scratch) / "state")}
                    done = subprocess.run(
                        command, env=state, capture_output=True, timeout=LONGEST_S, text=True
                    )
                for name, seconds in json.loads(done.stderr.splitlines()[-1]).items():
                    runs[name].append(seconds)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print(f"{given.kind}, {content.files} files, {size / 1e6:.0f} MB, medians of {given.repeat}\n")
    print("| stage | CPU s | s a GB | ms a file |\n|---|---|---|---|")
    for name, says in NAMES.items():
        spent = statistics.median(runs[name]) if runs[name] else 0.0
        each = f"{spent / size * 1e9:.2f} | {spent / content.files * 1000:.2f}"
        print(f"| {says} | {spent:.2f} | {each} |")


if __name__ == "__main__":
    main()
