"""The bars of docs/performance.md, held: `python tests/benchmarks/bars.py [--only ROW,ROW]`.

    python tests/benchmarks/bars.py [--repeat 5] [--quick] [--record] [--show]

Each row copies one card with takehold and with the peers that its bars name, in one run (copying.py
says how). Printed: each ratio beside its bar and beside what was recorded. It fails, with status 1,
where a ratio is worse than the recorded one by more than NOISE; a bar that was not met when it was
recorded fails nothing by itself. `--record` writes what was measured to docs/performance.json.
`--quick` takes a quarter of the content and one turn: enough to see that all of it runs. `--show`
measures nothing and prints what is recorded.
Needs what copying.py needs.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.cards import Content, small, takes, write
from benchmarks.copying import Run, compare, table
from benchmarks.places import places

RECORDED = Path(__file__).parents[2] / "docs" / "performance.json"
# Ratios of one run move by so much from run to run on a machine that does nothing else.
NOISE = 1.15


@dataclass(frozen=True, slots=True)
class Bar:
    """Takehold's figure `what` over the same of the peers together, and the most it may be.

    `what` is wall, cpu, memory or card_read; P8 is its wall time with a second read of the card.
    With no peers it is the figure itself.
    """

    what: str
    peers: str
    most: float


@dataclass(frozen=True, slots=True)
class Row:
    """One card, one kind of places (places.py), so many drives."""

    kind: str
    content: Content
    drives: int
    bars: tuple[Bar, ...]

    @property
    def peers(self) -> list[str]:
        """The scripts of peers.py to run beside it."""
        return list(dict.fromkeys(p for bar in self.bars for p in bar.peers.split() if p))


READS = Bar("card_read", "", 1.02)
MEMORY = Bar("memory", "", 120)
ONE_READ = Bar("wall", "read-card", 1.10)
ROWS = {
    "media-big-2": Row(
        "media",
        takes(2.0),
        2,
        (
            ONE_READ,
            Bar("P8", "read-card read-card", 1.10),
            Bar("wall", "tee", 0.60),
            Bar("wall", "cp+openssl", 0.32),
            Bar("cpu", "cp+openssl", 0.50),
            READS,
            MEMORY,
        ),
    ),
    "media-big-1": Row("media", takes(2.0), 1, (ONE_READ,)),
    "media-big-3": Row("media", takes(2.0), 3, (ONE_READ,)),
    "media-small-2": Row(
        "media",
        small(2_000, 1_000),
        2,
        (
            Bar("wall", "read-card", 1.20),
            Bar("wall", "rsync", 0.30),
            Bar("cpu", "rsync", 1.0),
            READS,
        ),
    ),
    "loop-big-2": Row(
        "loop",
        takes(1.0),
        2,
        (
            Bar("wall", "tee", 0.90),
            Bar("wall", "cp+sha256sum", 0.50),
            Bar("wall", "parallel", 1.00),
            Bar("cpu", "tee", 0.40),
        ),
    ),
    "loop-small-2": Row("loop", small(10_000, 50), 2, (Bar("wall", "parallel", 1.10),)),
    "tmpfs-big-2": Row(
        "tmpfs", takes(1.0), 2, (Bar("wall", "cp+openssl", 0.60), Bar("wall", "tee", 0.55))
    ),
    "exfat-big-2": Row("exfat", takes(1.0), 2, (Bar("wall", "cp+xxhsum", 1.30),)),
}


def ratio(bar: Bar, medians: Mapping[str, Run]) -> float:
    """Takehold's figure over that of the bar's peers, one after the other."""
    name, what = ("takehold+P8", "wall") if bar.what == "P8" else ("takehold", bar.what)
    mine: float = getattr(medians[name], what)
    peers = sum(getattr(medians[peer], what) for peer in bar.peers.split())
    return mine / peers if bar.peers else mine


def measure(row: Row, repeat: int) -> dict[str, Run]:
    """The medians of takehold and of the row's peers."""
    folder = Path(tempfile.mkdtemp(prefix="takehold-bench-"))
    methods = ["takehold"]
    if any(bar.what == "P8" for bar in row.bars):
        methods.append("takehold+P8")
    try:
        size = row.content.files * row.content.payload
        with places(folder / "places", row.kind, row.drives, size) as where:
            card = where.card / "SND_A1"
            size = write(card, row.content)
            where.slow_down()
            return compare(where, card, size, methods + row.peers, repeat)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def held(name: str, bar: Bar, value: float, known: Mapping[str, Any]) -> bool:
    """Print a bar's line; whether the ratio is as good as the recorded one."""
    key = f"{bar.what} / {bar.peers or 'itself'}"
    recorded = known.get(name, {}).get("ratios", {}).get(key)
    said = "-" if recorded is None else f"{recorded:.3f}"
    good = recorded is None or value <= recorded * NOISE
    met = "yes" if value <= bar.most else "**no**"
    print(f"| {name} | {key} | {value:.3f} | {bar.most} | {met} | {said} |", flush=True)
    return good


def show(known: Mapping[str, Any]) -> None:
    """The page's table: each bar, and what was measured; the figures of takehold of each row."""
    print("| row | takehold / peers | measured | bar | met |\n|---|---|---|---|---|")
    for name, row in ROWS.items():
        for bar in row.bars if name in known else ():
            key = f"{bar.what} / {bar.peers or 'itself'}"
            value = known[name]["ratios"][key]
            met = "yes" if value <= bar.most else "**no**"
            print(f"| {name} | {key} | {value:.3f} | {bar.most} | {met} |")
    print("\n| row | method | wall s | CPU s | MB | card read x | copies read x |")
    print("|---|---|---|---|---|---|---|")
    for name in (name for name in ROWS if name in known):
        for method, run in known[name]["medians"].items():
            figures = f"{run['wall']:.2f} | {run['cpu']:.2f} | {run['memory']:.0f}"
            figures += f" | {run['card_read']:.3f} | {run['back_read']:.3f}"
            print(f"| {name} | {method} | {figures} |")


def main() -> int:
    """Measure, print, record or compare."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--only", default=",".join(ROWS))
    asked.add_argument("--repeat", type=int, default=5)
    asked.add_argument("--quick", action="store_true")
    asked.add_argument("--record", action="store_true")
    asked.add_argument("--show", action="store_true")
    given = asked.parse_args()
    known = json.loads(RECORDED.read_text()) if RECORDED.exists() else {}
    if given.show:
        show(known)
        return 0
    told, worse = dict(known), []
    for name in given.only.split(","):
        row = ROWS[name]
        if given.quick:
            content = Content(-(-row.content.files // 4), row.content.payload, row.content.channels)
            row = Row(row.kind, content, row.drives, row.bars)
        medians = measure(row, 1 if given.quick else given.repeat)
        print(f"\n{name}, medians of {given.repeat}\n\n{table(medians)}\n")
        print(
            "| row | takehold / peers | ratio | bar | met | recorded |\n|---|---|---|---|---|---|"
        )
        ratios = {}
        for bar in row.bars:
            value = ratio(bar, medians)
            ratios[f"{bar.what} / {bar.peers or 'itself'}"] = value
            if not held(name, bar, value, known):
                worse.append(name)
        told[name] = {"ratios": ratios, "medians": {n: asdict(run) for n, run in medians.items()}}
        if given.record:
            RECORDED.write_text(json.dumps(told, indent=1) + "\n")
    if given.record:
        return 0
    if worse:
        print(f"worse than recorded: {', '.join(dict.fromkeys(worse))}")
    return 1 if worse else 0


if __name__ == "__main__":
    sys.exit(main())
