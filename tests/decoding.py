"""One compressed file on a folder that serves as a drive, measured through the real step.

`Decoding(folder).measure("T1.flac")` gives what is known of that file since.
"""

from __future__ import annotations

import hashlib
import subprocess
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import xxhash

from makings import root_at
from takehold.adapters.clock import SystemClock
from takehold.adapters.decoder import SoundfileDecoder
from takehold.adapters.disk import LocalDisk
from takehold.engine.outcome import Outcome
from takehold.engine.patience import Patience
from takehold.engine.perform import Performer, Work
from takehold.formats.describe import describe
from takehold.model.facts import ChannelBlocks, WasMeasured
from takehold.model.recording import Copy, Digests, Proof, Reading, Recording, Seen, Stamp
from takehold.model.situation import Target
from takehold.model.step import Measure


def ffmpeg(*words: str | Path) -> bytes:
    """Run ffmpeg; what it wrote to its standard output."""
    command = ["ffmpeg", "-v", "error", "-y", *map(str, words)]
    done = subprocess.run(
        command, check=True, timeout=60, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE
    )
    return done.stdout


def recorded(name: str, content: bytes) -> tuple[Recording, Copy]:
    """A recording that was read on its card, and its proven copy."""
    digests = Digests(xxhash.xxh64_hexdigest(content), hashlib.sha256(content).hexdigest())
    said = describe(lambda at, n: content[at : at + n], len(content))
    path, proof = name.encode(), Proof(1, Seen.MEDIUM, durable=True)
    reading, stamp = Reading(digests, None, 1, Seen.MEDIUM), Stamp(len(content), 1)
    made = Recording(1, 1, path, stamp, 1, "2031-03-14", path, 1, said, (reading,))
    return made, Copy(1, "shuttle-1", "root", frozenset(), path, proof)


@dataclass
class Decoding:
    """Measures files of one folder."""

    folder: Path
    told: list[Outcome] = field(default_factory=list)
    stop: threading.Event = field(default_factory=threading.Event)

    def measure(self, name: str) -> WasMeasured:
        """What is told of a file that lies in the folder, as it lies there."""
        self.perform(name)
        facts = [fact for outcome in self.told for fact in outcome.facts]
        [found] = [fact for fact in facts if isinstance(fact, WasMeasured)]
        return found

    def perform(self, name: str, moved: Callable[[int], None] = lambda _: None) -> list[Outcome]:
        """Carry the step out; all that it tells."""
        made, copy = recorded(name, (self.folder / name).read_bytes())
        step = Measure(Target("shuttle-1", root_at(self.folder), 1 << 40), made, copy)
        self.told = []
        performer = Performer(LocalDisk(), SoundfileDecoder(), SystemClock(), Patience(30))
        work = Work(step, {}, {}, SystemClock().asleep_ns())
        performer.perform(work, self.told.append, moved, self.stop)
        return self.told

    @property
    def blocks(self) -> list[ChannelBlocks]:
        """The blocks that were told with the last measure."""
        facts = (fact for outcome in self.told for fact in outcome.facts)
        return [fact for fact in facts if isinstance(fact, ChannelBlocks)]
