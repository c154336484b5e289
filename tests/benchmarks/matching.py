"""How long it takes to match two cards, and how many steps, for 100 to 10,000 files on each.

    python tests/benchmarks/matching.py [--most 10000]

One card against another, in four ways; each take has 3 tracks of made-up digests, no audio is made.

identical   the same bytes on both cards
metadata    the same audio, scene and take edited on one card
layout      a poly file on one card, three monos on the other (3 files each count as one here)
depth       24 bits on one card, 16 on the other: all must be compared
alike       every take has the same timecode, scene, take and length: the worst for pairing

`lines` counts the lines of Python that were executed in the matching, measured in a run of its own.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from types import FrameType
from typing import Any

import xxhash

from takehold.decide.match import match
from takehold.formats.levels import packed
from takehold.model.measured import Channel
from takehold.model.recording import Digests, Reading, Recording, Seen, Stamp
from takehold.model.sound import Coding, Description, Kind, Metadata, Sound, Span, WaveFormat

HZ = 48_000
WAYS = ("identical", "metadata", "layout", "depth", "alike")
Pair = tuple[list[Recording], list[Recording]]


def channel(word: str) -> Channel:
    """A channel with sound that has this digest."""
    return Channel(xxhash.xxh3_128_hexdigest(word.encode()), b"", 1 << 30, 0.1, 0, 0, 0, 0, 99)


def recording(
    number: int, of: int, path: str, tracks: list[str], start: int, **more: Any
) -> Recording:
    """A file of a minute whose tracks have digests of these words."""
    bits = more.pop("bits", 24)
    made = WaveFormat(1, len(tracks), HZ, bits, len(tracks) * bits // 8)
    word = f"{' '.join(tracks)} {bits}"
    sha = xxhash.xxh3_128_hexdigest(f"{word} {more}".encode()) * 2
    sound = Sound(
        60 * HZ, xxhash.xxh3_128_hexdigest(word.encode()), xxhash.xxh3_64_digest(word.encode()) * 60
    )
    sound = replace(
        sound, coding=Coding.INTEGER, levels=packed(channel(f"{t} {bits}") for t in tracks)
    )
    said = Metadata(time_reference=start, **more)
    size = 60 * HZ * made.block_align
    about = Description(Kind.WAVE, made, Span(44, size), 60 * HZ, said)
    read = Reading(Digests(sha[:16], sha), sound, 0, Seen.MEDIUM)
    stamp = Stamp(size + 44, 0)
    name = path.encode()
    return Recording(number, of, name, stamp, 0, "2031-05-06", name, 1, about, (read,))


def cards(way: str, count: int) -> Pair:
    """Two cards of so many takes."""
    ours: list[Recording] = []
    theirs: list[Recording] = []
    for n in range(count):
        start = 0 if way == "alike" else n * 61 * HZ
        said = {"scene": "1", "take": "1" if way == "alike" else str(n)}
        words = [f"{n} {track}" for track in range(3)]
        ours.append(recording(n, 1, f"{n:05}.WAV", words, start, **said))
        other = 10 * count + 3 * n
        if way == "layout":
            theirs += [
                recording(other + t, 2, f"{n:05}_{t}.WAV", [word], start, set_index=str(t), **said)
                for t, word in enumerate(words)
            ]
            continue
        more = said | {
            "metadata": {"note": "good"},
            "depth": {"bits": 16},
            "alike": {"bits": 16, "note": str(n)},
        }.get(way, {})
        theirs.append(recording(other, 2, f"{n:05}.WAV", words, start, **more))
    return ours, theirs


def lines_of(work: Callable[[], object]) -> int:
    """How many lines of the package are executed."""
    count = 0

    def local(_frame: FrameType, event: str, _arg: object) -> Any:
        nonlocal count
        count += event == "line"
        return local

    def begin(frame: FrameType, _event: str, _arg: object) -> Any:
        return local if "takehold" in frame.f_code.co_filename else None

    before = sys.gettrace()
    sys.settrace(begin)
    try:
        work()
    finally:
        sys.settrace(before)
    return count


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=10_000)
    most = parser.parse_args().most
    print(f"{'':10}{'takes':>8}{'seconds':>10}{'lines':>12}{'a take':>8}{'to compare':>12}")
    for way in WAYS:
        for count in (100, 300, 1000, 2000, 3000, 10_000):
            if count > most:
                continue
            ours, theirs = cards(way, count)
            begun = time.perf_counter()
            found = match(ours, theirs)
            took = time.perf_counter() - begun
            lines = lines_of(lambda pair=(ours, theirs): match(*pair))
            each = lines / count
            print(f"{way:10}{count:8}{took:10.3f}{lines:12}{each:8.0f}{len(found.uncompared):12}")


if __name__ == "__main__":
    main()
