"""adapters/live: what is shown is now, or nothing; a disk that takes nothing is told."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

from loopbench import Bench
from takehold.adapters.live import LiveFile, read_live, takes_writes

SAYS = {"says": "x" * 300}


def fill_up(folder: Path) -> Path:
    """Not a byte is left."""
    ballast = folder / "ballast"
    with ballast.open("ab", buffering=0) as file:
        for size in (1 << 16, 1):
            with contextlib.suppress(OSError):
                while True:
                    file.write(bytes(size))
    return ballast


def test_it_is_json_to_any_reader(tmp_path: Path) -> None:
    """Blanks at the end are allowed (RFC 8259, section 2)."""
    LiveFile(str(tmp_path)).show({"day": "a"})
    assert json.loads((tmp_path / "live.json").read_bytes()) == {"day": "a"}
    assert read_live(str(tmp_path)) == {"day": "a"}


def test_a_full_disk_still_takes_a_sentence_more(bench: Bench) -> None:
    """In the old one's place, on file systems of large and of small blocks."""
    for fs in ("tmpfs", "ext4"):
        folder = bench.disk(fs, fs, size_mb=8).mount
        live = LiveFile(str(folder))
        live.show({"work": ["w" * 3000]})
        ballast = fill_up(folder)
        for shown in ({"work": ["w" * 3000], "alarms": [SAYS] * 4}, {"work": []}):
            live.show(shown)
            assert read_live(str(folder)) == shown, fs
        ballast.unlink()
        live.show({"day": "b"})
        assert read_live(str(folder)) == {"day": "b"}
        assert takes_writes(str(folder))


def test_what_is_old_is_not_shown_where_the_new_finds_no_room(bench: Bench) -> None:
    """Better nothing than what was so before."""
    folder = bench.disk("state", "tmpfs", size_mb=1).mount
    live = LiveFile(str(folder))
    live.show({"day": "a"})
    fill_up(folder)
    live.show({"alarms": [SAYS] * 100})
    assert read_live(str(folder)) is None
    assert not list(folder.glob("live*"))


def test_a_read_only_disk_is_told(bench: Bench) -> None:
    """What lies there may be old."""
    disk = bench.disk("state", "ext4", size_mb=8)
    LiveFile(str(disk.mount)).show({"day": "a"})
    assert takes_writes(str(disk.mount))
    disk.unmount()
    disk.mount_again(options="ro")
    LiveFile(str(disk.mount)).show({"day": "b"})
    assert read_live(str(disk.mount)) == {"day": "a"}
    assert not takes_writes(str(disk.mount))
