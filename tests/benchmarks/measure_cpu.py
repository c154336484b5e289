"""CPU seconds per GB of payload: the checksums of a copy, the payload digest, the full measure.

    python tests/benchmarks/measure_cpu.py [--megabytes 256] [--rounds 5]

All in one run, one after the other in each round, medians of the rounds; CPU time of the process,
chunks of 4 MiB as the copy engine reads them.

copy     what a copy to one destination computes: SHA-256 and XXH64 of the source, XXH64 of what
         is read back. Reading, writing and the kernel's share come on top and are not in it.
digest   what the XXH3-128 of the payload adds to it
measure  what the full measure adds to it, that digest included
added    measure - digest; ratio: over copy + digest
"""

from __future__ import annotations

import argparse
import hashlib
import statistics
import time
from collections.abc import Callable

import numpy as np
import xxhash

from takehold.formats.audio import AudioMeter
from takehold.model.sound import Span, WaveFormat

CHUNK = 4 << 20


def payload(size: int, channels: int, width: int, level: float) -> bytes:
    """About `size` bytes of Gaussian noise at `level` dBFS RMS, another in each channel."""
    frames = size // (channels * width)
    noise = np.random.default_rng(4).normal(0, 10 ** (level / 20), (frames, channels))
    samples = (np.clip(noise, -1, 1 - 2**-23) * 2**31).astype("<i4")
    return samples.view("u1").reshape(frames, channels, 4)[:, :, 4 - width :].tobytes()


class Digest:
    """The payload digest alone, in place of the measure."""

    def __init__(self) -> None:
        self._payload = xxhash.xxh3_128()

    def feed(self, chunk: memoryview, offset: int) -> None:
        """Take the next bytes."""
        self._payload.update(chunk)


def copy(audio: memoryview, meter: Digest | AudioMeter | None) -> None:
    """What a copy to one destination computes: each chunk is fresh from the checksums."""
    source, back, whole = xxhash.xxh64(), xxhash.xxh64(), hashlib.sha256()
    for at in range(0, len(audio), CHUNK):
        chunk = audio[at : at + CHUNK]
        back.update(chunk)
        source.update(chunk)
        whole.update(chunk)
        if meter is not None:
            meter.feed(chunk, at)


def seconds(work: Callable[[], None]) -> float:
    """CPU time of this process, its threads included."""
    before = time.process_time()
    work()
    return time.process_time() - before


def report(name: str, audio: memoryview, form: WaveFormat, rounds: int) -> None:
    """One line of figures."""
    works: list[Callable[[], None]] = [
        lambda: copy(audio, None),
        lambda: copy(audio, Digest()),
        lambda: copy(audio, AudioMeter(Span(0, len(audio)), form, 12_345)),
    ]
    taken = [[seconds(work) for work in works] for _ in range(rounds)]
    bare, digest, full = (statistics.median(t) / len(audio) * 1e9 for t in zip(*taken, strict=True))
    figures = f"{bare:8.3f}{digest - bare:9.3f}{full - bare:9.3f}{full - digest:9.3f}"
    print(f"{name:<24}{figures}{(full - digest) / digest:9.0%}")


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--megabytes", type=int, default=256)
    options.add_argument("--rounds", type=int, default=5)
    given = options.parse_args()
    size = given.megabytes * 1_000_000
    print(f"{'CPU s/GB':<24}{'copy':>8}{'digest':>9}{'measure':>9}{'added':>9}{'ratio':>9}")
    for channels, width, level in (
        (8, 3, -32),
        (8, 3, -9),
        (1, 3, -32),
        (2, 3, -32),
        (32, 3, -32),
        (2, 2, -32),
        (2, 2, -85),
        (8, 4, -32),
    ):
        audio = memoryview(payload(size, channels, width, level))
        form = WaveFormat(1, channels, 48_000, 8 * width, channels * width)
        report(f"{channels} x {8 * width} bit, {level} dBFS", audio, form, given.rounds)


if __name__ == "__main__":
    main()
