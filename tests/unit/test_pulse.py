"""adapters/pulse: a sign of life that is heard by others, grows old, and writes nothing."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from takehold.adapters.pulse import Pulse, beats

BEAT = """
import sys
from takehold.adapters.pulse import Pulse
pulse = Pulse(sys.argv[1])
for _ in sys.stdin:
    pulse.beat()
    print("beat", flush=True)
"""


class Other:
    """Another process, that beats when it is told to."""

    def __init__(self, path: Path) -> None:
        command = [sys.executable, "-c", BEAT, str(path)]
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        self.process = subprocess.Popen(command, text=True, **pipes)

    def beat(self) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write("\n")
        self.process.stdin.flush()
        assert self.process.stdout.readline() == "beat\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "pulse"


@pytest.fixture
def other(path: Path) -> Iterator[Other]:
    made = Other(path)
    yield made
    made.process.kill()
    made.process.communicate(timeout=60)


def wait_for_the_next_second() -> None:
    now = int(time.monotonic())
    while int(time.monotonic()) == now:
        time.sleep(0.02)


def heard_at_once(path: Path, other: Other) -> bool | None:
    """Whether a beat is heard within its second, as soon as that is asked within the second."""
    while True:
        since = int(time.monotonic())
        other.beat()
        heard = beats(str(path), 1)
        if int(time.monotonic()) - since <= 1:
            return heard


def test_a_beat_is_heard_grows_old_and_ends_with_its_process(path: Path, other: Other) -> None:
    other.beat()
    assert beats(str(path), 60)
    wait_for_the_next_second()
    assert beats(str(path), 0) is False
    assert heard_at_once(path, other)
    other.process.kill()
    other.process.wait(60)
    assert beats(str(path), 60) is False


def test_nothing_is_written(path: Path, other: Other) -> None:
    """The file stays empty and untouched, and one byte is locked: lslocks (util-linux) sees it."""
    other.beat()
    first = path.stat()
    wait_for_the_next_second()
    since = int(time.monotonic())
    other.beat()
    last = path.stat()
    assert (last.st_size, last.st_mtime_ns, last.st_ctime_ns) == (
        0,
        first.st_mtime_ns,
        first.st_ctime_ns,
    )
    command = ["lslocks", "-n", "-p", str(other.process.pid), "-o", "TYPE,START,END"]
    said = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout
    [(kind, start, end)] = [line.split() for line in said.splitlines()]
    assert (kind, start) == ("POSIX", end)
    assert since <= int(start) <= int(time.monotonic())


def test_where_no_file_is_nothing_can_be_told(path: Path) -> None:
    assert beats(str(path), 60) is None
    assert not path.exists()


def test_one_that_cannot_beat_goes_on(tmp_path: Path) -> None:
    """A folder that is not there: no error."""
    pulse = Pulse(str(tmp_path / "none" / "pulse"))
    pulse.beat()
    pulse.close()
