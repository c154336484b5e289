"""A comparison that cannot be made is a fault with its key, never a verdict (P4, P6)."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from comparing import Sides, scene, two_sides, wave  # noqa: F401
from fakedisk import FakeDisk
from fakeworld import Clock
from takehold.adapters.clock import SystemClock
from takehold.adapters.decoder import SoundfileDecoder
from takehold.adapters.disk import LocalDisk
from takehold.decide.keys import compare_key
from takehold.engine.outcome import Outcome
from takehold.engine.patience import Patience
from takehold.engine.perform import Performer, Work
from takehold.model.comparison import Comparison
from takehold.model.errors import TakeholdError, VolumeGone, WorldError
from takehold.model.facts import Broken, ChannelBlocks, Compared, Proven
from takehold.model.finding import Relation
from takehold.model.situation import Target
from takehold.model.sound import Coding, Complaint, Sound
from takehold.model.step import Compare
from takehold.ports.decoder import Samples
from takehold.ports.disk import Reader

TAKE = np.rint(scene(150_000, 1) * 2**23).astype("<i4")


def both(sides: Sides) -> Compare:
    other = TAKE.copy()
    other[149_000] += 1
    return sides.step([wave(TAKE, begin=5)], [wave(other, begin=5)])


def fault(outcome: Outcome) -> TakeholdError:
    assert outcome.key == compare_key((1,), (2,))
    assert outcome.facts == ()
    assert outcome.error is not None
    return outcome.error


def broken(sides: Sides, outcome: Outcome) -> list[tuple[int, str]]:
    """What was found broken; the comparison itself is no trouble and has no answer."""
    assert (outcome.key, outcome.facts, outcome.error) == (compare_key((1,), (2,)), (), None)
    facts = [fact for told in sides.told for fact in told.facts]
    return [(fact.recording, fact.why) for fact in facts if isinstance(fact, Broken)]


def test_a_copy_that_is_gone(sides: Sides) -> None:
    """Its file was taken away."""
    step = both(sides)
    sides.path(step.theirs[0][0]).unlink()
    assert broken(sides, sides.outcome(step)) == [(2, "missing")]


@pytest.mark.parametrize("size", [0, 1, 5_000])
def test_a_copy_that_is_short(sides: Sides, size: int) -> None:
    """It is no prefix of what was proven, it is a bad copy."""
    step = both(sides)
    path = sides.path(step.theirs[0][0])
    path.write_bytes(path.read_bytes()[:size])
    assert broken(sides, sides.outcome(step)) == [(2, "altered")]


@pytest.mark.parametrize("blocks", [True, False])
def test_a_copy_that_holds_other_bytes_than_were_proven(sides: Sides, blocks: bool) -> None:
    """A bit went bad on the drive, in a block that was to be read: not a word on the card's.

    A catalogue that was rebuilt knows no blocks: then the copies are read again.
    """
    step = both(sides)
    path = sides.path(step.theirs[0][0])
    raw = bytearray(path.read_bytes())
    raw[-300] ^= 4
    path.write_bytes(raw)
    assert broken(sides, sides.outcome(step, blocks=blocks)) == [(2, "altered")]
    [proven] = [fact for told in sides.told for fact in told.facts if isinstance(fact, Proven)]
    assert proven.copy.recording == 1


def test_what_was_misread_once_is_no_bad_copy(sides: Sides) -> None:
    """The second, whole read is what was proven: it is a fault, and is tried again."""
    bench = OnFake(sides)
    bench.blocks = sides.blocks
    theirs = bench.step.theirs[0][1].path
    good = bench.drive.files[theirs]
    bench.drive.files[theirs] = good[:-300] + bytes([good[-300] ^ 4]) + good[-299:]

    def moved(_: int) -> None:
        if bench.drive.calls[-1][0] == "read":  # the whole read, in buffers
            bench.drive.files[theirs] = good

    found = fault(bench.run(moved))
    assert found.code == "altered"
    assert "T002.wav" in found.says
    assert not any(isinstance(fact, Broken) for told in bench.told for fact in told.facts)


def test_what_does_not_decode(sides: Sides) -> None:
    """An opaque file among the recordings."""
    step = sides.step([wave(TAKE)], [b"no audio at all" * 100])
    found = fault(sides.outcome(step))
    assert found.code == "not-decoded"
    assert "T002.wav" in found.says


def test_hours_between_two_parts_cost_nothing(sides: Sides) -> None:
    """A header may claim any TimeReference: 23 hours would be 82,800 pieces of a second."""
    parts = [wave(TAKE[:4_800], begin=0), wave(TAKE[4_800:9_600], begin=23 * 3_600 * 48_000)]
    other = TAKE[4_800:9_600] ^ 1
    step = sides.step(parts, [parts[0], wave(other, begin=23 * 3_600 * 48_000)])
    calls: list[int] = []
    performer = Performer(LocalDisk(), SoundfileDecoder(), SystemClock(), Patience(30))
    told: list[Outcome] = []
    work = Work(step, {}, {}, SystemClock().asleep_ns(), sides.blocks)
    performer.perform(work, told.append, calls.append, threading.Event())
    [fact] = told[-1].facts
    assert isinstance(fact, Compared)
    assert fact.comparison.relation is Relation.DIFFERENT
    assert fact.comparison.frame == 23 * 3_600 * 48_000
    assert len(calls) < 100


def flac(samples: np.ndarray) -> bytes:
    """A FLAC file, by libsndfile."""
    made = io.BytesIO()
    soundfile.write(made, samples << 8, 48_000, subtype="PCM_24", format="FLAC")
    return made.getvalue()


@pytest.mark.parametrize("side", [0, 1])
def test_a_recording_that_does_not_decode_is_an_answer(sides: Sides, side: int) -> None:
    """Half of it is there, on its card already: the copy is what was proven."""
    whole = flac(TAKE)
    files = [whole, wave(TAKE)]
    files[side] = whole[: len(whole) // 2]
    outcome = sides.outcome(sides.step(files[:1], files[1:]))
    assert outcome.error is None
    [fact] = outcome.facts
    assert isinstance(fact, Compared)
    assert fact.comparison.relation is Relation.UNDECODED
    proven = [fact for told in sides.told for fact in told.facts if isinstance(fact, Proven)]
    assert [fact.copy.recording for fact in proven] == [1, 2], "read again before it is said"


def test_a_copy_that_does_not_decode_and_was_whole_is_a_bad_copy(sides: Sides) -> None:
    """Its drive lost half of it: nothing is said of the recording."""
    step = sides.step([flac(TAKE)], [wave(TAKE)])
    path = sides.path(step.ours[0][0])
    raw = path.read_bytes()
    path.write_bytes(raw[: len(raw) // 2] + bytes(len(raw) - len(raw) // 2))
    assert broken(sides, sides.outcome(step)) == [(1, "altered")]


def told_as(step: Compare, sound: Sound | None, *codes: str) -> Compare:
    """The step with our recording as a measure left it: its sound, or what it complained of."""
    [(made, copy)] = step.ours
    complaints = tuple(Complaint(code, "") for code in codes)
    reading = made.readings[0]._replace(sound=sound)
    said = replace(made.description, complaints=complaints)
    made = replace(made, description=said, readings=(reading,))
    return replace(step, ours=((made, copy),))


def overstated(samples: np.ndarray, frames: int) -> bytes:
    """A FLAC file that claims so many frames (RFC 9639, 8.2)."""
    raw = flac(samples)
    packed = int.from_bytes(raw[18:26], "big") >> 36 << 36 | frames
    return raw[:18] + packed.to_bytes(8, "big") + raw[26:]


class Counting(SoundfileDecoder):
    """Counts what is opened."""

    opened = 0

    @contextmanager
    def open(self, reader: Reader, size: int, frames: int | None = None) -> Iterator[Samples]:
        self.opened += 1
        with super().open(reader, size, frames) as samples:
            yield samples


def counted(sides: Sides, step: Compare) -> tuple[Comparison, int, int]:
    """What came of it, how often it told that it lives, and how many files were opened."""
    decoder, told = Counting(), list[Outcome]()
    calls: list[int] = []
    performer = Performer(LocalDisk(), decoder, SystemClock(), Patience(30))
    work = Work(step, {}, {}, SystemClock().asleep_ns(), sides.blocks)
    performer.perform(work, told.append, calls.append, threading.Event())
    [fact] = told[-1].facts
    assert isinstance(fact, Compared)
    return fact.comparison, len(calls), decoder.opened


@pytest.mark.parametrize("claims", [(1 << 36) - 1, 0])
def test_a_flac_is_compared_over_what_decodes(sides: Sides, claims: int) -> None:
    """Its header claims 16 days, or tells no length: what it was measured to hold counts."""
    small = TAKE >> 8 << 8
    step = sides.step([overstated(small, claims)], [wave(TAKE)])
    sound = Sound(len(TAKE), "00" * 16, b"", coding=Coding.INTEGER)
    found, calls, opened = counted(sides, told_as(step, sound))
    assert found.relation is Relation.REDUCED
    assert calls < 100
    assert opened == 1


def test_a_claim_that_the_bytes_cannot_hold_is_answered_at_once(sides: Sides) -> None:
    """Not measured yet: two frames are there, and a million pieces of a second are claimed."""
    step = sides.step([overstated(TAKE[:5000], (1 << 36) - 1)], [wave(TAKE)])
    found, calls, _ = counted(sides, step)
    assert found.relation is Relation.UNDECODED
    assert calls < 100


def test_what_did_not_decode_when_it_was_measured_is_not_tried_again(sides: Sides) -> None:
    """Whatever its header claims: the answer is given, and kept."""
    step = sides.step([overstated(TAKE, 1 << 30)], [wave(TAKE)])
    found, calls, opened = counted(sides, told_as(step, None, "not-decoded"))
    assert (found.relation, opened) == (Relation.UNDECODED, 0)
    assert calls < 100


class OnFake:
    """The same two recordings on a drive in memory."""

    def __init__(self, sides: Sides) -> None:
        self.disk, self.clock = FakeDisk(), Clock()
        step = both(sides)
        files = {copy.path: sides.path(r).read_bytes() for r, copy in (*step.ours, *step.theirs)}
        self.drive = self.disk.volume(b"/media/SHUTTLE", files)
        self.step = replace(step, target=Target("shuttle-1", self.drive.root, 1 << 40))
        self.told: list[Outcome] = []
        self.stop = threading.Event()
        self.blocks: dict[int, ChannelBlocks] = {}

    def run(self, moved: object = lambda _: None) -> Outcome:
        performer = Performer(self.disk, SoundfileDecoder(), self.clock, Patience(5))
        work = Work(self.step, {}, {}, self.clock.asleep_ns(), self.blocks)
        performer.perform(work, self.told.append, moved, self.stop)  # type: ignore[arg-type]
        return self.told[-1]


@pytest.mark.parametrize("error", [VolumeGone("It was pulled."), WorldError("I/O error.")])
def test_a_drive_that_fails(sides: Sides, error: TakeholdError) -> None:
    """At the first read."""
    bench = OnFake(sides)
    bench.drive.fail_next("read_at", error)
    assert fault(bench.run()) is error


@pytest.mark.parametrize("after", range(1, 5))
def test_a_drive_that_is_pulled_on_the_way(sides: Sides, after: int) -> None:
    """While windows are looked at, and while the samples stream by."""
    bench = OnFake(sides)
    left = [after]

    def moved(_: int) -> None:
        left[0] -= 1
        if not left[0]:
            bench.drive.yank()

    assert fault(bench.run(moved)).code == "volume-gone"


def test_it_ends_at_the_next_block_when_it_shall_stop(sides: Sides) -> None:
    """Quietly: nothing was wrong."""
    bench = OnFake(sides)
    bench.stop.set()
    assert fault(bench.run()).code == "stopped"


def test_what_was_compared_across_a_sleep_counts_for_nothing(sides: Sides) -> None:
    """The drive may be another one since."""
    bench = OnFake(sides)
    assert fault(bench.run(lambda _: bench.clock.sleep(60))).code in ("slept", "stopped")
    bench = OnFake(sides)
    assert bench.run().error is None


def several(sides: Sides) -> tuple[Compare, list[str]]:
    """Three comparisons in one go, and their keys."""
    steps = [both(sides) for _ in range(3)]
    keys = [compare_key(*((r.id,) for ((r, _),) in (s.ours, s.theirs))) for s in steps]
    return replace(steps[0], then=tuple(steps[1:])), keys


def test_one_that_fails_ends_none_of_those_behind_it(sides: Sides) -> None:
    """Each is told by itself, in the end."""
    step, keys = several(sides)
    sides.path(step.then[0].theirs[0][0]).unlink()
    sides.outcome(step)
    told = {o.key: [f for f in o.facts if isinstance(f, Compared)] for o in sides.told}
    assert [len(told.get(key, [])) for key in keys] == [1, 0, 1]


def test_of_several_none_is_begun_once_it_shall_stop(sides: Sides) -> None:
    step, keys = several(sides)
    performer = Performer(LocalDisk(), SoundfileDecoder(), SystemClock(), Patience(30))
    stop = threading.Event()
    told: list[Outcome] = []
    size = sum(recording.stamp.size for recording, _ in (*step.ours, *step.theirs))
    done = 0

    def moved(count: int) -> None:
        nonlocal done
        done += count
        if done > size // 2:
            stop.set()

    work = Work(step, {}, {}, SystemClock().asleep_ns(), {})
    performer.perform(work, told.append, moved, stop)
    assert [outcome.key for outcome in told] == keys[:1]
    assert fault(told[0]).code == "stopped"
