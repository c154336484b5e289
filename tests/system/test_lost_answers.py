"""An answer that nobody gets: a full disk, a reader that has left, a stream that was closed.

Linux' /dev/full (full(4)) takes no byte: each write there fails with ENOSPC.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from cardmaker import fill, today
from instance import PROGRAM, Instance, copies_below
from loopbench import Bench

SECONDS = 60
LOST = "The answer could not be written whole"


@pytest.fixture
def takehold(bench: Bench, tmp_path: Path) -> Instance:
    """One card with three takes, one drive."""
    card = bench.disk("card", label="SND_A1")
    bench.disk("drive", label="SHUTTLE_1")
    fill(card.mount)
    return Instance(
        tmp_path / "laptop",
        {"primary": ("primary", "SND_A*")},
        {"shuttle-1": "SHUTTLE_1"},
        {"copies_required": 1},
    )


def ended(takehold: Instance, *words: str, **how: object) -> tuple[int, str]:
    """Run a command with its streams as given: exit status, and what it said on standard error."""
    environment = {
        **os.environ,
        "TAKEHOLD_CONFIG": str(takehold.config),
        "TAKEHOLD_STATE": str(takehold.state),
    }
    streams: dict[str, object] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE, **how}
    done = subprocess.run(
        [*PROGRAM, *words],
        stdin=subprocess.DEVNULL,
        env=environment,
        timeout=SECONDS,
        check=False,
        **streams,  # type: ignore[call-overload]
    )
    return done.returncode, (done.stderr or b"").decode()


ANSWERS = [
    ("once",),
    ("wrap",),
    ("status",),
    ("day",),
    ("day", "--json"),
    ("card",),
    ("preflight",),
    ("key", "show"),
    ("--help",),
    ("--version",),
]


def test_no_command_takes_a_full_disk_for_success(takehold: Instance):
    """Every command that answers ends with 3 and a sentence, and no trace; the work was done."""
    for words in ANSWERS:
        with open("/dev/full", "wb") as full:
            status, said = ended(takehold, *words, stdout=full)
        assert status == 3, (words, said)
        assert f"{LOST}: No space left on device." in said
        assert "Traceback" not in said
        assert "Exception" not in said
    assert len(takehold.facts("day", today())["files"]) == 3
    assert takehold.run("wrap").returncode == 0


def test_a_demo_and_a_receipt_into_nowhere(bench: Bench, takehold: Instance, tmp_path: Path):
    """The commands without a config do so, too; the receipt was written all the same."""
    assert takehold.run("wrap").returncode == 0
    drive = next(disk for disk in bench.disks if disk.name == "drive").mount
    receipts = tmp_path / "receipts"
    receipts.mkdir()
    key = ("--key", str(takehold.public_key), "--receipt-to", str(receipts))
    for words in (("demo", str(tmp_path / "demo")), ("receive", str(drive), *key)):
        with open("/dev/full", "wb") as full:
            status, said = ended(takehold, *words, stdout=full)
        assert status == 3, (words, said)
        assert f"{LOST}: No space left on device." in said
        assert "Traceback" not in said
    assert list(receipts.iterdir())


def closed(*numbers: int) -> Callable[[], None]:
    """What a shell does for `>&-`."""
    return lambda: [os.close(number) for number in numbers] and None  # type: ignore[func-returns-value]


def test_a_closed_output_is_told(takehold: Instance):
    """`>&-`: the work is done, the answer is lost, and that is said."""
    status, said = ended(takehold, "once", stdout=None, preexec_fn=closed(1))
    assert status == 3
    assert f"{LOST}: Bad file descriptor." in said
    assert len(takehold.facts("day", today())["files"]) == 3


def test_all_streams_closed_and_no_recording_is_written_into(
    bench: Bench, takehold: Instance, tmp_path: Path
):
    """`<&- >&- 2>&-`: no file of ours gets a number that something prints to; all is proven."""
    status, _ = ended(takehold, "once", stdout=None, stderr=None, preexec_fn=closed(0, 1, 2))
    assert status == 3
    once = takehold.run("once")
    assert once.returncode == 0, once.stdout
    drive = next(disk for disk in bench.disks if disk.name == "drive")
    assert len(copies_below(drive.mount)) == 3


def test_remarks_that_nobody_hears_stop_nothing(takehold: Instance):
    """Progress into a full disk: `once` copies, proves, and answers 0."""
    with open("/dev/full", "wb") as full:
        status, _ = ended(takehold, "once", stderr=full)
    assert status == 0


def test_a_reader_that_leaves_early(takehold: Instance):
    """`takehold day | head -c 1` (GNU coreutils): status 3 and one sentence, no trace."""
    assert takehold.run("once").returncode == 0
    reading, writing = os.pipe()
    os.close(reading)
    with open(writing, "wb") as pipe:
        status, said = ended(takehold, "day", stdout=pipe)
    assert status == 3
    assert said.startswith(f"{LOST}: Broken pipe.")
    assert "Traceback" not in said
