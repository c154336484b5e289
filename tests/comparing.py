"""Two sides of real files, compared through the real disk and decoder.

    pair = Sides(tmp_path)
    found = pair.compare([wav_a], [wav_b1, wav_b2])

Sound is made of what a set has: a noise floor, speech-like bursts in the bands of speech, hum.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from makings import root_at
from takehold.adapters.clock import SystemClock
from takehold.adapters.decoder import SoundfileDecoder
from takehold.adapters.disk import LocalDisk
from takehold.engine.outcome import Outcome
from takehold.engine.patience import Patience
from takehold.engine.perform import Performer, Work
from takehold.formats.audio import AudioMeter
from takehold.formats.bwf_file import bwf
from takehold.formats.describe import describe
from takehold.formats.digest import FileDigest
from takehold.model.comparison import Comparison
from takehold.model.facts import ChannelBlocks, Compared
from takehold.model.recording import Copy, Proof, Reading, Recording, Seen, Stamp
from takehold.model.situation import Target
from takehold.model.sound import Metadata, Sound, WaveFormat
from takehold.model.step import Compare

Floats = NDArray[np.float64]
RATE = 48_000


def db(level: float) -> float:
    """An amplitude, full scale being 1.0."""
    return float(10 ** (level / 20))


def floor(frames: int, seed: int, level: float = -68.0) -> Floats:
    """The noise of a quiet place and a preamplifier: falling with the frequency."""
    white = np.random.default_rng(seed).standard_normal(frames)
    spectrum = np.fft.rfft(white)
    hertz = np.fft.rfftfreq(frames, 1 / RATE)
    noise = np.fft.irfft(spectrum / np.sqrt(np.maximum(hertz, 40)), frames)
    return noise * (db(level) / noise.std())


def speech(frames: int, seed: int, level: float = -30.0) -> Floats:
    """Bursts of coloured noise and of harmonic tones, in syllables and pauses."""
    rng = np.random.default_rng(seed)
    out, at = np.zeros(frames), int(rng.integers(1_000, 20_000))
    while at < frames - 20_000:
        length = int(rng.integers(4_000, 16_000))
        time = np.arange(length) / RATE
        pitch = rng.uniform(90, 240) * (1 + 0.1 * np.sin(2 * np.pi * rng.uniform(1, 4) * time))
        phase = 2 * np.pi * np.cumsum(pitch) / RATE
        voiced = sum(np.sin(k * phase + rng.uniform(0, 6)) / k for k in range(1, 30))
        breath = np.convolve(rng.standard_normal(length), [0.3, 0.5, 0.3], "same")
        burst = (voiced + 0.3 * breath) * np.hanning(length)
        out[at : at + length] += burst * rng.uniform(0.3, 1.0)
        at += length + int(rng.integers(500, 24_000))
    return out * (db(level) / max(out.std(), 1e-9))


def hum(frames: int, level: float = -50.0) -> Floats:
    """50 Hz and its harmonics, the same in every take of a place."""
    time = np.arange(frames) / RATE
    tones = sum(np.sin(2 * np.pi * 50 * k * time + k) / k for k in range(1, 9))
    return np.asarray(tones) * db(level)


def scene(frames: int, seed: int, level: float = -30.0) -> Floats:
    """A take: speech over the floor, and the hum of the place."""
    return speech(frames, seed, level) + floor(frames, seed + 1) + hum(frames, -62.0)


def as_bytes(samples: Floats | NDArray[np.int32], bits: int) -> bytes:
    """Interleaved little-endian PCM of shape (frames, channels); floats are rounded."""
    if samples.dtype.kind == "f":
        whole = np.rint(samples * 2 ** (bits - 1))
        samples = np.clip(whole, -(2 ** (bits - 1)), 2 ** (bits - 1) - 1).astype("<i4")
    raw = np.ascontiguousarray(samples.astype("<i4")).view("u1").reshape(-1, 4)
    return raw[:, : bits // 8].tobytes()


def wave(samples: Floats | NDArray[np.int32], bits: int = 24, begin: int | None = None) -> bytes:
    """A WAVE file of samples of shape (frames, channels) or (frames,)."""
    samples = samples[:, None] if samples.ndim == 1 else samples
    channels = samples.shape[1]
    form = WaveFormat(1, channels, RATE, bits, channels * bits // 8)
    said = Metadata() if begin is None else Metadata(scene="12", take="3", time_reference=begin)
    return bwf(form, said, as_bytes(samples, bits))


@dataclass
class Sides:
    """A folder that serves as a destination; what is compared was copied there."""

    folder: Path
    told: list[Outcome] = field(default_factory=list)
    blocks: dict[int, ChannelBlocks] = field(default_factory=dict)
    _next: int = 1

    def compare(
        self, ours: Sequence[bytes], theirs: Sequence[bytes], *, blocks: bool = True
    ) -> Comparison:
        """What is told of the two sides; `blocks`: the catalogue kept the blocks of all files."""
        outcome = self.outcome(self.step(ours, theirs), blocks=blocks)
        assert outcome.error is None, outcome.error.says
        [fact] = outcome.facts
        assert isinstance(fact, Compared)
        return fact.comparison

    def step(self, ours: Sequence[bytes], theirs: Sequence[bytes]) -> Compare:
        """The step for two sides; the files lie in the folder after this."""
        sides = [tuple(self._take_in(content) for content in side) for side in (ours, theirs)]
        return Compare(Target("shuttle-1", root_at(self.folder), 1 << 40), *sides)

    def outcome(self, step: Compare, *, blocks: bool = True) -> Outcome:
        """Carry a step out; what it tells in the end, the proofs before it are in `told`."""
        performer = Performer(LocalDisk(), SoundfileDecoder(), SystemClock(), Patience(30))
        self.told = []
        work = Work(step, {}, {}, SystemClock().asleep_ns(), self.blocks if blocks else {})
        performer.perform(work, self.told.append, lambda _: None, threading.Event())
        return self.told[-1]

    def path(self, recording: Recording) -> Path:
        """Where a copy lies."""
        return self.folder / recording.path.decode()

    def _take_in(self, content: bytes) -> tuple[Recording, Copy]:
        number, self._next = self._next, self._next + 1
        path = b"T%03d.wav" % number
        (self.folder / path.decode()).write_bytes(content)
        said = describe(lambda at, n: content[at : at + n], len(content))
        sound: Sound | None = None
        if said.data and said.format:
            meter = AudioMeter(said.data, said.format, said.metadata.time_reference)
            meter.feed(content, 0)
            measured = meter.measured()
            sound = meter.sound()
            rows = tuple(channel.blocks for channel in measured.channels)
            self.blocks[number] = ChannelBlocks(number, measured.first_sample, rows)
        digest = FileDigest()
        digest.update(content)
        reading = Reading(digest.digests(), sound, 1, Seen.MEDIUM)
        stamp = Stamp(len(content), 1)
        made = Recording(number, 1, path, stamp, 1, "2031-03-14", path, 1, said, (reading,))
        proof = Proof(1, Seen.MEDIUM, durable=True)
        return made, Copy(number, "shuttle-1", "root", frozenset(), path, proof)


@pytest.fixture(name="sides")
def two_sides(tmp_path: Path) -> Sides:
    """Two sides of a test's own."""
    return Sides(tmp_path)


@pytest.fixture(params=[True, False], ids=["blocks known", "blocks unknown"], name="known")
def blocks_known(request: pytest.FixtureRequest) -> bool:
    """Whether the catalogue kept the blocks; the answer is the same."""
    return bool(request.param)
