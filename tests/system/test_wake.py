"""What ends the loop's sleep, with real mounts and real folders."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from watchdog.events import FileSystemEvent

from fakeworld import within
from loopbench import Bench
from takehold.adapters.wake import Wake

LONG_S = 60.0
SHORT_S = 0.2


MARK = "mark"


class Told(Wake):
    """The real one, that notes where each event was; they come in the order of what happened."""

    def __init__(self, quiet_s: float) -> None:
        super().__init__(quiet_s)
        self.heard: list[str] = []

    def on_any_event(self, event: FileSystemEvent) -> None:
        self.heard.append(os.path.basename(os.fsdecode(event.src_path)))
        super().on_any_event(event)

    def all_heard(self, watched: Path) -> list[str]:
        """What came until now, up to a mark that is made there; the wait for it is over."""
        (watched / MARK).touch()
        assert within(30, lambda: MARK in self.heard)
        (watched / MARK).unlink()
        assert within(30, lambda: self.heard.count(MARK) == 3)  # made, closed, removed
        heard, self.heard = self.heard, []
        self.wait(0.0)
        return [name for name in heard if name != MARK]


@pytest.fixture
def wake() -> Iterator[Told]:
    with contextlib.closing(Told(quiet_s=0.0)) as made:
        yield made


def woke(wake: Wake, timeout_s: float) -> bool:
    """Whether a wait ended because something happened, not because the time was over."""
    ended = threading.Event()

    def wait() -> None:
        wake.wait(LONG_S)
        ended.set()

    waiting = threading.Thread(target=wait, daemon=True)
    waiting.start()
    early = ended.wait(timeout_s)
    if not early:
        wake.nudge()
    waiting.join(60)
    return early


def drain(wake: Wake) -> None:
    """Take in all that happened until now."""
    while woke(wake, SHORT_S):
        pass


def wakes(wake: Wake, doing: Callable[[], object]) -> bool:
    drain(wake)
    doing()
    return woke(wake, 50)


def test_a_nudge_before_the_wait_counts_once(wake):
    wake.nudge()
    assert woke(wake, 50)
    assert not woke(wake, SHORT_S)


def test_a_nudge_during_the_wait(wake):
    timer = threading.Timer(0.05, wake.nudge)
    timer.start()
    assert woke(wake, 50)
    timer.join()


def test_the_time_ends_the_wait(wake):
    wake.wait(0.01)
    assert not wake._nudged


def test_mounts_wake(bench: Bench, wake):
    disk = bench.disk("card", mount=False)
    wake.watch_mounts()
    assert wakes(wake, disk.mount_again)
    assert wakes(wake, disk.yank)


def test_files_in_a_watched_folder_wake(tmp_path, wake):
    (tmp_path / "deep/er").mkdir(parents=True)
    wake.watch_folders([os.fsencode(tmp_path)])
    file = tmp_path / "deep/er/T001.wav"
    assert wakes(wake, lambda: file.write_bytes(b"RIFF"))
    assert wakes(wake, lambda: file.rename(tmp_path / "deep/T002.wav"))
    assert wakes(wake, lambda: (tmp_path / "new").mkdir())
    assert wakes(wake, lambda: (tmp_path / "new/T003.wav").write_bytes(b"RIFF"))
    assert wakes(wake, (tmp_path / "new/T003.wav").unlink)
    assert wake.notes == []


def test_a_file_that_grows_wakes_when_it_is_closed_and_not_before(tmp_path, wake):
    """However often its recorder writes; inotify(7): IN_MODIFY is not asked for."""
    wake.watch_folders([os.fsencode(tmp_path)])
    with (tmp_path / "T001.wav").open("wb", buffering=0) as recorder:
        wake.all_heard(tmp_path)
        for _ in range(50):
            recorder.write(b"\0" * 100)
        assert not woke(wake, SHORT_S)
        assert wake.all_heard(tmp_path) == []
    assert woke(wake, 50)


def test_a_file_that_is_moved_in_or_out_wakes(tmp_path, wake):
    """From a folder that nobody watches, and back."""
    (tmp_path / "watched").mkdir()
    (tmp_path / "elsewhere").mkdir()
    wake.watch_folders([os.fsencode(tmp_path / "watched")])
    outside, inside = tmp_path / "elsewhere/T001.wav", tmp_path / "watched/T001.wav"
    outside.write_bytes(b"RIFF")
    assert wakes(wake, lambda: outside.rename(inside))
    assert wakes(wake, lambda: inside.rename(outside))


def test_a_header_that_is_put_right_wakes(tmp_path, wake):
    """A recorder writes the true length into a file that it opened once more."""
    file = tmp_path / "T001.wav"
    file.write_bytes(b"RIFF\0\0\0\0")
    wake.watch_folders([os.fsencode(tmp_path)])

    def put_right() -> None:
        with file.open("r+b") as head:
            head.seek(4)
            head.write(b"\x24\0\0\0")

    assert wakes(wake, put_right)


def test_reading_does_not_wake(tmp_path, wake):
    (tmp_path / "T001.wav").write_bytes(b"RIFF")
    wake.watch_folders([os.fsencode(tmp_path)])
    wake.all_heard(tmp_path)
    assert (tmp_path / "T001.wav").read_bytes() == b"RIFF"
    assert len(os.listdir(tmp_path)) == 1
    assert not woke(wake, SHORT_S)
    assert wake.all_heard(tmp_path) == []


def test_a_folder_that_is_watched_no_more_does_not_wake(tmp_path, wake):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    a, b = os.fsencode(tmp_path / "a"), os.fsencode(tmp_path / "b")
    wake.watch_folders([a])
    wake.watch_folders([b])
    wake.all_heard(tmp_path / "b")
    (tmp_path / "a/x").touch()
    assert not woke(wake, SHORT_S)
    assert wake.all_heard(tmp_path / "b") == []
    assert wakes(wake, (tmp_path / "b/x").touch)


def test_a_folder_that_is_not_there_is_noted_and_watched_when_it_comes(tmp_path, wake):
    late = tmp_path / "late"
    wake.watch_folders([os.fsencode(late)])
    assert len(wake.notes) == 1
    assert str(late) in wake.notes[0]
    late.mkdir()
    wake.watch_folders([os.fsencode(late)])
    assert wake.notes == []
    assert wakes(wake, (late / "x").touch)


def test_a_folder_that_was_made_anew_is_watched_anew(tmp_path, wake):
    watched = tmp_path / "watched"
    watched.mkdir()
    wake.watch_folders([os.fsencode(watched)])
    watched.rename(tmp_path / "old")
    watched.mkdir()
    wake.watch_folders([os.fsencode(watched)])
    assert wakes(wake, (watched / "x").touch)


def test_a_volume_that_came_back_is_watched_anew(bench: Bench, wake):
    """Device and inode numbers are the same as before; only the mount table tells."""
    disk = bench.disk("share")
    path = os.fsencode(disk.mount)
    wake.watch_mounts()
    wake.watch_folders([path])
    disk.unmount()
    disk.mount_again()
    assert woke(wake, 50)
    wake.watch_folders([path])
    assert wakes(wake, (disk.mount / "x").touch)


def test_a_watch_does_not_keep_a_volume_busy(bench: Bench, wake):
    disk = bench.disk("share")
    wake.watch_folders([os.fsencode(disk.mount)])
    disk.unmount()


def test_a_writer_without_a_pause_wakes_once_in_a_while(tmp_path):
    """The first event wakes at once; the next ones wait for the quiet span, a nudge does not."""
    with contextlib.closing(Wake(quiet_s=LONG_S)) as wake:
        wake.watch_folders([os.fsencode(tmp_path)])
        (tmp_path / "x").touch()
        assert woke(wake, 50)
        for _ in range(100):
            with (tmp_path / "x").open("ab") as recorder:
                recorder.write(b"\0" * 100)
        assert not woke(wake, SHORT_S)
        wake.nudge()
        assert woke(wake, 50)


OUT_OF_WATCHES = """
import os, resource, sys
from takehold.adapters.wake import Wake
wake = Wake()
wake.watch_folders([])
free = os.open("/", os.O_RDONLY)
os.close(free)
resource.setrlimit(resource.RLIMIT_NOFILE, (free, free))
wake.watch_folders([os.fsencode(sys.argv[1])])
print(*wake.notes)
wake.close()
"""


def test_no_watch_left_is_no_failure(tmp_path):
    """A limit of the system is a note, not an error. The limit is set in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", OUT_OF_WATCHES, str(tmp_path)],
        capture_output=True,
        timeout=60,
        check=False,
        text=True,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith(f"{tmp_path} is not watched for changes: ")
