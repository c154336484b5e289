"""takehold beside general-purpose tools, in one run: `python tests/benchmarks/copying.py media`.

    python tests/benchmarks/copying.py KIND [--gigabytes 1] [--small FILES KILOBYTES]
                                       [--drives 2] [--repeat 5] [--only tee,rsync] [--json FILE]

KIND is a word of places.py. Each method copies the same card to the same empty drives with cold
caches, in turns that rotate; the medians are shown, and ratios to each peer of the same run. The
whole command is timed, interpreter start included. `takehold` copies and proves; `takehold+P8`
reads the card a second time as well. CPU is of the method's processes (the kernel's own threads
are in no one's), memory of its first one, bytes read are what the devices say.
Needs root, rsync, xxhash, openssl.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.cards import Content, small, takes, write
from benchmarks.peers import LIMITS, SCRIPTS, script
from benchmarks.places import Places, places

PRODUCTS = {"takehold": ("primary", "backup"), "takehold+P8": ("primary",)}
LONGEST_S = 3600
LOOK_S = 0.01


@dataclass(frozen=True, slots=True)
class Run:
    """One run: seconds, CPU seconds, megabytes, and times the card's size read."""

    wall: float
    cpu: float
    memory: float
    card_read: float
    back_read: float


def product(scratch: Path, roles: Iterable[str], drives: Iterable[Path]) -> list[str]:
    """The command of the product, with a config and a state of its own."""
    lines = ['production = "Lantern Bay"', "copies_required = 1", "reserve_megabytes = 0"]
    for role in roles:
        label = "card" if role == "primary" else "NOT_HERE"
        lines += ["[[source]]", f'name = "{role}"', f'role = "{role}"', f'label = "{label}"']
    for number, drive in enumerate(drives, 1):
        lines += ["[[destination]]", f'name = "drive-{number}"', f'path = "{drive}"']
    (scratch / "takehold.toml").write_text("\n".join(lines) + "\n")
    words = ["--config", str(scratch / "takehold.toml")]
    takehold = [sys.executable, "-m", "takehold", *words]
    environment = {**os.environ, "TAKEHOLD_STATE": str(scratch / "state")}
    done = subprocess.run([*takehold, "key", "new"], env=environment, capture_output=True)
    assert done.returncode == 0, done.stderr.decode()
    return [*takehold, "once"]


def measured(command: list[str], where: Places, card: Path, size: int, scratch: Path) -> Run:
    """Run it once, from cold."""
    environment = {
        **os.environ,
        "LC_ALL": "C",
        "CARD": str(card),
        "DRIVES": " ".join(map(str, where.drives)),
        "SCRATCH": str(scratch),
        "BYTES": str(size),
        "TAKEHOLD_STATE": str(scratch / "state"),
    }
    volumes = [where.card, *where.drives]
    before = [where.read_from(v) for v in volumes]
    begun = time.perf_counter()
    with (scratch / "said").open("wb") as said:
        process = subprocess.Popen(command, env=environment, stdout=said, stderr=said)
        peak, done = 0.0, 0
        while not done:
            peak = max(peak, _memory(process.pid))
            time.sleep(LOOK_S)
            done, status, used = os.wait4(process.pid, os.WNOHANG)
    wall = time.perf_counter() - begun
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode and "takehold" not in command:
        sys.exit(f"{command}: {process.returncode}\n{(scratch / 'said').read_text()}")
    after = [where.read_from(v) for v in volumes]
    read = [
        0.0 if a is None or b is None else (a - b) / size
        for a, b in zip(after, before, strict=True)
    ]
    return Run(wall, used.ru_utime + used.ru_stime, peak, read[0], sum(read[1:]))


def _memory(pid: int) -> float:
    """Most megabytes that the process itself has held (proc(5), VmHWM)."""
    with contextlib.suppress(OSError):
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1000
    return 0.0


def all_there(card: Path, drives: Iterable[Path]) -> None:
    """Each file of the card lies on each drive, byte for byte."""
    for drive in drives:
        for path in card.rglob("*.WAV"):
            tail = str(path.relative_to(card))
            copies = [p for p in drive.rglob(path.name) if str(p).endswith("/" + tail)]
            assert len(copies) == 1, f"{tail} is on {drive} {len(copies)} times"
            subprocess.run(["cmp", path, copies[0]], check=True, timeout=LONGEST_S)


def compare(
    where: Places, card: Path, size: int, methods: list[str], repeat: int
) -> dict[str, Run]:
    """The medians of each method."""
    runs: dict[str, list[Run]] = {name: [] for name in methods}
    for turn in range(repeat):
        first = turn % len(methods)
        for name in methods[first:] + methods[:first]:
            where.clean()
            with tempfile.TemporaryDirectory(prefix="takehold-bench-") as folder:
                scratch = Path(folder)
                if name in PRODUCTS:
                    command = product(scratch, PRODUCTS[name], where.drives)
                else:
                    command = ["bash", "-c", script(name)]
                runs[name].append(measured(command, where, card, size, scratch))
            if turn == 0 and name in PRODUCTS:
                all_there(card, where.drives)
            print(f"  {turn + 1}/{repeat} {name}: {runs[name][-1].wall:.2f} s", file=sys.stderr)
    return {name: median(of) for name, of in runs.items()}


def median(runs: list[Run]) -> Run:
    """Figure by figure."""
    return Run(*(statistics.median(asdict(r)[f] for r in runs) for f in Run.__dataclass_fields__))


def table(medians: Mapping[str, Run]) -> str:
    """A Markdown table; each ratio is takehold's figure over the row's."""
    mine = medians["takehold"]
    confirmed = medians.get("takehold+P8")
    lines = [
        "| method | wall s | CPU s | MB | card read x | copies read x | ratio | CPU | P8 ratio |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for name, run in medians.items():
        figures = f"{run.wall:.2f} | {run.cpu:.2f} | {run.memory:.0f}"
        figures += f" | {run.card_read:.3f} | {run.back_read:.3f} | {mine.wall / run.wall:.2f}"
        cpu = "-" if name in LIMITS else f"{mine.cpu / run.cpu:.2f}"
        twice = f"{confirmed.wall / run.wall:.2f}" if confirmed else "-"
        lines.append(f"| {name} | {figures} | {cpu} | {twice} |")
    return "\n".join(lines)


def main() -> None:
    """Make the places, run all, print the table."""
    takes_words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    takes_words.add_argument("kind", choices=("media", "loop", "exfat", "tmpfs"))
    takes_words.add_argument("--gigabytes", type=float, default=1.0)
    takes_words.add_argument("--small", nargs=2, type=int, metavar=("FILES", "KILOBYTES"))
    takes_words.add_argument("--drives", type=int, default=2)
    takes_words.add_argument("--repeat", type=int, default=5)
    takes_words.add_argument("--only", default=",".join(SCRIPTS))
    takes_words.add_argument("--json", type=Path)
    asked = takes_words.parse_args()
    content: Content = small(*asked.small) if asked.small else takes(asked.gigabytes)
    methods = [*PRODUCTS, *filter(None, asked.only.split(","))]
    folder = Path(tempfile.mkdtemp(prefix="takehold-bench-"))
    try:
        size = content.files * content.payload
        with places(folder / "places", asked.kind, asked.drives, size) as where:
            card = where.card / "SND_A1"
            size = write(card, content)
            where.slow_down()
            medians = compare(where, card, size, methods, asked.repeat)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    what = f"{asked.kind}, {content.files} files, {size / 1e6:.0f} MB, {asked.drives} drives"
    print(f"{what}, medians of {asked.repeat}\n\n{table(medians)}")
    if asked.json:
        told = {name: asdict(run) for name, run in medians.items()}
        asked.json.write_text(json.dumps({"what": what, "methods": told}, indent=1) + "\n")


if __name__ == "__main__":
    main()
