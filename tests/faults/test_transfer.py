"""engine/transfer and engine/landing over fakes that fail on purpose (P2, P3, P6, P9)."""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Sequence
from dataclasses import replace

import pytest
import xxhash

from fakedisk import FakeDisk, FakeVolume
from fakeworld import DAY, FORMAT, Clock, call_count, ending, take, within
from idleclock import POLL_S, IdleClock, IdleRing
from takehold.engine import judging
from takehold.engine import transfer as engine
from takehold.engine.job import Job
from takehold.engine.judging import Opinion, Spring
from takehold.engine.outcome import Outcome
from takehold.engine.ring import Ring
from takehold.engine.transfer import Transfer
from takehold.formats.audio import AudioMeter
from takehold.formats.describe import describe
from takehold.model.errors import TakeholdError, VolumeFull, VolumeGone, WorldError
from takehold.model.facts import ChannelBlocks, Fact, Gone, Proven, SameBytes, WasRead
from takehold.model.recording import Copy, Digests, Reading, Recording, Seen, Stamp
from takehold.model.situation import Target

PAGE = 4096
SIZE = 4 * PAGE
COUNT = 4
WAIT_S = 60


class Bench:
    """A card, drives, and one ring for all transfers."""

    def __init__(self, files: dict[bytes, bytes], drives: int = 2, stall_seconds: int = 60) -> None:
        self.disk = FakeDisk()
        self.card = self.disk.volume(b"/media/SND_A1", files)
        self.drives = [self.disk.volume(b"/media/D%d" % n) for n in range(1, drives + 1)]
        self.clock: Clock = IdleClock(speed=20)
        self.ring: Ring = IdleRing(self.clock, COUNT, SIZE)
        self.stall_seconds = stall_seconds
        self.told: list[Outcome] = []
        self.moved: list[int] = []
        self.stop = threading.Event()
        self.opinion: Opinion | None = None

    def recording(self, path: bytes, number: int = 1) -> Recording:
        data = self.card.files[path]
        said = describe(lambda at, length: data[at : at + length], len(data))
        place = b"Lantern Bay/2031-03-14/SND_A1/" + path
        return Recording(number, 1, path, self.card.stamps[path], 0, DAY, place, 1, said)

    def targets(self) -> list[Target]:
        return [Target(f"d{n}", v.root, v.free()) for n, v in enumerate(self.drives, 1)]

    def jobs(self, *paths: bytes) -> list[Job]:
        return [Job(self.recording(path, n)) for n, path in enumerate(paths, 1)]

    def run(self, jobs: Sequence[Job], read: Sequence[Target] | None = None) -> None:
        """One whole transfer to all drives, which ends in time or fails the test."""
        self.told.clear()
        faults: list[BaseException] = []
        targets = self.targets() if read is None else list(read)

        def carry() -> None:
            try:
                with self.disk.source(self.card.root) as tree:
                    spring = Spring(
                        lambda r: tree.open(r.path), lambda r: r.stamp, opinion=self.opinion
                    )
                    moving = Transfer(
                        spring, self.ring, self.told.append, self.clock, self.stall_seconds
                    )
                    for target in targets:
                        moving.add(target, self.disk.destination(target.root))
                    roots = [t.root.identity for t in targets]
                    moving.run([(job, roots) for job in jobs], self.moved.append, self.stop)
            except BaseException as fault:
                faults.append(fault)

        thread = threading.Thread(target=carry, daemon=True)
        thread.start()
        end = time.monotonic() + WAIT_S
        while thread.is_alive() and time.monotonic() < end:
            thread.join(POLL_S)
            self.clock.let_pass()
        assert not thread.is_alive(), "the transfer does not end"
        assert not faults, faults

    def facts(self, kind: type[Fact] | None = None) -> list[Fact]:
        facts = [fact for outcome in self.told for fact in outcome.facts]
        return [fact for fact in facts if kind is None or isinstance(fact, kind)]

    def proven(self, drive: FakeVolume) -> list[Copy]:
        copies = [f.copy for f in self.facts(Proven) if isinstance(f, Proven)]
        return [copy for copy in copies if copy.root == drive.root.identity]

    def errors(self) -> dict[str, str]:
        return {o.key: o.error.code for o in self.told if o.error is not None}

    def ring_is_whole(self) -> bool:
        """Whether all buffers are free, none lost and none too many."""
        taken = []
        while (buffer := self.ring.take(0.05)) is not None:
            taken.append(buffer)
        for buffer in taken:
            self.ring.send(buffer, 0)
        return len(taken) == COUNT

    def check(self, drive: FakeVolume, *paths: bytes) -> None:
        """These files and nothing else stand there, proven, with the card's bytes."""
        wanted = {b"Lantern Bay/2031-03-14/SND_A1/" + p: self.card.files[p] for p in paths}
        assert drive.files == wanted
        assert {copy.path for copy in self.proven(drive)} == set(wanted)


def big(number: int = 1) -> bytes:
    """Three and a half buffers."""
    return take(number, frames=SIZE * 7 // 8)


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A slow destination is left after a tenth of a second."""
    monkeypatch.setattr(engine, "LOOK_S", 0.02)
    monkeypatch.setattr(engine, "PATIENCE_NS", 10**8)


def land(drive: FakeVolume, number: int = 1) -> str:
    return f"land {number} {drive.root.identity}"


# -- all is well


@pytest.mark.parametrize("drives", [1, 2, 3])
def test_one_read_serves_all(drives: int) -> None:
    """P9: each byte of the card is asked for once, however many copies are made."""
    bench = Bench({b"T01.WAV": big()}, drives)
    bench.run(bench.jobs(b"T01.WAV"))
    assert call_count(bench.card, "open", b"T01.WAV") == 1
    assert call_count(bench.card, "read", b"T01.WAV") == 4
    assert sum(bench.moved) == len(big())
    for drive in bench.drives:
        bench.check(drive, b"T01.WAV")
    assert bench.ring_is_whole()


@pytest.mark.parametrize("apart", [1, 10**9])
def test_checksums_are_those_of_the_standard_library(
    apart: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SHA-256 by hashlib and XXH64 by xxhash, however large the buffers that are measured apart."""
    monkeypatch.setattr(judging, "APART", apart)
    bench = Bench({b"T01.WAV": big()})
    bench.run(bench.jobs(b"T01.WAV"))
    [read] = bench.facts(WasRead)
    assert isinstance(read, WasRead)
    assert read.reading.digests.sha256 == hashlib.sha256(big()).hexdigest()
    assert read.reading.digests.xxh64 == xxhash.xxh64_hexdigest(big())
    assert read.reading.sound is not None
    assert read.reading.sound.frames == SIZE * 7 // 8
    payload = big()[-SIZE * 7 // 8 * FORMAT.block_align :]
    assert read.reading.sound.digest == xxhash.xxh3_128_hexdigest(payload)


@pytest.mark.parametrize("size", [0, 1, PAGE, SIZE - 1, SIZE, SIZE + 1, COUNT * SIZE + 5])
def test_files_of_every_size_arrive(size: int) -> None:
    """Nothing, less than a page, whole buffers, and more than the ring holds."""
    bench = Bench({b"a/notes.txt": bytes(n % 251 for n in range(size))})
    bench.run(bench.jobs(b"a/notes.txt"))
    for drive in bench.drives:
        bench.check(drive, b"a/notes.txt")


def test_a_final_name_comes_after_the_read_back_and_proof_after_the_folder() -> None:
    """P3: write, flush, read back, name, flush the folder, and only then the word."""
    bench = Bench({b"T01.WAV": big()}, drives=1)
    bench.run(bench.jobs(b"T01.WAV"))
    [drive] = bench.drives
    order = [op for op, _ in drive.calls]
    steps = ["part", "check_name", "reserve", "write", "flush", "reader", "read", "keep", "settle"]
    assert [op for n, op in enumerate(order) if n == 0 or order[n - 1] != op] == steps
    kinds = [type(fact) for fact in bench.facts()]
    assert kinds == [WasRead, ChannelBlocks, Proven]


def test_many_files_keep_their_bytes_apart() -> None:
    """More files than buffers, small ones and large ones mixed."""
    files = {b"T%02d.WAV" % n: take(n, frames=1 + n * 900) for n in range(1, 40)}
    bench = Bench(files)
    bench.run(bench.jobs(*files))
    for drive in bench.drives:
        bench.check(drive, *files)
    assert bench.ring_is_whole()


def test_what_a_medium_cannot_promise_is_said_on_the_copy() -> None:
    """P4: neither the flush nor the read-back claims more than the file system does."""
    bench = Bench({b"T01.WAV": big()})
    bench.drives[0].durable = False
    bench.drives[1].seen = Seen.CACHE
    bench.run(bench.jobs(b"T01.WAV"))
    [first], [second] = bench.proven(bench.drives[0]), bench.proven(bench.drives[1])
    assert (first.proof.durable, first.proof.seen) == (False, Seen.MEDIUM)
    assert (second.proof.durable, second.proof.seen) == (True, Seen.CACHE)


# -- a destination fails


FAULTS = ["part", "reserve", "write", "flush", "reader", "read", "keep", "settle"]


@pytest.mark.parametrize("error", [WorldError("It failed."), VolumeFull("Full.")])
@pytest.mark.parametrize("op", FAULTS)
def test_one_destination_fails_and_the_other_is_proven(op: str, error: TakeholdError) -> None:
    """P6: at whatever call; what failed is told once, is not proven, and leaves no part."""
    bench = Bench({b"T01.WAV": big()})
    bad, good = bench.drives
    bad.fail_next(op, error)
    bench.run(bench.jobs(b"T01.WAV"))
    bench.check(good, b"T01.WAV")
    assert bench.proven(bad) == []
    assert bench.errors() == {land(bad): error.code}
    assert not [path for path in bad.files if path.endswith(b".part")]
    assert call_count(bad, "flush") <= 1, "a flush is never tried again"
    assert bench.ring_is_whole()


@pytest.mark.parametrize("op", ["keep", "settle"])
def test_a_failed_close_or_folder_flush_is_made_good_by_the_next_try(op: str) -> None:
    """What stands there already is read back and taken, or written anew."""
    bench = Bench({b"T01.WAV": big()}, drives=1)
    [drive] = bench.drives
    drive.fail_next(op, WorldError("It failed."))
    bench.run(bench.jobs(b"T01.WAV"))
    assert bench.proven(drive) == []
    bench.run(bench.jobs(b"T01.WAV"))
    bench.check(drive, b"T01.WAV")


@pytest.mark.parametrize("op", FAULTS)
def test_a_destination_that_goes_is_left_and_the_ring_stays_whole(op: str) -> None:
    """Taken out in the middle: the rest of its work is told, the other gets every file."""
    files = {b"T%02d.WAV" % n: big(n) for n in range(1, 7)}
    bench = Bench(files)
    bad, good = bench.drives
    bad.fail_next(op, VolumeGone("It is gone."))
    bench.run(bench.jobs(*files))
    bench.check(good, *files)
    assert land(bad) in bench.errors()
    assert set(bench.errors().values()) == {"volume-gone"}
    assert within(30, lambda: not [path for path in bad.files if path.endswith(b".part")])
    assert bench.ring_is_whole()


def test_a_flipped_bit_on_the_way_back_is_caught() -> None:
    """The medium gives back other bytes: never a final name, never proven."""
    bench = Bench({b"T01.WAV": big()})
    bad, good = bench.drives
    bad.flip_parts = len(big()) - 1
    bench.run(bench.jobs(b"T01.WAV"))
    bench.check(good, b"T01.WAV")
    assert bad.files == {}
    assert bench.errors() == {land(bad): "copy-differs"}


def test_a_drive_that_swallows_what_it_is_given_is_caught() -> None:
    """Writes and flushes succeed and nothing reaches the medium."""
    bench = Bench({b"T01.WAV": big()})
    bad, good = bench.drives
    bad.lies = True
    bench.run(bench.jobs(b"T01.WAV"))
    bench.check(good, b"T01.WAV")
    assert bad.files == {}
    assert bench.errors() == {land(bad): "copy-differs"}


def test_the_only_destination_is_full_and_the_card_is_not_read_to_its_end() -> None:
    """Nobody takes the bytes, so the card is spared them; the other files have their chance."""
    bench = Bench({b"T01.WAV": take(1, frames=40 * SIZE)}, drives=1)
    bench.drives[0].capacity = 10
    bench.run(bench.jobs(b"T01.WAV"))
    assert call_count(bench.card, "read") <= 2 * COUNT + 1
    assert bench.facts() == []
    assert bench.errors()[land(bench.drives[0])] == "volume-full"
    assert bench.ring_is_whole()


def test_a_card_is_not_read_for_destinations_that_were_left() -> None:
    """The only one is gone after the first file: the second is not even opened."""
    bench = Bench({b"T01.WAV": take(1, 40 * SIZE), b"T02.WAV": big(2)}, drives=1)
    bench.drives[0].fail_next("write", VolumeGone("It is gone."))
    bench.run(bench.jobs(b"T01.WAV", b"T02.WAV"))
    assert call_count(bench.card, "open", b"T02.WAV") == 0
    assert bench.facts() == []
    assert bench.ring_is_whole()


# -- names


PLACE = b"Lantern Bay/2031-03-14/SND_A1/T01.WAV"
OTHER = b"Lantern Bay/2031-03-14/SND_A1/T01.other-2.WAV"


@pytest.mark.parametrize("name", [PLACE, PLACE.replace(b"T01", b"t01")])
def test_a_name_with_other_bytes_is_left_alone(name: bytes) -> None:
    """P2: in this or another case; the new copy gets a name of its own."""
    bench = Bench({b"T01.WAV": big()}, drives=1)
    [drive] = bench.drives
    drive.put(name, b"not ours")
    bench.run(bench.jobs(b"T01.WAV"))
    assert drive.files == {name: b"not ours", OTHER: big()}
    assert [copy.path for copy in bench.proven(drive)] == [OTHER]


def test_a_name_with_other_bytes_of_the_same_length_is_left_alone() -> None:
    """The length alone is no proof."""
    bench = Bench({b"T01.WAV": big()}, drives=1)
    [drive] = bench.drives
    drive.put(PLACE, bytes(len(big())))
    bench.run(bench.jobs(b"T01.WAV"))
    assert drive.files == {PLACE: bytes(len(big())), OTHER: big()}


@pytest.mark.parametrize(("seen", "durable"), [(Seen.MEDIUM, True), (Seen.CACHE, False)])
def test_the_same_bytes_under_the_name_are_the_copy(seen: Seen, durable: bool) -> None:
    """Read back and taken; that they will stay is only known if they came from the medium."""
    bench = Bench({b"T01.WAV": big()}, drives=1)
    [drive] = bench.drives
    drive.put(PLACE, big())
    drive.seen = seen
    bench.run(bench.jobs(b"T01.WAV"))
    bench.check(drive, b"T01.WAV")
    [copy] = bench.proven(drive)
    assert (copy.proof.seen, copy.proof.durable) == (seen, durable)


# -- a destination hangs


@pytest.mark.parametrize("op", ["part", "reserve", "write", "flush", "reader", "read", "keep"])
def test_a_hanging_destination_is_left_and_the_other_is_proven(op: str) -> None:
    """P6: whatever call hangs; the ring serves the next transfer whole."""
    files = {b"T%02d.WAV" % n: big(n) for n in range(1, 4)}
    bench = Bench(files, stall_seconds=4)
    bad, good = bench.drives
    hang = bad.hang(op)
    with ending(hang):
        bench.run(bench.jobs(*files))
        bench.check(good, *files)
        assert bench.proven(bad) == []
        assert bench.errors()[land(bad)] in {"stalled", "late"}
        assert bench.ring_is_whole()
        bench.drives = [good]
        bench.run(bench.jobs(*files))
    assert len(bench.proven(good)) == 3
    assert within(30, lambda: bad.open_trees == 0), "what was opened there is never closed"
    assert within(30, lambda: not [path for path in bad.files if path.endswith(b".part")])


def test_a_whole_transfer_works_after_one_that_hung() -> None:
    """Second round over the same ring with both drives, the first one being well again."""
    files = {b"T%02d.WAV" % n: big(n) for n in range(1, 6)}
    bench = Bench(files, stall_seconds=4)
    bad, good = bench.drives
    hang = bad.hang("write")
    with ending(hang):
        bench.run(bench.jobs(*files))
    assert within(30, lambda: bad.open_trees == 0)
    bench.run(bench.jobs(*files))
    bench.check(bad, *files)
    bench.check(good, *files)
    assert bench.ring_is_whole()


@pytest.mark.usefixtures("impatient")
def test_a_slow_destination_does_not_hold_up_the_others() -> None:
    """One alone holds the ring: it is left as late, which is no failure."""
    bench = Bench({b"T01.WAV": take(1, frames=40 * SIZE)}, stall_seconds=10_000)
    slow, fast = bench.drives
    hang = slow.hang("write")
    with ending(hang):
        bench.run(bench.jobs(b"T01.WAV"))
        bench.check(fast, b"T01.WAV")
        assert bench.errors() == {land(slow): "late"}
        assert bench.ring_is_whole()
    assert within(30, lambda: slow.open_trees == 0)
    assert slow.files == {}


def test_a_drive_that_takes_each_buffer_late_is_left_too() -> None:
    """It never hangs, and would make the card wait for each buffer: the fast drive goes on."""
    bench = Bench({b"T01.WAV": take(1, frames=60 * SIZE)}, stall_seconds=10_000)
    slow, fast = bench.drives
    slow.write_takes_s = 0.01  # 0.2 s by the bench's clock
    bench.run(bench.jobs(b"T01.WAV"))
    bench.check(fast, b"T01.WAV")
    assert bench.errors() == {land(slow): "late"}
    assert within(30, lambda: slow.open_trees == 0)
    assert slow.files == {}


def test_two_slow_drives_beside_a_fast_one_are_both_left() -> None:
    """They are alike, and the fast one waits for both at once."""
    bench = Bench({b"T01.WAV": take(1, frames=60 * SIZE)}, drives=3, stall_seconds=10_000)
    *slow, fast = bench.drives
    for drive in slow:
        drive.write_takes_s = 0.01
    bench.run(bench.jobs(b"T01.WAV"))
    bench.check(fast, b"T01.WAV")
    assert bench.errors() == {land(drive): "late" for drive in slow}
    assert within(30, lambda: not any(drive.open_trees for drive in slow))


def test_drives_that_are_all_slow_keep_pace_with_each_other() -> None:
    """None is left where none is waited for alone."""
    bench = Bench({b"T01.WAV": take(1, frames=20 * SIZE)}, stall_seconds=10_000)
    for drive in bench.drives:
        drive.write_takes_s = 0.01
    bench.run(bench.jobs(b"T01.WAV"))
    for drive in bench.drives:
        bench.check(drive, b"T01.WAV")


def test_all_destinations_slow_is_nobodys_fault() -> None:
    """Both wait for the same moment: none is left behind."""
    bench = Bench({b"T01.WAV": take(1, frames=10 * SIZE)}, stall_seconds=10_000)
    hangs = [drive.hang("write") for drive in bench.drives]
    timer = threading.Timer(0.3, lambda: [hang.set() for hang in hangs])
    timer.start()
    with ending(*hangs):
        bench.run(bench.jobs(b"T01.WAV"))
    timer.join(60)
    for drive in bench.drives:
        bench.check(drive, b"T01.WAV")


def test_who_waited_for_a_slow_card_did_not_hang() -> None:
    """The card gives nothing for longer than a destination may: no word against that one."""
    files = {b"T01.WAV": big(1), b"T02.WAV": big(2)}
    bench = Bench(files, drives=1, stall_seconds=2)
    hang = bench.card.hang("read")
    bench.card.fail_next("read", WorldError("The card failed."), b"T02.WAV")
    timer = threading.Timer(0.4, hang.set)
    timer.start()
    with ending(hang):
        bench.run(bench.jobs(*files))
    timer.join(60)
    bench.check(bench.drives[0], b"T01.WAV")
    assert bench.errors() == {"rec 2": "unreadable"}


# -- the source fails


@pytest.mark.parametrize("op", ["open", "read"])
def test_a_file_that_cannot_be_read_does_not_stop_the_next(op: str) -> None:
    """A read error in one file; nothing of it is kept, the neighbours arrive."""
    files = {b"T01.WAV": big(1), b"T02.WAV": big(2), b"T03.WAV": big(3)}
    bench = Bench(files)
    bench.card.fail_next(op, WorldError("T02 cannot be read."), b"T02.WAV")
    bench.run(bench.jobs(*files))
    for drive in bench.drives:
        bench.check(drive, b"T01.WAV", b"T03.WAV")
    assert bench.errors() == {"rec 2": "unreadable"}
    assert bench.ring_is_whole()


def test_a_card_that_goes_ends_the_work() -> None:
    """What was read before is proven, the rest is not even tried."""
    files = {b"T01.WAV": big(1), b"T02.WAV": big(2), b"T03.WAV": big(3)}
    bench = Bench(files)
    bench.card.fail_next("read", VolumeGone("The card is gone."), b"T02.WAV")
    bench.run(bench.jobs(*files))
    for drive in bench.drives:
        bench.check(drive, b"T01.WAV")
    assert call_count(bench.card, "open", b"T03.WAV") == 0
    assert bench.errors() == {"rec 2": "volume-gone"}


def _shrinks(card: FakeVolume) -> None:
    card.shrink(b"T01.WAV", SIZE + 7)


def _grows(card: FakeVolume) -> None:
    card.put(b"T01.WAV", big() + b"more")


def _is_touched(card: FakeVolume) -> None:
    stamp = card.stamps[b"T01.WAV"]
    card.stamps[b"T01.WAV"] = stamp._replace(mtime_ns=stamp.mtime_ns + 1)


@pytest.mark.parametrize("change", [_shrinks, _grows, _is_touched])
@pytest.mark.parametrize("when", ["before", "during"])
def test_a_source_that_changes_leaves_nothing(change: object, when: str) -> None:
    """Before it is opened, or while it is read: no fact, no copy, and it is said."""
    assert callable(change)
    bench = Bench({b"T01.WAV": big()})
    jobs = bench.jobs(b"T01.WAV")
    if when == "before":
        change(bench.card)
        bench.run(jobs)
    else:
        hang = bench.card.hang("read")
        timer = threading.Timer(0.1, lambda: (change(bench.card), hang.set()))
        timer.start()
        with ending(hang):
            bench.run(jobs)
        timer.join(60)
    assert bench.facts() == []
    assert bench.errors() == {"rec 1": "source-changed"}
    assert all(drive.files == {} for drive in bench.drives)
    assert bench.ring_is_whole()


def test_stop_ends_after_the_buffer_in_hand() -> None:
    """The file that is being read is given up without a word, what is whole is proven."""
    bench = Bench({b"T01.WAV": big(1), b"T02.WAV": take(2, 40 * SIZE), b"T03.WAV": big(3)})
    jobs = bench.jobs(b"T01.WAV", b"T02.WAV", b"T03.WAV")
    bench.moved = _StopAt(5, bench.stop)
    bench.run(jobs)
    for drive in bench.drives:
        bench.check(drive, b"T01.WAV")
    assert bench.errors() == {"rec 2": "stopped"}
    assert call_count(bench.card, "read", b"T02.WAV") <= 2
    assert bench.ring_is_whole()


class _StopAt(list[int]):
    """Stops the work with the nth buffer."""

    def __init__(self, count: int, stop: threading.Event) -> None:
        super().__init__()
        self._count = count
        self._stop = stop

    def append(self, value: int) -> None:
        super().append(value)
        if len(self) == self._count:
            self._stop.set()


@pytest.mark.parametrize("apart", [1, 10**9])
def test_a_bug_in_the_measure_proves_nothing(apart: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """It comes out of the transfer, whichever thread it was in, and no buffer is lost."""
    monkeypatch.setattr(judging, "APART", apart)
    feed = AudioMeter.feed

    def breaks(meter: AudioMeter, chunk: memoryview | bytes, offset: int) -> None:
        feed(meter, chunk, offset)
        if offset:
            raise LookupError("the meter broke")

    monkeypatch.setattr(AudioMeter, "feed", breaks)
    bench = Bench({b"T01.WAV": big(), b"T02.WAV": big(2)})
    with pytest.raises(AssertionError, match="the meter broke"):
        bench.run(bench.jobs(b"T01.WAV", b"T02.WAV"))
    assert bench.facts() == []
    assert all(drive.files == {} for drive in bench.drives)
    assert bench.ring_is_whole()


# -- what was known before


def known(bench: Bench, data: bytes, number: int = 1, stamp: Stamp | None = None) -> Recording:
    """The card's file as it was read once, with these bytes."""
    recording = bench.recording(b"T01.WAV", number)
    reading = Reading(_digests_of(data), None, 1, Seen.MEDIUM)
    return replace(recording, readings=(reading,), stamp=stamp or recording.stamp)


def _digests_of(data: bytes) -> Digests:
    return Digests(xxhash.xxh64_hexdigest(data), hashlib.sha256(data).hexdigest())


def test_a_second_read_that_agrees_is_recorded_and_copied() -> None:
    """Read before, but no copy: the audio is not measured again."""
    bench = Bench({b"T01.WAV": big()})
    bench.run([Job(known(bench, big()))])
    [read] = bench.facts(WasRead)
    assert isinstance(read, WasRead)
    assert read.reading.sound is None
    bench.check(bench.drives[0], b"T01.WAV")


def test_a_second_read_that_differs_lands_nothing() -> None:
    """P8: the read is a fact; which of the two is right is not known, so nothing is copied."""
    bench = Bench({b"T01.WAV": big()})
    bench.run([Job(known(bench, big(2)))])
    [read] = bench.facts()
    assert isinstance(read, WasRead)
    assert read.reading.digests == _digests_of(big())
    assert all(drive.files == {} for drive in bench.drives)
    assert bench.errors() == {"rec 1": "reads-differ"}
    over = [o.key for o in bench.told if o.error is None]
    assert over == [""], "its trouble is not over"


def test_a_second_read_without_destinations_is_a_whole_one() -> None:
    """Confirming: the card is read to its end for nobody but the checksums."""
    bench = Bench({b"T01.WAV": big()})
    bench.run([Job(known(bench, big()))], read=())
    assert [type(fact) for fact in bench.facts()] == [WasRead]
    assert call_count(bench.card, "read") == 4


def test_the_same_bytes_under_a_new_stamp_are_no_new_version() -> None:
    """Only the stamp is new: no copy, the version that was thought new is gone."""
    bench = Bench({b"T01.WAV": big()})
    before = known(bench, big(), stamp=Stamp(len(big()), 1, 1))
    now = bench.recording(b"T01.WAV", 2)
    bench.run([Job(now, before)])
    gone, same, read = bench.facts()
    assert (gone, same) == (Gone(2), SameBytes(1, now.stamp))
    assert isinstance(read, WasRead)
    assert read.recording == 1
    assert all(drive.files == {} for drive in bench.drives)


def test_a_version_that_was_read_is_never_taken_for_the_one_before() -> None:
    """It has copies, perhaps on a drive that is away: a bad read must not unmake it."""
    bench = Bench({b"T01.WAV": big(1)})
    before = known(bench, big(1), number=1)
    now = known(bench, big(2), number=2)
    bench.run([Job(now, before)])
    assert bench.facts(Gone) == []
    assert bench.errors() == {"rec 2": "reads-differ"}
