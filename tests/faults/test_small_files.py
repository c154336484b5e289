"""Small files: told to everybody once, judged and proven with few changes of thread (P3, P6)."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest
from test_transfer import SIZE, Bench, big

from fakeworld import call_count, ending, take, within
from takehold.engine import judging, landing
from takehold.engine.course import Course
from takehold.engine.job import Job
from takehold.engine.judging import Hasher, Spring
from takehold.engine.ring import SMALL_COUNT, Ring
from takehold.formats.audio import AudioMeter
from takehold.model.errors import TakeholdError, VolumeFull, VolumeGone, WorldError
from takehold.model.recording import Seen

MANY = {b"T%03d.WAV" % n: take(n, frames=20 + n % 7) for n in range(1, 91)}


@pytest.fixture(params=["at once", "in turn"])
def handing(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files so small that who has one in hand does all of it, or no file is."""
    if request.param == "in turn":
        monkeypatch.setattr(judging, "SMALL", 0)
        monkeypatch.setattr(landing, "SMALL", 0)


@pytest.mark.usefixtures("handing")
@pytest.mark.parametrize("drives", [1, 2, 3])
def test_all_are_proven_and_no_buffer_is_lost(drives: int) -> None:
    """More files than there are buffers, or may be open at once."""
    bench = Bench(MANY, drives)
    bench.ring = Ring()
    bench.run(bench.jobs(*MANY))
    for drive in bench.drives:
        bench.check(drive, *MANY)
    assert bench.errors() == {}
    free = 0
    while bench.ring.take(0.01, 1) is not None:
        free += 1
    assert free == SMALL_COUNT


def test_on_each_drive_they_are_flushed_together_before_a_name_is_given() -> None:
    """P3: the flush of each part lies between its write and its name; of many it is one call."""
    bench = Bench(MANY, drives=1)
    [drive] = bench.drives
    bench.run(bench.jobs(*MANY))
    assert call_count(drive, "flush") == call_count(drive, "keep") == len(MANY)
    unflushed = 0
    for op, _ in drive.calls:
        unflushed += {"write": 1, "flush": -1}.get(op, 0)
        assert op != "keep" or unflushed == 0
    assert call_count(drive, "settle") < len(MANY)


@pytest.mark.usefixtures("handing")
def test_what_cannot_be_read_reaches_no_drive() -> None:
    """A small file is read before any drive hears of it: not even a part is begun."""
    bench = Bench({b"T01.WAV": take(1), b"T02.WAV": take(2)}, drives=1)
    bench.card.fail_next("read", WorldError("The card failed."), b"T01.WAV")
    bench.run(bench.jobs(b"T01.WAV", b"T02.WAV"))
    [drive] = bench.drives
    bench.check(drive, b"T02.WAV")
    assert bench.errors() == {"rec 1": "unreadable"}
    assert call_count(drive, "part") == 1
    assert bench.ring_is_whole()


@pytest.mark.usefixtures("handing")
def test_one_between_large_ones_waits_for_none() -> None:
    """They come in any order, and all are proven."""
    files = {b"T%02d.WAV" % n: big(n) if n % 3 == 0 else take(n) for n in range(1, 10)}
    bench = Bench(files)
    bench.run(bench.jobs(*files))
    for drive in bench.drives:
        bench.check(drive, *files)
    assert bench.ring_is_whole()


@pytest.mark.usefixtures("handing")
@pytest.mark.parametrize("error", [WorldError("It failed."), VolumeFull("Full.")])
@pytest.mark.parametrize("op", ["part", "reserve", "write", "flush", "reader", "read", "keep"])
def test_what_fails_is_one_file_on_one_drive(op: str, error: TakeholdError) -> None:
    """Its neighbours in the same flush are proven, and nothing of it stays."""
    bench = Bench(MANY)
    bad, good = bench.drives
    bad.fail_next(op, error)
    bench.run(bench.jobs(*MANY))
    bench.check(good, *MANY)
    assert list(bench.errors().values()) == [error.code]
    assert len(bench.proven(bad)) == len(bad.files) == len(MANY) - 1
    assert bench.ring_is_whole()


def test_an_error_of_the_common_flush_is_one_of_each() -> None:
    """P3: nobody knows whose it was; what was not flushed with them is not touched by it."""
    bench = Bench(MANY, drives=1)
    [drive] = bench.drives
    drive.fail_next("flush_together", WorldError("It failed."))
    bench.run(bench.jobs(*MANY))
    failed = len(bench.errors())
    assert failed > 0
    assert len(bench.proven(drive)) == len(drive.files) == len(MANY) - failed


@pytest.mark.usefixtures("handing")
@pytest.mark.parametrize("op", ["part", "write", "flush_together", "flush", "reader", "keep"])
def test_a_drive_that_hangs_keeps_no_buffer(op: str) -> None:
    """P6: also while it holds a file's bytes and no part of it is begun yet."""
    bench = Bench(MANY, stall_seconds=4)
    bad, good = bench.drives
    hang = bad.hang(op)
    with ending(hang):
        bench.run(bench.jobs(*MANY))
        bench.check(good, *MANY)
        told = bench.errors()
        assert set(told.values()) <= {"stalled", "late"}
        assert 0 < len(told) <= len(MANY) - len(bench.proven(bad))
        assert bench.ring_is_whole()
    assert within(30, lambda: bad.open_trees == 0), "what was opened there is never closed"
    assert within(30, lambda: not [path for path in bad.files if path.endswith(b".part")])


@pytest.mark.usefixtures("handing")
def test_a_drive_that_is_pulled_ends_for_itself() -> None:
    """The others go on; what it lacks is told."""
    bench = Bench(MANY)
    bad, good = bench.drives
    bad.fail_next("write", VolumeGone("Gone."))
    bench.run(bench.jobs(*MANY))
    bench.check(good, *MANY)
    assert set(bench.errors().values()) <= {"volume-gone"}
    assert bench.ring_is_whole()


@pytest.mark.usefixtures("handing")
def test_a_bug_in_the_measure_leaves_nobody_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """It comes out of the transfer; no later file is proven, no buffer lost."""
    sound, met = AudioMeter.sound, threading.Event()

    def breaks(meter: AudioMeter) -> object:
        if met.is_set():
            raise LookupError("the meter broke")
        met.set()
        return sound(meter)

    monkeypatch.setattr(AudioMeter, "sound", breaks)
    bench = Bench(MANY)
    with pytest.raises(AssertionError, match="the meter broke"):
        bench.run(bench.jobs(*MANY))
    assert {copy.recording for drive in bench.drives for copy in bench.proven(drive)} == {1}
    assert all(len(drive.files) == 1 for drive in bench.drives)
    assert bench.ring_is_whole()


def test_after_a_bug_no_small_file_is_judged(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the thread that judges large files broke, those that are judged beside it end too."""

    def breaks(*_: object) -> None:
        raise LookupError("the meter broke")

    bench = Bench({b"T01.WAV": big(1), b"T02.WAV": take(2)})
    large, small = bench.jobs(b"T01.WAV", b"T02.WAV")
    spring = Spring(lambda _: None, lambda r: r.stamp)  # type: ignore[arg-type]
    hasher = Hasher(bench.ring, spring, bench.told.append, bench.clock)
    with monkeypatch.context() as patched:
        patched.setattr(AudioMeter, "feed", breaks)
        send(bench, hasher.data, large)
        assert within(30, large.closed.is_set)
    send(bench, hasher.whole, small, Seen.MEDIUM)
    assert small.closed.is_set()
    assert small.fault is not None
    assert small.digests is None
    with pytest.raises(LookupError):
        hasher.close()
    assert bench.facts() == []
    assert bench.ring_is_whole()


def send(bench: Bench, to: Callable[..., None], job: Job, *more: Seen) -> None:
    """A buffer with the first bytes of a job."""
    buffer = bench.ring.take(1)
    assert buffer is not None
    first = bench.card.files[job.recording.path][:SIZE]
    buffer.view[: len(first)] = first
    buffer.length, buffer.offset = len(first), 0
    bench.ring.send(buffer, 1)
    to(job, buffer, *more)


def test_the_last_one_is_proven_though_nothing_follows() -> None:
    """Who writes it knows already that there is no more when it is written."""
    bench = Bench({b"T01.WAV": take(1)}, drives=1, stall_seconds=10_000)
    [drive] = bench.drives
    hang = drive.hang("write")
    timer = threading.Timer(0.3, hang.set)
    timer.start()
    with ending(hang):
        bench.run(bench.jobs(b"T01.WAV"))
    timer.join(60)
    bench.check(drive, b"T01.WAV")


def test_a_small_one_is_proven_before_a_large_one_is_written() -> None:
    """The large one may take ten minutes."""
    bench = Bench({b"T01.WAV": take(1), b"T02.WAV": big(2)}, drives=1, stall_seconds=10_000)
    [drive] = bench.drives
    hang = drive.hang("part")

    def go_on() -> None:
        within(30, lambda: call_count(bench.card, "read", b"T02.WAV") > 0)
        hang.set()

    waiter = threading.Thread(target=go_on)
    waiter.start()
    with ending(hang):
        bench.run(bench.jobs(b"T01.WAV", b"T02.WAV"))
    waiter.join(60)
    bench.check(drive, b"T01.WAV", b"T02.WAV")
    order = [op for op, _ in drive.calls]
    second_part = order.index("part", order.index("part") + 1)
    assert order.index("keep") < second_part


def test_two_flushes_of_one_drive_are_over_when_both_are() -> None:
    """Else the longer one would be taken for a drive that hangs."""
    course = Course.__new__(Course)
    bench = Bench({b"T01.WAV": take(1)})
    Course.__init__(course, bench.targets()[0], lambda *_: None, bench.clock, lambda _: None)
    with course.flushing_now():
        with course.flushing_now():
            assert course.flushing
        assert course.flushing
    assert not course.flushing


def test_they_fit_one_buffer_of_the_bench() -> None:
    """What this file calls small is."""
    assert max(map(len, MANY.values())) <= SIZE
