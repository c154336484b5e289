"""takehold told to stop in every phase: `python tests/stops.py --points 40` below a scratch folder.

One run copies twelve takes to two drives, proves them, and writes and publishes the day's manifest.
strace(1) sends the signal at the k-th call, in each thread, that changes anything stored: so a
second and a third signal come while the stop is under way. It is played undisturbed first to know
how many such calls there are; points are spread over them.

Linux, as root. Exit status 1 if a point failed.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from cardmaker import fill, today
from faultlab.checker import whole
from instance import Instance, copies_below, parts_below, stock_checks
from loopbench import Bench, Disk, own_namespace

CALLS = (
    "pwrite64,write,fdatasync,fsync,ftruncate,rename,renameat2,linkat,unlink,unlinkat,mkdir,mkdirat"
)
TAKES = [(1, n) for n in range(1, 13)]
STOP_S = 10
WAIT_S = 60
IDLE_S = 3
STARTED = '"Started."'


@dataclass
class Stage:
    """A card, two drives and a takehold that closes the day by itself."""

    card: Disk
    drives: tuple[Disk, Disk]
    takehold: Instance
    made: dict[str, bytes]

    def is_done(self) -> bool:
        """Whether everything is copied, and the manifest is on both drives."""
        return all(
            len(copies_below(drive.mount)) == len(self.made)
            and len(list(drive.mount.rglob("*.manifest.json.sig"))) > 0
            for drive in self.drives
        )

    def names_are_true(self) -> None:
        """Each final name on a drive holds its card's bytes (P3)."""
        for drive in self.drives:
            assert whole(drive.mount, self.made) <= self.made.keys()

    def ends_well(self) -> None:
        """The next start finishes: one copy a file a drive, no leftover, a manifest that checks."""
        wrapped = self.takehold.run("wrap")
        assert wrapped.returncode == 0, wrapped.stdout + wrapped.stderr
        for drive in self.drives:
            assert whole(drive.mount, self.made) == self.made.keys()
            assert len(copies_below(drive.mount)) == len(self.made)
            assert not parts_below(drive.mount)
            stock_checks(drive.mount / "Lantern Bay" / today(), self.takehold.public_key)


def staged(folder: Path, bench: Bench) -> Stage:
    """A new stage."""
    card = bench.disk("card", label="SND_A1", size_mb=8)
    drives = bench.disk("d1", label="SHUTTLE_1", size_mb=16), bench.disk("d2", label="SHUTTLE_2")
    takehold = Instance(
        folder / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1", "shuttle-2": "SHUTTLE_2"},
        {"wrap_at": "06:00"},  # a day starts at 06:00, so it is always past
        {"PYTHONDONTWRITEBYTECODE": "1"},  # no call of it is counted
    )
    return Stage(card, drives, takehold, fill(card.mount, TAKES, seconds=0.1))


@contextlib.contextmanager
def traced(stage: Stage, trace: Path, *inject: str) -> Iterator[subprocess.Popen[bytes]]:
    """`takehold run` under strace."""
    strace = ("strace", "-f", "-qq", "-ttt", "-o", str(trace), "-e", f"trace={CALLS}", *inject)
    with (stage.takehold.folder / "run.err").open("ab") as err:
        told = err.fileno()
        with stage.takehold.begun(("run",), told, told, strace) as process:
            yield process


def main_thread(trace: Path) -> int:
    """The number of the program's first thread: whoever made the first call."""
    return int(trace.read_text(errors="replace").split(None, 1)[0])


def calls_undisturbed(folder: Path, bench: Bench) -> int:
    """How many calls the main thread makes until all is done; SIGTERM ends it with 0."""
    stage, trace = staged(folder, bench), folder / "trace"
    with traced(stage, trace) as process:
        stage.takehold.wait_for(stage.is_done, WAIT_S)
        count = sum(
            line.startswith(f"{main_thread(trace)} ")
            for line in trace.read_text(errors="replace").splitlines()
        )
        os.kill(main_thread(trace), signal.SIGTERM)
        assert process.wait(WAIT_S) == 0
    stage.ends_well()
    return count


def stopped_at(folder: Path, bench: Bench, number: int, name: str) -> str:
    """Play it with the signal at a call; what was seen of it, in a few words."""
    stage, trace = staged(folder, bench), folder / "trace"
    inject = ("-e", f"inject={CALLS}:signal={name}:when={number}")
    with traced(stage, trace, *inject) as process:
        stage.takehold.wait_for(lambda: process.poll() is not None or stage.is_done(), WAIT_S)
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(IDLE_S)
        if process.poll() is None:  # this run needed fewer calls
            os.kill(main_thread(trace), signal.Signals[name])
        status = process.wait(WAIT_S)
    log = stage.takehold.log()
    told = re.findall(rf"(?m)^\d+ +([\d.]+) --- {name} ", trace.read_text(errors="replace"))
    ends = re.findall(r"(?m)^\d+ +([\d.]+) ", trace.read_text(errors="replace"))
    assert told, "no signal came"
    took = float(ends[-1]) - float(told[0])
    assert took < STOP_S, f"it took {took:.1f} s"
    begun = STARTED in log
    killed = (-signal.Signals[name], 128 + signal.Signals[name])
    assert status == 0 or (not begun and status in killed), stage.takehold.said()
    assert not begun or '"Stopped."' in log, log
    assert "Traceback" not in stage.takehold.said()
    stage.names_are_true()
    copies = [len(copies_below(drive.mount)) for drive in stage.drives]
    stage.ends_well()
    return f"status {status}, {len(told)} signals, {took:.2f} s, copies before it {copies}"


def points(count: int, wanted: int) -> list[int]:
    """Calls from the first to the last, closer together at first: most copies are made early."""
    last = max(1, wanted - 1)
    return sorted({1 + (count - 1) * i * i // (last * last) for i in range(wanted)})


def play(number: int, name: str) -> str:
    """One point in a scratch folder of its own."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        with contextlib.closing(Bench(folder)) as bench:
            return stopped_at(folder, bench, number, name)


def main() -> int:
    """Play all points and tell what failed."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--points", type=int, default=40)
    wanted = parser.parse_args().points
    if refused := own_namespace():
        sys.exit(refused)
    with (
        tempfile.TemporaryDirectory() as scratch,
        contextlib.closing(Bench(Path(scratch))) as bench,
    ):
        count = calls_undisturbed(Path(scratch), bench)
    print(f"{count} calls of the main thread", flush=True)
    failed = 0
    for at, number in enumerate(points(count, wanted)):
        name = ("SIGTERM", "SIGINT")[at % 2]
        try:
            print(f"{name} at {number}: {play(number, name)}", flush=True)
        except AssertionError as error:
            failed += 1
            print(f"{name} at {number}: FAILED: {error}", flush=True)
    print(f"{failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
