"""adapters/lock: one holder, and no claim after its death."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from loopbench import Bench
from takehold.adapters.lock import InstanceLock
from takehold.model.errors import AnotherInstance, NoRights, WorldError

HOLD = """
import sys
from takehold.adapters.lock import InstanceLock
with InstanceLock(sys.argv[1]):
    print("held", flush=True)
    sys.stdin.read()
"""


def holder(path: Path) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


def test_the_second_is_told_since_when_and_what_to_do(tmp_path: Path) -> None:
    """The message has the time that stands in the file."""
    with InstanceLock(str(tmp_path / "state" / "lock")):
        text = (tmp_path / "state" / "lock").read_text().strip()
        assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d [+-]\d{4}", text)
        with pytest.raises(AnotherInstance) as told, InstanceLock(str(tmp_path / "state" / "lock")):
            pass
        assert text in told.value.says
        assert told.value.do


def test_it_is_free_after_the_block(tmp_path: Path) -> None:
    """Held, let go, held again; the file is private to its owner."""
    lock = InstanceLock(str(tmp_path / "lock"))
    for _ in range(2):
        with lock:
            assert (tmp_path / "lock").stat().st_mode & 0o777 == 0o600


def test_flock_of_util_linux_sees_it(tmp_path: Path) -> None:
    """The lock is flock(2): util-linux' tool of that name is kept out, and gets in after."""
    command = ["flock", "--nonblock", "--conflict-exit-code", "9", str(tmp_path / "lock"), "true"]
    with InstanceLock(str(tmp_path / "lock")):
        assert subprocess.run(command, timeout=60, check=False).returncode == 9
    assert subprocess.run(command, timeout=60, check=False).returncode == 0


def test_a_killed_holder_leaves_no_lock(tmp_path: Path) -> None:
    """After kill -9 of the holder the next one gets it at once, the stale text claims nothing."""
    with holder(tmp_path / "lock") as process:
        with pytest.raises(AnotherInstance), InstanceLock(str(tmp_path / "lock")):
            pass
        process.send_signal(signal.SIGKILL)
        process.wait(60)
    assert (tmp_path / "lock").read_text()
    with InstanceLock(str(tmp_path / "lock")):
        pass


def test_a_started_program_does_not_hold_it(tmp_path: Path) -> None:
    """A child program that outlives the block does not keep the lock."""
    with InstanceLock(str(tmp_path / "lock")):
        child = subprocess.Popen(["sleep", "30"], close_fds=False)
    try:
        with InstanceLock(str(tmp_path / "lock")):
            pass
    finally:
        child.kill()
        child.wait(60)


def test_a_strange_text_is_not_shown(tmp_path: Path) -> None:
    """What stands in the file reaches a terminal only where it is printable."""
    with InstanceLock(str(tmp_path / "lock")):
        (tmp_path / "lock").write_text("\x1b[2Jboo")
        with pytest.raises(AnotherInstance) as told, InstanceLock(str(tmp_path / "lock")):
            pass
        assert "boo" not in told.value.says


def test_a_link_is_not_followed(tmp_path: Path) -> None:
    """A link in place of the lock file is refused, its aim is left alone."""
    (tmp_path / "aim").write_text("mine")
    os.symlink(tmp_path / "aim", tmp_path / "lock")
    with pytest.raises(WorldError), InstanceLock(str(tmp_path / "lock")):
        pass
    assert (tmp_path / "aim").read_text() == "mine"


def test_a_folder_in_its_place_is_said(tmp_path: Path) -> None:
    """An unusable path is an error with a sentence, never a bare OSError."""
    (tmp_path / "lock").mkdir()
    with pytest.raises(WorldError) as told, InstanceLock(str(tmp_path / "lock")):
        pass
    assert str(tmp_path / "lock") in told.value.says
    assert not isinstance(told.value, NoRights)


def test_a_lock_whose_file_was_replaced_is_lost(tmp_path: Path) -> None:
    """Another file under its name, or none in its folder; a folder that is away is waited for."""
    folder = tmp_path / "state"
    with InstanceLock(str(folder / "lock")) as lock:
        assert not lock.is_lost()
        folder.rename(tmp_path / "moved")
        assert not lock.is_lost()
        folder.mkdir()
        assert lock.is_lost()
        (folder / "lock").touch()
        assert lock.is_lost()
        (folder / "lock").unlink()
        folder.rmdir()
        (tmp_path / "moved").rename(folder)
        assert not lock.is_lost()


def test_a_full_or_read_only_disk_holds_the_lock_all_the_same(bench: Bench) -> None:
    """Its text finds no room; who asks whether it is held is answered."""
    disk = bench.disk("state", "ext4", size_mb=8)
    path = disk.mount / "lock"
    with InstanceLock(str(path)):
        pass
    disk.unmount()
    disk.mount_again(options="ro")
    with (
        InstanceLock(str(path)),
        pytest.raises(AnotherInstance),
        InstanceLock(str(path)),
    ):
        pass


def test_who_only_looks_for_a_moment_refuses_no_start(tmp_path: Path) -> None:
    """A start waits for the look to be over; one that goes on to be held is refused."""
    path = str(tmp_path / "lock")
    look = InstanceLock(path)
    look.__enter__()
    over = threading.Timer(0.2, look.__exit__, (None, None, None))
    over.start()
    with InstanceLock(path, 60.0):
        over.join(60)
        with pytest.raises(AnotherInstance), InstanceLock(path, 0.05):
            pass
