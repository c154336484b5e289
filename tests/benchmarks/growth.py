"""What it costs to know many recordings: `python tests/benchmarks/growth.py`.

    python tests/benchmarks/growth.py [--most 100000] [--page]

With `--page` it writes docs/growth.json, docs/growth.svg, and the table in docs/performance.md.

For 100, 1,000, 10,000 and 100,000 recordings in the catalogue (season.py says of what kind), with
the newest day's two cards and three drives in, nothing owed: seconds of a start, of turns, of
commands beside a running daemon, interpreter start included; and how each grows: the exponent
between the two largest, 1 being in proportion. Then a card of 5,000 known files that is put in: the
time until it is listed, recognised and settled. Medians of 5, but for the start, the first turn and
the wrap, which happen once. Needs root.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Mapping
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.plot import plot
from benchmarks.season import Shape
from benchmarks.stage import Stage, staged
from instance import Daemon
from takehold.model.settings import Role

SIZES = (100, 1_000, 10_000, 100_000)
ROUNDS = 5
DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGE, BEGINS, ENDS = DOCS / "performance.md", "<!-- growth begins -->", "<!-- growth ends -->"
LONGEST_S = 900
CARD_FILES = 5_000
INSIDE = Path(__file__).with_name("inside.py")
# Figure, what it is called, and the bar in seconds; each should be in proportion or better.
LINES = {
    "ready_s": ("start-up, engine ready", None),
    "first_turn_s": ("first turn", None),
    "to_rest_s": ("from there to rest", None),
    "turn_s": ("idle turn", None),
    "shown_s": ("what it shows of itself", None),
    "match_s": ("matching of a day", None),
    "judge_s": ("judging of a day", None),
    "status_s": ("takehold status", 0.3),
    "day_s": ("takehold day", 0.3),
    "wrap_s": ("takehold wrap", 2.0),
}
Figures = dict[str, float]


def inside(stage: Stage, *more: str) -> Figures:
    """The engine's own figures, of a process of its own."""
    home = stage.home
    command = [sys.executable, str(INSIDE), home.config, home.state, home.key, *more]
    done = subprocess.run(
        command,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        env={**os.environ, "TAKEHOLD_STATE": home.state},
        check=False,
    )
    if done.returncode:
        raise SystemExit(done.stderr)
    told: Figures = json.loads(done.stdout)
    return told


def command(stage: Stage, name: str, rounds: int = ROUNDS) -> Figures:
    """The median of a command's times as a person has them, and of its own CPU time."""
    times, used = [], []
    for _ in range(rounds):
        begun, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
        done = stage.instance.run(name, timeout=LONGEST_S)
        times.append(time.perf_counter() - begun)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        if done.returncode != 0:
            raise SystemExit(f"{name}: status {done.returncode}: {done.stdout}{done.stderr}")
    return {f"{name}_s": statistics.median(times), f"{name}_cpu_s": statistics.median(used)}


def at_rest(stage: Stage, daemon: Daemon, cards: int = 2) -> None:
    """Wait until so many cards and watch folders are seen and nothing is at work."""

    def still() -> bool:
        there = daemon.state().get("cards", ())
        return len(there) == cards and daemon.is_idle() and not any(c["in_use"] for c in there)

    stage.instance.wait_for(still, LONGEST_S)


def measured(count: int) -> Figures:
    """All figures for so many recordings."""
    with staged(Shape(count // 2)) as stage:
        told = {"made_s": stage.made_s, "catalogue_mb": stage.catalogue_bytes / 1e6}
        told |= inside(stage)
        if told.pop("busy"):
            raise SystemExit("something was owed: the figures would not be those of a rest")
        with stage.instance.daemon(LONGEST_S) as daemon:
            at_rest(stage, daemon)
            told |= command(stage, "status") | command(stage, "day")
            told |= command(stage, "wrap", rounds=1)
    return told


def known_card() -> Figures:
    """A card of known files is put in beside a running engine."""
    with staged(Shape(CARD_FILES, CARD_FILES, tracks=2, seconds=9)) as stage:
        for disk in stage.cards.values():
            disk.unmount()
        card = stage.cards[Role.PRIMARY]
        told = inside(stage, "--mount", card.loop, str(card.mount))
    return {"known_card_s": told["known_card_s"]}


def exponent(points: list[tuple[float, float]]) -> float:
    """How a figure grows between the two largest: the slope in a plot of logarithms."""
    (few, short), (many, long) = points[-2:]
    return math.log(long / short) / math.log(many / few)


def of(told: Mapping[int, Figures], name: str) -> list[tuple[float, float]]:
    """A figure by the number of recordings."""
    return [(float(count), figures[name]) for count, figures in told.items()]


def table(told: Mapping[int, Figures], exponents: Mapping[str, float]) -> str:
    """A Markdown table."""
    sizes = " | ".join(f"{count:,}" for count in told)
    lines = [f"| seconds, recordings known | {sizes} | exponent | bar |"]
    lines.append("|---" * (len(told) + 3) + "|")
    for name, (words, bar) in LINES.items():
        figures = " | ".join(f"{figure:.3f}" for _, figure in of(told, name))
        grows = f"{exponents[name]:.2f}" if name in exponents else "-"
        lines.append(f"| {words} | {figures} | {grows} | {'< ' + str(bar) if bar else '-'} |")
    for name in ("status", "day"):
        used = " | ".join(f"{f[f'{name}_cpu_s']:.3f}" for f in told.values())
        lines.append(f"| takehold {name}, CPU | {used} | - | - |")
    memory = " | ".join(f"{f['rest_mb']:.0f}" for f in told.values())
    lines.append(f"| memory at rest, MB | {memory} | - | - |")
    size = " | ".join(f"{f['catalogue_mb']:.0f}" for f in told.values())
    lines.append(f"| catalogue, MB | {size} | - | - |")
    return "\n".join(lines)


def write_page(text: str) -> None:
    """The table into its section of the page, and on what machine."""
    before, _, rest = PAGE.read_text().partition(BEGINS)
    _, _, after = rest.partition(ENDS)
    cores, load = os.cpu_count(), os.getloadavg()[0]
    ran = (
        f"Measured {date.today()}, Python {sys.version.split()[0]}, {cores} cores, load {load:.1f}."
    )
    PAGE.write_text(f"{before}{BEGINS}\n\n{ran}\n\n{text}\n\n{ENDS}{after}")


def main() -> None:
    """Make the catalogues, measure, print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--most", type=int, default=SIZES[-1])
    words.add_argument("--page", action="store_true")
    asked = words.parse_args()
    told: dict[int, Figures] = {}
    for count in (size for size in SIZES if size <= asked.most):
        told[count] = measured(count)
        print(f"{count}: {json.dumps(told[count])}", file=sys.stderr, flush=True)
    exponents = {name: exponent(of(told, name)) for name in LINES} if len(told) > 1 else {}
    card = known_card()
    says = (
        f"A card of {CARD_FILES:,} known files, put in beside a daemon at rest, is listed,"
        f" recognised and settled in {card['known_card_s']:.2f} s (bar < 2 s)."
    )
    text = f"{table(told, exponents)}\n\n{says}"
    print(text)
    if asked.page:
        every = {"sizes": told, "exponents": exponents, "known_card": card}
        (DOCS / "growth.json").write_text(json.dumps(every, indent=1) + "\n")
        lines = {words: of(told, name) for name, (words, _) in LINES.items()}
        title = "What it costs to know many recordings"
        (DOCS / "growth.svg").write_text(plot(title, "recordings known", "seconds", lines))
        write_page(text)


if __name__ == "__main__":
    main()
