"""A measure that cannot be made: the drive's fault is tried again, the file's is said."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from decoding import Decoding, ffmpeg, recorded
from fakedisk import FakeDisk
from fakeworld import Clock
from takehold.adapters.decoder import SoundfileDecoder
from takehold.decide.keys import prove_key
from takehold.decide.looked_into import unmeasured
from takehold.engine.outcome import Outcome
from takehold.engine.patience import Patience
from takehold.engine.perform import Performer, Work
from takehold.formats.describe import describe
from takehold.model.errors import TakeholdError, VolumeGone, WorldError
from takehold.model.facts import Broken, Proven, WasMeasured
from takehold.model.situation import Target
from takehold.model.step import Measure

NOISE = ("-f", "lavfi", "-i", "anoisesrc=c=pink:r=48000:seed=3:amplitude=0.4:d=6")


@pytest.fixture(scope="module")
def flac() -> bytes:
    """Six seconds, by ffmpeg; with its length told, as ffmpeg writes it to a file."""
    content = bytearray(ffmpeg(*NOISE, "-c:a", "flac", "-sample_fmt", "s32", "-f", "flac", "-"))
    content[21:26] = (int.from_bytes(content[21:26], "big") | 288_000).to_bytes(5, "big")
    return bytes(content)


@pytest.fixture(scope="module")
def mp3() -> bytes:
    """Six seconds, by ffmpeg with libmp3lame, without an information frame."""
    return ffmpeg(*NOISE, "-c:a", "libmp3lame", "-b:a", "128k", "-write_xing", "0", "-f", "mp3",
                  "-id3v2_version", "0", "-")  # fmt: skip


class OnFake:
    """The file on a drive in memory."""

    def __init__(self, content: bytes) -> None:
        self.disk, self.clock = FakeDisk(), Clock()
        made, copy = recorded("T1.flac", content)
        self.drive = self.disk.volume(b"/media/SHUTTLE", {copy.path: content})
        root = self.drive.root
        self.copy = copy._replace(root=root.identity)
        self.step = Measure(Target("shuttle-1", root, 1 << 40), made, self.copy)
        self.told: list[Outcome] = []
        self.stop = threading.Event()

    def run(self, moved: Callable[[int], None] = lambda _: None) -> list[Outcome]:
        performer = Performer(self.disk, SoundfileDecoder(), self.clock, Patience(5))
        work = Work(self.step, {}, {}, self.clock.asleep_ns())
        performer.perform(work, self.told.append, moved, self.stop)
        return self.told

    def fault(self) -> TakeholdError:
        """What came of it in the end; nothing of it is a word about the recording."""
        assert not [f for o in self.told for f in o.facts if isinstance(f, WasMeasured)]
        assert self.told[-1].key == prove_key(self.copy)
        assert self.told[-1].error is not None
        return self.told[-1].error


def test_a_whole_one_is_proven_again_and_measured(flac: bytes) -> None:
    """The proof comes first: what is measured are the bytes that the card gave."""
    bench = OnFake(flac)
    bench.run()
    facts = [fact for outcome in bench.told for fact in outcome.facts]
    assert isinstance(facts[0], Proven)
    assert isinstance(facts[1], WasMeasured)
    assert facts[1].sound is not None
    assert facts[1].sound.frames == 288_000


@pytest.mark.parametrize("error", [VolumeGone("It was pulled."), WorldError("I/O error.")])
@pytest.mark.parametrize("reading", ["read", "read_at"])
def test_a_drive_that_fails(flac: bytes, error: TakeholdError, reading: str) -> None:
    """While the copy is proven, and while it is decoded."""
    bench = OnFake(flac)
    bench.drive.fail_next(reading, error)
    bench.run()
    assert bench.fault() is error


@pytest.mark.parametrize("after", [1, 2, 3, 5, 9])
def test_a_drive_that_is_pulled_on_the_way(flac: bytes, after: int) -> None:
    """At each stage; what could be decoded before is not told."""
    bench = OnFake(flac)
    left = [after]

    def moved(_: int) -> None:
        left[0] -= 1
        if not left[0]:
            bench.drive.yank()

    bench.run(moved)
    assert bench.fault().code == "volume-gone"


def test_it_ends_when_it_shall_stop(flac: bytes) -> None:
    """At the next read, also inside the decoder; quietly."""
    bench, moves = OnFake(flac), [6]

    def moved(_: int) -> None:
        moves[0] -= 1
        if not moves[0]:
            bench.stop.set()

    bench.run(moved)
    assert bench.fault().code == "stopped"


def test_what_was_measured_across_a_sleep_counts_for_nothing(flac: bytes) -> None:
    bench = OnFake(flac)
    bench.run(lambda _: bench.clock.sleep(60))
    assert bench.fault().code in ("slept", "stopped")


@pytest.mark.parametrize("how", ["cut", "altered", "gone"])
def test_a_bad_copy_is_no_word_about_the_recording(flac: bytes, how: str) -> None:
    """It is broken, as when it is read again for any other reason."""
    bench = OnFake(flac)
    bad = {"cut": flac[:-1], "altered": flac[:-9] + b"\0" + flac[-8:], "gone": b""}[how]
    files = bench.drive.files
    if how == "gone":
        del files[b"T1.flac"]
    else:
        files[b"T1.flac"] = bad
    [only] = bench.run()
    [fact] = only.facts
    assert isinstance(fact, Broken)
    assert fact.why == ("missing" if how == "gone" else "altered")


def not_decoded(folder: Path, name: str, content: bytes) -> str:
    """What is said of a file that cannot be measured; it is never tried again."""
    (folder / name).write_bytes(content)
    bench = Decoding(folder)
    fact = bench.measure(name)
    assert fact.sound is None
    assert not bench.blocks
    [complaint] = [c for c in fact.description.complaints if c.code == "not-decoded"]
    made, _ = recorded(name, content)
    assert not unmeasured(replace(made, description=fact.description))
    return complaint.detail


def test_a_flac_that_is_cut_off(tmp_path: Path, flac: bytes) -> None:
    """In the middle of a frame, and between two."""
    assert not_decoded(tmp_path, "a.flac", flac[: len(flac) // 2])
    assert not_decoded(tmp_path, "b.flac", flac[:42])


def test_a_flac_with_a_bit_that_flipped(tmp_path: Path, flac: bytes) -> None:
    """Every frame has its own checksum (RFC 9639, 9.3)."""
    bad = bytearray(flac)
    bad[len(flac) // 2] ^= 8
    assert not_decoded(tmp_path, "a.flac", bytes(bad))


def claiming(flac: bytes, frames: int) -> bytes:
    """The same with another total in STREAMINFO (RFC 9639, 8.2: the last 36 of these bits)."""
    packed = int.from_bytes(flac[18:26], "big") >> 36 << 36 | frames
    return flac[:18] + packed.to_bytes(8, "big") + flac[26:]


@pytest.mark.parametrize("claims", [(1 << 36) - 1, 300_000, 288_001])
def test_a_flac_that_claims_more_than_there_is(tmp_path: Path, flac: bytes, claims: int) -> None:
    """All that decodes is measured, as of one that was cut off between two frames; and it is said.

    The greatest claim is more than the bytes can hold, and is told by nobody before.
    """
    bad = claiming(flac, claims)
    (tmp_path / "good.flac").write_bytes(flac)
    (tmp_path / "bad.flac").write_bytes(bad)
    good, found = (Decoding(tmp_path).measure(name) for name in ("good.flac", "bad.flac"))
    assert found.sound == good.sound
    assert found.description.frames == 288_000
    [complaint] = found.description.complaints
    assert complaint.code == "header-untrue"
    assert complaint.detail == f"288000 of {claims} frames are there"
    assert good.description.complaints == ()
    said = describe(lambda at, n: bad[at : at + n], len(bad)).frames
    assert said == (claims if claims < 1 << 35 else None)


def test_a_flac_that_claims_less_than_there_is(tmp_path: Path, flac: bytes) -> None:
    """All of it is measured, and it is said: as a backup it must not be called short."""
    (tmp_path / "good.flac").write_bytes(flac)
    (tmp_path / "bad.flac").write_bytes(claiming(flac, 287_000))
    good, found = (Decoding(tmp_path).measure(name) for name in ("good.flac", "bad.flac"))
    assert found.sound == good.sound
    assert found.description.frames == 288_000
    [complaint] = found.description.complaints
    assert complaint.code == "header-untrue"
    assert complaint.detail == "it tells 287000 frames and holds 288000"


def test_an_mp3_that_is_cut_off_within_its_last_frames_is_measured(
    tmp_path: Path, mp3: bytes
) -> None:
    """Where nothing tells its length, that it is cut does not show."""
    (tmp_path / "a.mp3").write_bytes(mp3[: len(mp3) // 2])
    found = Decoding(tmp_path).measure("a.mp3").sound
    assert found is not None
    assert 2 * 48_000 < found.frames < 4 * 48_000


@pytest.mark.parametrize("filling", ["noise", "zeros", "ones"])
def test_an_mp3_of_noise(tmp_path: Path, mp3: bytes, filling: str) -> None:
    """Two frames, then 20 MB of anything: no more is decoded than is there, and soon."""
    size = 20_000_000
    rest = {"noise": os.urandom(size), "zeros": bytes(size), "ones": b"\xff" * size}[filling]
    (tmp_path / "a.mp3").write_bytes(mp3[:2_000] + rest)
    fact = Decoding(tmp_path).measure("a.mp3")
    assert fact.sound is None or fact.sound.frames < 48_000 * 60


@pytest.mark.parametrize("form", ["flac", "mp3"])
def test_any_byte_may_be_another(tmp_path: Path, flac: bytes, mp3: bytes, form: str) -> None:
    """It is measured, or does not decode; never anything else. Seeds are the places."""
    content = flac if form == "flac" else mp3
    for place in (*range(0, 60, 7), *range(60, len(content), len(content) // 12)):
        bad = bytearray(content)
        bad[place] ^= 0x55
        (tmp_path / "a").write_bytes(bad)
        told = Decoding(tmp_path).perform("a")
        assert [o.error for o in told] == [None, None], place


def test_more_than_a_day_of_eight_channels_is_not_believed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Silence takes next to no bytes; the bound is made small here, or it would take long."""
    monkeypatch.setattr("takehold.engine.measure.MOST_SAMPLES", 1 << 20)
    silence = ffmpeg("-f", "lavfi", "-i", "anullsrc=r=48000:cl=mono,atrim=duration=60",
                     "-c:a", "flac", "-f", "flac", "-")  # fmt: skip
    assert len(silence) < 60_000
    assert "more than a day" in not_decoded(tmp_path, "a.flac", silence)


def test_a_second_format_within_an_mp3(tmp_path: Path, mp3: bytes) -> None:
    """Its first frame is mono by a flipped bit, the rest stereo or not: one answer, no crash."""
    other = ffmpeg(*NOISE, "-ac", "2", "-ar", "44100", "-c:a", "libmp3lame", "-f", "mp3",
                   "-write_xing", "0", "-id3v2_version", "0", "-")  # fmt: skip
    (tmp_path / "a.mp3").write_bytes(mp3[: len(mp3) // 2] + other)
    assert [o.error for o in Decoding(tmp_path).perform("a.mp3")] == [None, None]


def test_memory_stays_bounded(tmp_path: Path) -> None:
    """Two minutes of eight channels are 184 MB of int32; a process of its own, by its peak."""
    path = tmp_path / "a.flac"
    eight = "pan=7.1|" + "|".join(f"c{n}=c0" for n in range(8))
    tone = "sine=frequency=300:sample_rate=48000:d=120"
    ffmpeg("-f", "lavfi", "-i", tone, "-af", eight, "-c:a", "flac", path)
    script = (
        "import sys, pathlib; from decoding import Decoding;"
        "fact = Decoding(pathlib.Path(sys.argv[1])).measure('a.flac');"
        "lines = pathlib.Path('/proc/self/status').read_text().splitlines();"
        "[peak] = [line.split()[1] for line in lines if line.startswith('VmHWM')];"
        "print(fact.sound.frames, peak)"
    )
    tests = Path(__file__).parents[1]
    command = ["/usr/bin/env", f"PYTHONPATH={tests}", sys.executable, "-c", script, tmp_path]
    done = subprocess.run(command, check=True, timeout=60, capture_output=True, text=True)
    frames, peak_kb = map(int, done.stdout.split())
    assert frames == 120 * 48_000
    assert peak_kb < 160_000
