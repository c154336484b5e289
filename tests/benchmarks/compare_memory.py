"""Peak memory of one comparison of samples: an 8-track poly file against monos, and 16 bits.

    python tests/benchmarks/compare_memory.py [--folder /tmp] [--sizes 35,1400,4000] [--blocks]

For each size in MB of the poly file (24 bits, 48 kHz, noise) it makes the files in a folder of its
own, compares them in a process of their own, and deletes them. The largest needs 8.1 GB of room.

monos    8 mono files of the same samples
16 bit   the poly file with its lower 8 bits cut off
peak     VmHWM of that process (proc_pid_status(5)), `before`: with all modules loaded

Without `--blocks` the catalogue knows no blocks, so that all of both sides is read.
"""

from __future__ import annotations

import argparse
import os
import pickle
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

import numpy as np

from makings import root_at
from takehold.adapters.decoder import SoundfileDecoder
from takehold.adapters.disk import LocalDisk
from takehold.engine.compare import compare
from takehold.formats.audio import AudioMeter
from takehold.formats.describe import describe
from takehold.model.facts import ChannelBlocks
from takehold.model.recording import Copy, Digests, Proof, Reading, Recording, Seen, Stamp
from takehold.model.situation import Target
from takehold.model.step import Compare

CHANNELS, HZ, BITS, CHUNK = 8, 48_000, 24, 1 << 19
HALF_HOUR_S = 1800
POLY, COARSE = "poly.wav", "coarse.wav"
MONOS = [f"mono_{n}.wav" for n in range(CHANNELS)]
LEVEL = 1 << 20


def header(frames: int, channels: int, bits: int) -> bytes:
    """RIFF, `fmt ` and the head of `data` (Microsoft WAVEFORMATEX)."""
    align = channels * bits // 8
    form = struct.pack("<HHIIHH", 1, channels, HZ, HZ * align, align, bits)
    size = frames * align
    riff = b"RIFF" + struct.pack("<I", 36 + size) + b"WAVE"
    return riff + b"fmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", size)


def make(folder: Path, frames: int, names: Sequence[str]) -> None:
    """The files of these names, of the same noise each time."""
    rng = np.random.default_rng(8)
    with ExitStack() as stack:
        files = {name: stack.enter_context((folder / name).open("wb")) for name in names}
        for name, file in files.items():
            channels, bits = (1 if name in MONOS else CHANNELS), (16 if name == COARSE else BITS)
            file.write(header(frames, channels, bits))
        for begin in range(0, frames, CHUNK):
            shape = (min(CHUNK, frames - begin), CHANNELS)
            raw = rng.integers(-LEVEL, LEVEL, shape, dtype="<i4").view("u1").reshape(*shape, 4)
            for name, file in files.items():
                first = 1 if name == COARSE else 0
                part = raw[:, MONOS.index(name)] if name in MONOS else raw
                file.write(np.ascontiguousarray(part[..., first:3]).tobytes())


def recording(folder: Path, number: int, name: str) -> Recording:
    """A file as the catalogue has it."""
    path = folder / name
    with path.open("rb") as file:
        size = path.stat().st_size
        said = describe(lambda at, length: os.pread(file.fileno(), length, at), size)
    reading = Reading(Digests("0" * 16, "0" * 64), None, 1, Seen.MEDIUM)
    place = name.encode()
    stamp = Stamp(size, 1)
    return Recording(number, 1, place, stamp, 1, "2031-05-06", place, 1, said, (reading,))


def blocks_of(folder: Path, made: Recording) -> ChannelBlocks:
    """As the one read measures them."""
    said = made.description
    assert said.data is not None
    assert said.format is not None
    meter, at = AudioMeter(said.data, said.format, None), 0
    with (folder / made.path.decode()).open("rb") as file:
        while chunk := file.read(1 << 22):
            meter.feed(memoryview(chunk), at)
            at += len(chunk)
    measured = meter.measured()
    return ChannelBlocks(
        made.id, measured.first_sample, tuple(channel.blocks for channel in measured.channels)
    )


def peak() -> int:
    """The most memory of this process so far, in kB."""
    status = Path("/proc/self/status").read_text("ascii")
    return int(status.partition("VmHWM:")[2].split()[0])


def run_child(folder: Path, theirs: Sequence[str]) -> None:
    """Compare, and print what it came to, the peaks and the seconds."""
    sides = [recording(folder, n, name) for n, name in enumerate([POLY, *theirs], 1)]
    proof = Proof(1, Seen.MEDIUM, durable=True)
    pairs = [
        (made, Copy(made.id, "shuttle-1", "root", frozenset(), made.path, proof)) for made in sides
    ]
    kept = folder / "blocks"
    known = pickle.loads(kept.read_bytes()) if kept.exists() else {}  # written by this program
    step = Compare(
        Target("shuttle-1", root_at(folder), 1 << 40), tuple(pairs[:1]), tuple(pairs[1:])
    )
    before, begun = peak(), time.monotonic()
    with LocalDisk().destination(step.target.root) as tree:
        found = compare(step, tree, SoundfileDecoder(), known, lambda _: None)
    print(found.relation.value, before, peak(), time.monotonic() - begun, sep="\t")


def measure(folder: Path, label: str, theirs: Sequence[str], *, blocks: bool) -> int:
    """One line of figures; the peak in kB."""
    if blocks:
        names = enumerate([POLY, *theirs], 1)
        known = {n: blocks_of(folder, recording(folder, n, name)) for n, name in names}
        (folder / "blocks").write_bytes(pickle.dumps(known))
    command = [sys.executable, __file__, "--child", str(folder), *theirs]
    done = subprocess.run(
        command, check=True, timeout=HALF_HOUR_S, capture_output=True, text=True, env=environment()
    )
    relation, before, most, seconds = done.stdout.rstrip("\n").split("\t")
    size = (folder / POLY).stat().st_size / 1e6
    print(
        f"{size:8.0f} MB  {label:8}{int(before) / 1e3:10.1f}{int(most) / 1e3:10.1f}"
        f"{float(seconds):9.1f}  {relation}",
        flush=True,
    )
    return int(most)


def environment() -> dict[str, str]:
    """Where the makers of tests lie."""
    return os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])}


def main() -> None:
    """All sizes, and how flat the peaks are."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--folder", default=tempfile.gettempdir())
    parser.add_argument("--sizes", default="35,1400,4000")
    parser.add_argument("--blocks", action="store_true")
    parser.add_argument("--child", nargs="+")
    given = parser.parse_args()
    if given.child:
        run_child(Path(given.child[0]), given.child[1:])
        return
    print(f"{'poly':>11}  {'against':8}{'before MB':>10}{'peak MB':>10}{'seconds':>9}  relation")
    peaks: dict[str, list[int]] = {"monos": [], "16 bit": []}
    for size in map(int, given.sizes.split(",")):
        frames = size * 10**6 // (CHANNELS * BITS // 8)
        for label, theirs in (("monos", MONOS), ("16 bit", [COARSE])):
            with tempfile.TemporaryDirectory(dir=given.folder) as name:
                make(Path(name), frames, [POLY, *theirs])
                peaks[label].append(measure(Path(name), label, theirs, blocks=given.blocks))
    for label, found in peaks.items():
        print(f"{label}: the largest peak is {max(found) / min(found) - 1:.1%} over the least")


if __name__ == "__main__":
    main()
