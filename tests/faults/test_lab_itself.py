"""The laboratory does what it says, its checker can fail, and nothing of it is left behind."""

from __future__ import annotations

import contextlib
import errno
import os
import subprocess
from pathlib import Path

import pytest

from fakeworld import within
from faultlab.checker import image_digest, temporaries, unchanged, whole
from faultlab.lab import ANYWHERE, Faulty, Lab, between, faulty_lab, holding  # noqa: F401
from loopbench import mount_points

DATA = os.urandom(200_000)


def cold(path: Path) -> bytes:
    """Read a file past the kernel's cache of it."""
    with path.open("rb", buffering=0) as file:
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        return file.readall()


def test_a_flip_is_one_bit_and_only_past_the_cache(lab: Lab):
    """The cache keeps the true bytes; the medium gives others, until it is mended."""
    disk = lab.disk("disk")
    (disk.mount / "T.WAV").write_bytes(DATA)
    disk.sync()
    disk.set(flip=[holding(DATA)])
    assert (disk.mount / "T.WAV").read_bytes() == DATA
    found = cold(disk.mount / "T.WAV")
    assert sum(a ^ b for a, b in zip(found, DATA, strict=True)) == 1
    disk.mend()
    assert cold(disk.mount / "T.WAV") == DATA


def test_an_error_in_a_range_spares_the_rest(lab: Lab):
    """One bad sector: EIO there, the neighbour is read."""
    disk = lab.disk("disk")
    (disk.mount / "bad.WAV").write_bytes(DATA)
    (disk.mount / "good.WAV").write_bytes(DATA[::-1])
    at = disk.where(DATA)
    disk.set(read_error=[between(at + 4096, at + 4097)])
    with pytest.raises(OSError, match="Input/output") as told:
        cold(disk.mount / "bad.WAV")
    assert told.value.errno == errno.EIO
    assert cold(disk.mount / "good.WAV") == DATA[::-1]


def test_writes_that_are_dropped_leave_the_image_as_it_was(lab: Lab):
    """Every write and flush is acknowledged; not a bit of it is stored."""
    disk = lab.disk("disk")
    disk.sync()
    before = image_digest(disk.image)
    disk.set(drop_writes=[ANYWHERE])
    (disk.mount / "T.WAV").write_bytes(DATA)
    disk.sync()
    assert image_digest(disk.image) == before


def test_a_power_cut_keeps_what_was_flushed_and_no_more(lab: Lab):
    """Row 31: fsync of file and folder stays; a file that was only written is gone."""
    disk = lab.disk("disk")
    disk.set(volatile=True)
    (disk.mount / "kept.WAV").write_bytes(DATA)
    disk.sync()
    (disk.mount / "lost.WAV").write_bytes(DATA)
    disk.power_cut()
    disk.come_back()
    assert cold(disk.mount / "kept.WAV") == DATA
    assert not (disk.mount / "lost.WAV").exists()


def reads(thing: Faulty) -> int:
    return thing.counts().get("read", 0)


def test_what_hangs_at_the_end_is_taken_down(tmp_path: Path, lab: Lab):
    """A reader sleeps in the kernel when the laboratory closes: it ends, and nothing is left."""
    hung = Lab(tmp_path / "hung")
    hung.folder.mkdir()
    disk, layer = hung.disk("disk"), hung.layer("layer")
    (disk.mount / "T.WAV").write_bytes(DATA)
    (layer.folder / "T.WAV").write_bytes(DATA)
    disk.sync()
    disk.set(hang=["read"])
    layer.set(hang=["read"])
    before = {thing: reads(thing) for thing in (disk, layer)}
    readers = [
        subprocess.Popen(["dd", f"if={thing.mount}/T.WAV", "of=/dev/null", f"iflag={flag}"],
                         stderr=subprocess.DEVNULL)
        for thing, flag in ((disk, "direct"), (layer, "fullblock"))
    ]  # fmt: skip
    try:
        assert within(60, lambda: all(reads(thing) > n for thing, n in before.items()))
        assert all(reader.poll() is None for reader in readers)
    finally:
        hung.close()
        for reader in readers:
            reader.kill()
            reader.wait(20)
    assert not [p for p in mount_points() if p.startswith(os.fsencode(hung.folder))]
    backing = Path(f"/sys/block/{disk.loop.removeprefix('/dev/')}/loop/backing_file")
    left = ""
    with contextlib.suppress(OSError):  # another test may have the number, or lets go of it now
        left = backing.read_text()
    assert not left.startswith((str(hung.folder), "/disk.img"))


def test_the_checker_can_fail(tmp_path: Path):
    """Other bytes, a name of no file, and what was overwritten are told; a part is not counted."""
    (tmp_path / "card").mkdir()
    (tmp_path / "card/T.WAV").write_bytes(DATA)
    (tmp_path / "card/.takehold-00.part").write_bytes(b"half")
    assert whole(tmp_path, {"T.WAV": DATA}) == {"T.WAV"}
    assert len(temporaries(tmp_path)) == 1
    with pytest.raises(AssertionError, match="other bytes"):
        whole(tmp_path, {"T.WAV": DATA[1:]})
    with pytest.raises(AssertionError, match="no file of the card"):
        whole(tmp_path, {"U.WAV": DATA})
    with pytest.raises(AssertionError, match="stood there"):
        unchanged({"card/T.WAV": b"before"}, tmp_path)
