"""What it costs to do nothing: `python tests/benchmarks/idle.py [--minutes 10] [--json FILE]`.

Two cards (ext4, and exFAT through FUSE), three drives, 50,000 known files, nothing owed: the daemon
runs as a process of its own. Over the minutes given: its CPU time (proc(5), utime and stime of all
its threads), its wake-ups (voluntary context switches of all its threads), what it wrote to any
disk (`write_bytes` of proc(5)), what the volumes' devices were given to write (sectors written,
kernel, block/stat), and its memory. Then the same for a minute while somebody writes a growing file
into a watch folder, a tenth of a second between writes. Needs root.

Bars: at rest CPU <= 0.2 % of a core, no byte written, memory < 100 MB; while a recorder writes, not
more than a few wake-ups a second.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.growth import at_rest
from benchmarks.season import Shape
from benchmarks.stage import Stage, staged
from instance import Daemon
from loopbench import Disk

TICKS = os.sysconf("SC_CLK_TCK")
SECTOR = 512
CPU_PERCENT, MEMORY_MB, WAKES_A_SECOND = 0.2, 100, 10
PIECE = b"\x01" * 14_400  # a tenth of a second of one track of 24 bits at 48 kHz


@dataclass(frozen=True, slots=True)
class Span:
    """What a process did in some seconds; `device_bytes` were written to the volumes by anybody."""

    seconds: float
    cpu_s: float
    wakes: int
    written_bytes: int
    device_bytes: int
    memory_mb: float

    @property
    def cpu_percent(self) -> float:
        """Of one core."""
        return 100 * self.cpu_s / self.seconds

    @property
    def wakes_a_second(self) -> float:
        """Of all its threads."""
        return self.wakes / self.seconds


def cpu_s(pid: int) -> float:
    """CPU time of a process and its threads, those that ended included."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def value(file: Path, key: str) -> int:
    """A figure of a file of lines `key: figure`."""
    lines = (line.partition(":") for line in file.read_text().splitlines())
    return next(int(words.split()[0]) for name, _, words in lines if name == key)


def wakes(pid: int) -> dict[str, int]:
    """How often each thread that lives went to sleep by itself: as often it was woken."""
    found = {}
    for task in Path(f"/proc/{pid}/task").iterdir():
        with contextlib.suppress(FileNotFoundError, ProcessLookupError):  # it ended meanwhile
            found[task.name] = value(task / "status", "voluntary_ctxt_switches")
    return found


def device_bytes(disks: list[Disk]) -> int:
    """What the devices of these volumes were given to write since they began."""
    total = 0
    for disk in disks:
        stat = Path("/sys/class/block", Path(disk.loop).name, "stat").read_text().split()
        total += int(stat[6]) * SECTOR
    return total


def span(daemon: Daemon, disks: list[Disk], work: Callable[[], None]) -> Span:
    """What the daemon does while `work` takes its time."""
    pid = daemon.process.pid
    before = (cpu_s(pid), wakes(pid), value(Path(f"/proc/{pid}/io"), "write_bytes"))
    devices, begun = device_bytes(disks), time.monotonic()
    work()
    seconds = time.monotonic() - begun
    after = wakes(pid)
    return Span(
        seconds,
        cpu_s(pid) - before[0],
        sum(count - before[1].get(thread, 0) for thread, count in after.items()),
        value(Path(f"/proc/{pid}/io"), "write_bytes") - before[2],
        device_bytes(disks) - devices,
        value(Path(f"/proc/{pid}/status"), "VmRSS") * 1024 / 1e6,
    )


def record(folder: Path, seconds: float) -> None:
    """Write a file that grows, as a recorder does, until its time is over."""
    end = time.monotonic() + seconds
    with (folder / "GROWING.WAV").open("wb", buffering=0) as file:
        while time.monotonic() < end:
            file.write(PIECE)
            time.sleep(0.1)


def measured(stage: Stage, minutes: float) -> dict[str, Span]:
    """At rest, then beside a recorder that writes into the watch folder."""
    disks = [*stage.cards.values(), *stage.drives]
    with stage.instance.daemon(600) as daemon:
        at_rest(stage, daemon, cards=3)
        time.sleep(70)  # the first looks of a minute, and what the kernel had still to write
        told = {"rest": span(daemon, disks, lambda: time.sleep(60 * minutes))}
        told["recording"] = span(daemon, disks, lambda: record(stage.watched, 60))
    return told


def complaints(told: dict[str, Span]) -> list[str]:
    """What is over its bar."""
    rest, recording = told["rest"], told["recording"]
    found = []
    if rest.cpu_percent > CPU_PERCENT:
        found.append(f"at rest {rest.cpu_percent:.2f} % of a core, not {CPU_PERCENT}")
    if rest.written_bytes or rest.device_bytes:
        found.append(f"at rest {rest.written_bytes} + {rest.device_bytes} bytes were written")
    if rest.memory_mb >= MEMORY_MB:
        found.append(f"{rest.memory_mb:.0f} MB of memory, not {MEMORY_MB}")
    if recording.wakes_a_second > WAKES_A_SECOND:
        found.append(f"{recording.wakes_a_second:.0f} wake-ups a second beside a recorder")
    return found


def main() -> None:
    """Make the places, wait, print; status 1 where a bar is not held."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--minutes", type=float, default=10)
    words.add_argument("--known", type=int, default=50_000)
    words.add_argument("--json", type=Path)
    asked = words.parse_args()
    shape = Shape(asked.known // 2, tracks=2, seconds=9, lying=500)
    with staged(shape, kinds=("ext4", "exfat"), watched=True) as stage:
        told = measured(stage, asked.minutes)
    print(f"| {asked.known:,} known files | seconds | CPU s | % of a core | wake-ups/s", end="")
    print(" | written by it | by the devices | MB |\n|---|---|---|---|---|---|---|---|")
    for name, of in told.items():
        figures = f"{of.seconds:.0f} | {of.cpu_s:.2f} | {of.cpu_percent:.2f}"
        figures += f" | {of.wakes_a_second:.1f} | {of.written_bytes} | {of.device_bytes}"
        print(f"| {name} | {figures} | {of.memory_mb:.0f} |")
    if asked.json:
        asked.json.write_text(json.dumps({n: asdict(s) for n, s in told.items()}, indent=1) + "\n")
    for words_ in complaints(told):
        print(f"over its bar: {words_}")
    sys.exit(bool(complaints(told)))


if __name__ == "__main__":
    main()
