"""A sleep of the machine: what it came into counts for nothing, and all is identified anew.

That a machine sleeps is told by two clocks (clock_gettime(2): CLOCK_BOOTTIME goes on in a sleep,
CLOCK_MONOTONIC does not). Here a fake clock sleeps; the engine and its threads are the real ones.
"""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from fakedisk import FakeVolume
from fakeworld import CARDS, DAY, NOON, Clock, Site, call_count, ending, take, within
from takehold.adapters import clock as clock_adapter
from takehold.adapters.clock import SystemClock
from takehold.decide.sleep import clock_moved, in_words, sentence, slept
from takehold.engine.outcome import Outcome
from takehold.engine.stretch import Stretch
from takehold.model.errors import Slept, SourceChanged, VolumeFull
from takehold.model.facts import Proven, TroubleOver, WasRead
from takehold.model.volume import Root

FILES = {b"DAY/T%02d.WAV" % n: take(n) for n in range(1, 4)}
HOURS = 3600
CALLS = 135


class Calls(list[tuple[str, bytes]]):
    """The calls of a volume; each is noticed before it is carried out."""

    def __init__(self, noticed: Callable[[str, bytes], None]) -> None:
        self._noticed = noticed

    def append(self, call: tuple[str, bytes]) -> None:
        super().append(call)
        self._noticed(*call)


class Night:
    """A site with one card and two drives that falls asleep at one call, whichever device it asks.

    `after` are the calls since, by the volume's name.
    """

    def __init__(self, at: int, waking: Callable[[Night], None] = lambda _: None) -> None:
        self.site = Site(sources=CARDS[:1])
        self.card = self.site.card("SND_A1", dict(FILES))
        self.drives = [self.site.drive("SHUTTLE_1"), self.site.drive("SHUTTLE_2")]
        self.count = self.steps = 0
        self.after: list[tuple[str, str, bytes]] = []
        self._at, self._waking = at, waking
        for volume in (self.card, *self.drives):
            self._listen(volume)

    def _listen(self, volume: FakeVolume) -> None:
        name = volume.root.path.decode()

        def noticed(op: str, path: bytes) -> None:
            with self.card.lock:
                if self.count > self._at:
                    self.after.append((name, op, path))
                self.count += 1
                self.steps += not threading.current_thread().name.startswith("ask ")
                if self.count == self._at + 1:
                    self.site.clock.sleep(2 * HOURS)
                    self._waking(self)

        volume.calls = Calls(noticed)

    def proven(self) -> int:
        return len(self.site.told(Proven))


def test_how_long_it_slept() -> None:
    """From a tenth of a second on; a count never goes back, and if it did that were no sleep."""
    assert slept(5, 5) == 0
    assert slept(0, 99_999_999) == 0
    assert slept(0, 100_000_000) == 100_000_000
    assert slept(7 * 10**9, 5 * 10**9) == 0


def test_spans_in_words() -> None:
    says = [in_words(s * 10**9) for s in (0, 59, 61, 7380, 90_000)]
    assert says == ["0 s", "59 s", "1 min 1 s", "2 h 3 min", "25 h 0 min"]


def test_the_sentence_says_what_is_done_again() -> None:
    span = 7380 * 10**9
    assert sentence(span, True, 1) == (
        "The laptop slept for 2 h 3 min. Each card and drive is identified anew; "
        "1 file is copied again from the first byte."
    )
    assert "; 12 files are copied again" in sentence(span, True, 12)
    assert sentence(span, True, 0).endswith("; what was at work is begun again.")
    assert sentence(span, False, 0).endswith("; nothing was at work.")


def test_a_clock_that_was_set_is_told() -> None:
    """A minute and more; less is a clock that is kept right."""
    assert clock_moved(100, 159) == clock_moved(100, 41) == ""
    assert "set ahead by 2 h 0 min." in clock_moved(100, 100 + 2 * HOURS)
    assert "set back by 1 min 0 s." in clock_moved(100, 40)


def test_the_systems_clock_tells_no_sleep_while_awake() -> None:
    """Ten thousand looks on a machine that is awake: all alike to a few ms."""
    clock = SystemClock()
    looks = [clock.asleep_ns() for _ in range(10_000)]
    assert slept(min(looks), max(looks)) == 0


def test_the_systems_clock_tells_a_sleep(monkeypatch: pytest.MonkeyPatch) -> None:
    """CLOCK_BOOTTIME has gone on, CLOCK_MONOTONIC has not."""
    clock = SystemClock()
    before, steady = clock.asleep_ns(), clock.steady_ns()
    whole = clock_adapter._whole_ns
    monkeypatch.setattr(clock_adapter, "_whole_ns", lambda: whole() + 7200 * 10**9)
    assert round(slept(before, clock.asleep_ns()) / 10**9) == 7200
    assert clock.steady_ns() - steady < 60 * 10**9


def test_a_program_that_is_held_up_between_its_two_looks_saw_no_sleep(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """SIGSTOP, or a busy machine, in the middle: the look is taken again."""
    # Monotonic, boot time, monotonic: held up for 5 s before the last, then three in a row.
    whole, awake = iter([1000, 6000]), iter([1000, 5_000_001_000, 5_000_006_000, 5_000_006_000])
    monkeypatch.setattr(clock_adapter, "_whole_ns", lambda: next(whole) + 5_000_000_000)
    monkeypatch.setattr(clock_adapter, "_awake_ns", lambda: next(awake))
    assert SystemClock().asleep_ns() == 0


class Never:
    """No stop is asked for."""

    def is_set(self) -> bool:
        return False


def test_what_is_told_after_a_sleep_is_void() -> None:
    """Facts, and failures as well: what woke may be another device."""
    clock = Clock()
    told: list[Outcome] = []
    stretch = Stretch(clock, clock.asleep_ns(), Never())
    tell = stretch.telling(told.append)
    fine = Outcome((TroubleOver("rec 1"),), "rec 1")
    tell(fine)
    assert not stretch.is_set()
    stretch.check()
    clock.sleep(20)
    assert stretch.is_set()
    with pytest.raises(Slept):
        stretch.check()
    tell(fine)
    tell(Outcome(key="rec 2", error=SourceChanged("It changed.")))
    assert told[0] == fine
    assert [(o.key, o.facts, o.error and o.error.code) for o in told[1:]] == [
        ("rec 1", (), "slept"),
        ("rec 2", (), "slept"),
    ]


def test_there_are_so_many_calls_in_a_night() -> None:
    """About: threads meet in another order each time. The tests below go through all of them.

    The loop's own looks are the more, the longer the steps take.
    """
    night = Night(at=10**9)
    night.site.work()
    assert night.count > CALLS - 40
    assert CALLS - 55 < night.steps < CALLS


@pytest.mark.parametrize("at", range(0, CALLS, 3))
def test_a_sleep_at_any_call(at: int) -> None:
    """No name for what straddled it, nothing false recorded, all copied in the end.

    A name is given after a sleep only to bytes that were read from the card after it.
    """
    night = Night(at)
    night.site.work()
    night.site.later()
    read: set[bytes] = set()
    for name, op, path in night.after:
        if (name, op) == ("/media/SND_A1", "open"):
            read.add(path.rpartition(b"/")[2])
        if op == "keep":
            assert path.rpartition(b"/")[2] in read, (at, path)
    night.site.no_false_word()
    for drive in night.drives:
        assert sorted(night.site.on(drive).values()) == sorted(FILES.values())
    assert night.site.engine.ledger.troubles == {}
    assert night.site.volumes.forgotten == (1 if at < night.count else 0)


@pytest.mark.parametrize("at", range(1, CALLS, 7))
def test_another_card_under_the_same_mount_after_a_sleep(at: int) -> None:
    """Same place, same mount number, same device: only its identity tells. Two loads."""
    others = {path: take(n + 20) for n, path in enumerate(FILES)}

    def swap(night: Night) -> None:
        card = night.card
        for path, content in others.items():
            card.put(path, content)
        home = replace(card.root.volume, identity="uuid:another")
        card.root = Root(home.mount, home, home.identity)

    night = Night(at, swap)
    night.site.work()
    night.site.later()
    if at >= night.count:  # threads met in another order, and fewer calls were made
        return
    ledger = night.site.engine.ledger
    [other] = [load for load in ledger.loads.values() if load.identity == "uuid:another"]
    for drive in night.drives:
        there = night.site.on(drive)
        assert set(others.values()) <= set(there.values())
        assert set(there.values()) <= set(others.values()) | set(FILES.values())
    for held in ledger.copies.values():
        for copy in held.values():
            recording = ledger.recordings[copy.recording]
            content = next(d for d in night.drives if d.root.identity == copy.root).files[copy.path]
            mine = others if recording.load == other.id else FILES
            assert content == mine[recording.path]


def test_the_file_in_flight_is_said_to_be_copied_again() -> None:
    """One sentence, once the work has ended that the sleep came into."""
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", dict(FILES))
    site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    engine = site.engine
    hang = card.hang("read")
    with ending(hang):
        site.work(lambda: any(op == "read" for op, _ in card.calls))
        site.clock.sleep(2 * HOURS + 185)
        engine.turn()
        assert engine.waking.says(engine.lanes.running) == []
        assert site.volumes.forgotten == 1
    site.work()
    [says] = engine.waking.says(engine.lanes.running)
    assert re.fullmatch(r"The laptop slept for 2 h 3 min\. .*; 1 file is copied again.*", says)
    assert engine.waking.says(engine.lanes.running) == []
    assert site.told(WasRead)[0].recording == engine.ledger.day(DAY)[0].id
    site.no_false_word()


def test_a_device_that_does_not_wake_does_not_keep_the_sentence_back() -> None:
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", dict(FILES))
    site.drive("SHUTTLE_1")
    hang = card.hang("read")
    with ending(hang):
        site.work(lambda: any(op == "read" for op, _ in card.calls))
        site.clock.sleep(HOURS)
        site.engine.turn()
        site.clock.advance(11)
        [says] = site.engine.waking.says(site.engine.lanes.running)
    assert says.endswith("; what was at work is begun again.")


def test_a_sleep_between_the_look_and_the_step_voids_the_step() -> None:
    """A step goes by what was seen; that must not be older than the sleep."""
    site = Site(sources=CARDS[:1])
    site.card("SND_A1", dict(FILES))
    site.drive("SHUTTLE_1")
    started, begin = [], site.engine.lanes.start

    def start(work: object) -> None:
        if not started:
            site.clock.sleep(60)
        started.append(work)
        begin(work)  # type: ignore[arg-type]

    site.engine.lanes.start = start  # type: ignore[method-assign]
    site.engine.turn()
    assert within(
        30,
        lambda: (
            not any(r.thread and r.thread.is_alive() for r in site.engine.lanes.running.values())
        ),
    )
    site.engine.collect()
    assert not site.engine.ledger.recordings
    site.work()
    assert len(site.engine.ledger.recordings) == len(FILES)


def test_a_manifest_is_not_named_across_a_sleep() -> None:
    """It is written anew, and stands there once."""
    site = Site(sources=CARDS[:1])
    site.card("SND_A1", dict(FILES))
    drive = site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    site.work()
    hang, flushed = drive.hang("flush"), call_count(drive, "flush")
    number = site.catalogue.ask("wrap", DAY, site.clock.now())
    with ending(hang):
        site.work(lambda: call_count(drive, "flush") > flushed)
        site.clock.sleep(HOURS)
        slept = len(drive.calls)
    site.work()
    assert next(op for op, _ in drive.calls[slept:] if op in ("part", "keep")) == "part"
    assert site.catalogue.answer_of(number) is not None
    assert len(site.on(drive, b".manifest.json")) == 1
    site.no_false_word()
    assert site.engine.ledger.troubles == {}


def test_a_card_that_was_formatted_during_a_sleep_is_a_new_load() -> None:
    """Awake, a mounted card is not formatted; what happened in the sleep nobody has seen."""
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", dict(FILES))
    site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    site.work()
    for path in FILES:
        card.remove(path)
    card.put(b"DAY/T01.WAV", take(30, frames=2000))
    site.clock.sleep(HOURS)
    site.work()
    assert len(site.engine.ledger.loads) == 2


def test_what_waited_for_its_time_is_tried_at_once_after_a_sleep() -> None:
    """The laptop was perhaps put elsewhere, and a plug put in right."""
    site = Site(sources=CARDS[:1])
    site.card("SND_A1", dict(FILES))
    drive = site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    drive.fail_next("flush", VolumeFull("It is full."))
    site.work()
    assert len(site.on(drive)) < len(FILES)
    site.clock.sleep(1)
    site.work()
    assert len(site.on(drive)) == len(FILES)


def test_a_clock_set_while_it_runs_is_said_once() -> None:
    site = Site()
    site.work()
    site.clock.set_by(-3 * HOURS)
    site.work()
    [says] = site.engine.waking.says({})
    assert says.startswith("The laptop's clock was set back by 3 h 0 min.")
    site.clock.sleep(5 * HOURS)
    site.clock.advance(HOURS)
    site.work()
    assert [s[:22] for s in site.engine.waking.says({})] == ["The laptop slept for 5"]


@pytest.mark.parametrize("at", range(0, 30, 3))
def test_no_day_is_signed_upon_a_look_of_before_a_sleep(at: int) -> None:
    """Wrap looks at the drives last; meanwhile the lid is closed, and one more take recorded."""
    site = Site(sources=CARDS[:1])
    card = site.card("SND_A1", dict(FILES))
    drives = [site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")]
    site.work()
    calls = 0

    def noticed(op: str, path: bytes) -> None:
        nonlocal calls
        if op == "stamp_of":
            calls += 1
            if calls == at + 1:
                site.clock.sleep(2 * HOURS)
                card.put(b"DAY/T04.WAV", take(4))

    for drive in drives:
        drive.calls = Calls(noticed)
    site.wrap()
    site.work()
    site.wrap()
    kept = site.archive.kept[DAY]
    signed = [json.loads(kept[name]) for name in sorted(kept) if name.endswith("manifest.json")]
    assert signed[-1]["verdict"] == "READY"
    assert calls <= at or len(signed[-1]["files"]) == len(FILES) + 1
    for doc in signed:
        after = datetime.fromisoformat(doc["written_at"]) >= NOON + timedelta(hours=2)
        if after and doc["verdict"] == "READY":
            assert len(doc["files"]) == len(FILES) + 1
