"""A large copy is read back while it is written, small ones are flushed together (P3, P6)."""

from __future__ import annotations

import threading

import pytest
from test_transfer import SIZE, Bench, big, land

from fakeworld import call_count, ending, take, within
from takehold.engine import landing
from takehold.engine.proving import AT_ONCE
from takehold.model.errors import TakeholdError, VolumeFull, VolumeGone, WorldError
from takehold.model.facts import Inventoried, WasRead
from takehold.model.sound import Complaint, Description
from takehold.ports.disk import Reader

LONG = take(1, frames=12 * SIZE // 4)


@pytest.fixture(autouse=True)
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two buffers are a piece; no file is so small that its writer proves it (test_small_files)."""
    monkeypatch.setattr(landing, "PIECE", 2 * SIZE)
    monkeypatch.setattr(landing, "SMALL", 0)


def test_pieces_are_flushed_and_read_back_before_the_whole_is() -> None:
    """P3: the final flush follows all writes, the name follows the last byte read back."""
    bench = Bench({b"T01.WAV": LONG}, drives=1)
    bench.run(bench.jobs(b"T01.WAV"))
    [drive] = bench.drives
    bench.check(drive, b"T01.WAV")
    order = [op for op, _ in drive.calls]
    assert call_count(drive, "flush_piece") == (len(LONG) - 1) // (2 * SIZE)
    assert call_count(drive, "reader") == 1, "one reader, so that all of the read is witnessed"
    assert call_count(drive, "read") == -(-len(LONG) // (2 * SIZE)), "each byte is read back once"
    assert order.index("flush_piece") < order.index("read") < order.index("flush")
    last_write = len(order) - 1 - order[::-1].index("write")
    last_read = len(order) - 1 - order[::-1].index("read")
    assert last_write < order.index("flush") < last_read < order.index("keep")


@pytest.mark.parametrize("error", [WorldError("It failed."), VolumeFull("Full.")])
@pytest.mark.parametrize("op", ["flush_piece", "reader", "read", "flush"])
def test_what_fails_in_a_piece_fails_the_copy(op: str, error: TakeholdError) -> None:
    """Whatever the later pieces say: it gets no name, it is told once, nothing is left of it."""
    bench = Bench({b"T01.WAV": LONG, b"T02.WAV": big(2)})
    bad, good = bench.drives
    bad.fail_next(op, error)
    bench.run(bench.jobs(b"T01.WAV", b"T02.WAV"))
    bench.check(good, b"T01.WAV", b"T02.WAV")
    bench.check(bad, b"T02.WAV")
    assert bench.errors() == {land(bad): error.code}
    assert call_count(bad, "keep") == 1
    assert bench.ring_is_whole()


@pytest.mark.parametrize("at", [0, 2 * SIZE - 1, 2 * SIZE, len(LONG) - 1])
def test_a_flipped_bit_in_any_piece_is_caught(at: int) -> None:
    """In the first, at its edges, and in the tail: neither name nor proof."""
    bench = Bench({b"T01.WAV": LONG})
    bad, good = bench.drives
    bad.flip_parts = at
    bench.run(bench.jobs(b"T01.WAV"))
    bench.check(good, b"T01.WAV")
    assert bad.files == {}
    assert bench.errors() == {land(bad): "copy-differs"}


def test_a_piece_that_cannot_be_read_back_yet_is_read_with_the_whole(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What went through a cache is read back after the final flush, all of it."""
    bench = Bench({b"T01.WAV": LONG}, drives=1)
    monkeypatch.setattr("fakedisk.FakePart.flush_piece", lambda _: False)
    bench.run(bench.jobs(b"T01.WAV"))
    [drive] = bench.drives
    bench.check(drive, b"T01.WAV")
    order = [op for op, _ in drive.calls]
    assert order.index("flush") < order.index("reader") < order.index("read")


def test_a_card_that_ends_early_leaves_nothing_of_what_was_read_back() -> None:
    """Pieces were proven, the whole never was: the part goes, no name is given."""
    bench = Bench({b"T01.WAV": LONG})
    bench.card.shrink(b"T01.WAV", 5 * SIZE)
    jobs = bench.jobs(b"T01.WAV")
    bench.run(jobs)
    assert bench.facts() == []
    assert bench.errors() == {"rec 1": "source-changed"}
    assert all(drive.files == {} for drive in bench.drives)
    assert bench.ring_is_whole()


@pytest.mark.parametrize("op", ["flush_piece", "flush_together"])
def test_a_flush_that_hangs_is_left(op: str) -> None:
    """The other drive is proven, and what hung is closed once it comes back."""
    files = {b"T01.WAV": LONG} | {b"T%02d.WAV" % n: take(n, 30) for n in range(2, 9)}
    bench = Bench(files, stall_seconds=2)
    bad, good = bench.drives
    first = bad.hang("flush")
    hang = bad.hang(op)
    with ending(hang, first):
        bench.run(bench.jobs(*files))
        bench.check(good, *files)
        assert bench.errors()[land(bad)] in {"stalled", "late"}
        assert bench.ring_is_whole()
    assert within(30, lambda: bad.open_trees == 0)
    assert within(30, lambda: not [path for path in bad.files if path.endswith(b".part")])


def _waiting(count: int, error: TakeholdError | None = None) -> tuple[Bench, dict[bytes, bytes]]:
    """One file is being flushed while the next ones are written; then all goes on."""
    files = {b"T%02d.WAV" % n: take(n, 30) for n in range(1, count + 1)}
    bench = Bench(files, drives=1, stall_seconds=10_000)
    [drive] = bench.drives
    hang = drive.hang("flush")
    if error is not None:
        drive.fail_next("flush_together", error)

    def all_written() -> None:  # or never: the first two may be flushed together, and that failed
        within(30, lambda: call_count(drive, "write") == count or bool(bench.errors()))
        hang.set()

    waiter = threading.Thread(target=all_written)
    waiter.start()
    bench.run(bench.jobs(*files))
    waiter.join(60)
    return bench, files


def test_what_waits_is_flushed_together_and_each_by_itself() -> None:
    """P3: by one call, and then the call that tells of each one's errors."""
    bench, files = _waiting(12)
    [drive] = bench.drives
    bench.check(drive, *files)
    assert 1 <= call_count(drive, "flush_together") <= 2
    assert call_count(drive, "flush") == 12
    order = [op for op, _ in drive.calls]
    assert order.index("flush_together") < order.index("keep", order.index("keep") + 1)


def test_no_more_than_a_batch_is_flushed_together() -> None:
    """So that the first ones are named, and known, before the last ones are written."""
    bench, files = _waiting(2 * AT_ONCE - 1)
    [drive] = bench.drives
    bench.check(drive, *files)
    assert call_count(drive, "flush_together") >= 2


@pytest.mark.parametrize("error", [WorldError("It failed."), VolumeFull("Full.")])
def test_an_error_of_the_flush_together_kills_all_of_them(error: TakeholdError) -> None:
    """Whose it was is not known: none gets a name, each is told, a flush is never tried again."""
    bench, files = _waiting(8, error)
    [drive] = bench.drives
    failed = {key for key, code in bench.errors().items() if code == error.code}
    assert len(failed) >= 2
    assert call_count(drive, "flush") == 8 - len(failed)
    assert len(bench.proven(drive)) == 8 - len(failed)
    assert not [path for path in drive.files if path.endswith(b".part")]
    bench.run(bench.jobs(*files))
    bench.check(drive, *files)


def test_a_volume_that_goes_in_the_flush_together_is_left() -> None:
    """All that was under way there is told as missed."""
    bench, _ = _waiting(8, VolumeGone("It is gone."))
    [drive] = bench.drives
    missed = {key for key, code in bench.errors().items() if code == "volume-gone"}
    assert len(missed) >= 2
    assert len(bench.proven(drive)) <= 1, "only the one that was flushed by itself before"
    assert bench.ring_is_whole()


def test_the_header_of_a_small_file_is_looked_at_in_the_bytes_that_are_copied() -> None:
    """P8, P9: of a file that fits in one buffer nothing is asked of the card a second time."""
    bench = Bench({b"T01.WAV": take(1, 30), b"T02.WAV": LONG})
    bench.run(bench.jobs(b"T01.WAV", b"T02.WAV"))
    assert call_count(bench.card, "read", b"T01.WAV") == 1
    assert call_count(bench.card, "read_at", b"T01.WAV") == 0
    assert call_count(bench.card, "read_at", b"T02.WAV") > 0


def test_a_small_file_whose_header_was_read_differently_lands_nothing() -> None:
    """P8: the bytes that are copied say otherwise than the inventory did."""
    bench = Bench({b"T01.WAV": take(1, 30)})
    jobs = bench.jobs(b"T01.WAV")
    bench.card.files[b"T01.WAV"] = take(2, 30)
    bench.run(jobs)
    assert list(bench.errors().values()) == ["header-differs"]
    assert bench.facts(WasRead) == []
    assert bench.proven(bench.drives[0]) == []
    assert bench.ring_is_whole()


def test_a_decoder_is_asked_about_the_bytes_that_are_copied() -> None:
    """What it says is told before the read is, and of a second read it is not asked."""
    bench = Bench({b"T01.WAV": take(1, 30)})
    asked: list[int] = []

    def opinion(said: Description, reader: Reader, size: int) -> Description:
        assert reader.read_at(0, 4) == b"RIFF"
        assert reader.stamp().size == size
        asked.append(size)
        complaint = Complaint("not-decoded", "it does not decode")
        return Description(said.kind, complaints=(*said.complaints, complaint))

    bench.opinion = opinion
    bench.run(bench.jobs(b"T01.WAV"))
    described, read = bench.facts()[:2]
    assert isinstance(described, Inventoried)
    assert [c.code for c in described.recording.description.complaints] == ["not-decoded"]
    assert isinstance(read, WasRead)
    assert asked == [len(take(1, 30))]
    bench.check(bench.drives[0], b"T01.WAV")


@pytest.mark.parametrize("op", ["flush_piece", "flush", "settle"])
def test_a_flush_may_take_longer_than_a_write(op: str) -> None:
    """P6: a slow drive writes what it holds back, of a piece as of the whole; it does not hang."""
    bench = Bench({b"T01.WAV": LONG}, drives=1, stall_seconds=6)  # 0.3 s of this clock
    [drive] = bench.drives
    slow = drive.hang(op)
    threading.Timer(0.9, slow.set).start()
    with ending(slow):
        bench.run(bench.jobs(b"T01.WAV"))
    bench.check(drive, b"T01.WAV")
    assert bench.errors() == {}


def test_a_flush_that_fails_for_many_is_said_of_each_by_its_own_name() -> None:
    """One call, one error; sixteen files are written anew, each with its own sentence."""
    names = [b"T%02d.WAV" % n for n in range(1, 7)]
    bench = Bench({name: take(n, frames=500) for n, name in enumerate(names, 1)}, drives=2)
    bad, _ = bench.drives
    first = bad.hang("flush")
    threading.Timer(0.3, first.set).start()
    bad.fail_next("flush_together", WorldError("d1: Input/output error."))
    with ending(first):
        bench.run(bench.jobs(*names))
    said = [told.error.says for told in bench.told if told.error is not None]
    assert said
    assert all(sum(name.decode() in says for name in names) == 1 for says in said)
