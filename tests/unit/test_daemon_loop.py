"""engine/daemon: it stops, it says each trouble once, and it shows how it is."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fakeworld import CARDS, Awake, Site, ending, take, within
from takehold.adapters.live import LiveFile
from takehold.cli.live import last_state
from takehold.engine import daemon as engine
from takehold.engine.daemon import Daemon
from takehold.engine.progress import snapshot
from takehold.engine.vigil import DO, Vigil
from takehold.home import Home
from takehold.model.errors import NoRights, VolumeFull
from takehold.model.facts import Trouble
from takehold.model.settings import Role, Source
from takehold.ports.keep_awake import Answer

FILES = {b"DAY/T%02d.WAV" % n: take(n) for n in range(1, 4)}
BELL = b"/var/takehold"


class Live:
    """Keeps what was shown."""

    def __init__(self) -> None:
        self.shown: list[dict[str, Any]] = []

    def show(self, document: dict[str, Any]) -> None:
        self.shown.append(document)


class Manager:
    """Keeps the signs of life."""

    def __init__(self) -> None:
        self.texts: list[str] = []

    def alive(self, text: str) -> None:
        self.texts.append(text)


class Log:
    """Keeps lines by how grave they are."""

    def __init__(self) -> None:
        self.infos: list[str] = []
        self.warnings: list[str] = []

    def info(self, event: str, **values: object) -> None:
        assert not values
        self.infos.append(event)

    def warning(self, event: str, **values: object) -> None:
        self.warnings.append(event)


class Bench:
    """A daemon in a thread, over a site without a backup card."""

    def __init__(self, **settings: Any) -> None:
        self.site = Site(sources=CARDS[:1], **settings)
        self.card = self.site.card("SND_A1", FILES)
        self.drives = [self.site.drive("SHUTTLE_1"), self.site.drive("SHUTTLE_2")]
        self.live, self.manager, self.log = Live(), Manager(), Log()
        self.awake = Awake()
        self.daemon = Daemon(
            self.site.engine,
            self.site.wake,
            self.site.clock,
            self.live,
            self.manager,
            self.log,
            BELL,
            Vigil(self.awake, self.site.clock),
        )
        self.ended: list[bool] = []
        self.faults: list[BaseException] = []
        self._thread = threading.Thread(target=self._run, daemon=True)

    def _run(self) -> None:
        try:
            self.ended.append(self.daemon.run())
        except BaseException as fault:
            self.faults.append(fault)

    def __enter__(self) -> Bench:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> bool:
        """Tell it to stop; whether all work ended."""
        self.daemon.stopping = True
        self.site.wake.nudge()
        self._thread.join(60)
        assert not self._thread.is_alive(), "the daemon does not stop"
        assert not self.faults, self.faults
        return self.ended[0]

    def comes(self, so: Callable[[], bool]) -> None:
        """Wait for something to be so."""
        assert within(60, so), (self.faults, self.log.warnings, self.live.shown[-1:])

    def all_copied(self) -> bool:
        return all(len(self.site.on(drive)) == len(FILES) for drive in self.drives)

    def at_rest(self) -> bool:
        """All is copied and the card was read twice: nothing is begun any more."""
        engine = self.site.engine
        return self.all_copied() and engine.resting and not engine.lanes.running


def test_it_works_by_itself_and_stops() -> None:
    """Everything is copied; told to stop, it ends and says that all work ended."""
    with Bench() as bench:
        bench.comes(bench.all_copied)
        assert bench.stop() is True
    bench.site.no_false_word()
    assert bench.manager.texts[-1] == "All well"
    assert bench.log.warnings == []


def test_it_stops_in_the_middle_of_a_file() -> None:
    """After the buffer in hand; nothing unproven has a final name."""
    bench = Bench()
    hang = bench.card.hang("read")
    with ending(hang), bench:
        bench.comes(lambda: any(op == "read" for op, _ in bench.card.calls))
        bench.daemon.stopping = True
        timer = threading.Timer(0.1, hang.set)
        timer.start()
        assert bench.stop() is True
        timer.join(60)
    bench.site.no_false_word()


def test_it_stops_though_a_device_hangs(monkeypatch: pytest.MonkeyPatch) -> None:
    """The wait is bounded, and the answer says that something was left."""
    monkeypatch.setattr(engine, "STOP_S", 0.1)
    bench = Bench()
    hang = bench.card.hang("read")
    with ending(hang), bench:
        bench.comes(lambda: any(op == "read" for op, _ in bench.card.calls))
        assert bench.stop() is False


def test_each_trouble_is_said_once_and_its_end_once() -> None:
    """Many turns, one line; what it says to the service manager counts them."""
    bench = Bench()
    bench.drives[1].yank()
    with bench:
        bench.comes(lambda: len(bench.manager.texts) > 5)
        assert bench.log.warnings == ["The destination shuttle-2 is not connected (SHUTTLE_2)."]
        assert bench.manager.texts[-1] == "1 thing needs a hand"
        bench.site.remount(bench.drives[1])
        bench.site.wake.nudge()
        bench.comes(bench.all_copied)
        bench.comes(lambda: bench.manager.texts[-1] == "All well")
    assert len(bench.log.warnings) == 1
    assert [says for says in bench.log.infos if "Solved" in says] == [
        f"Solved: {bench.log.warnings[0]}"
    ]


def test_what_happened_is_said_once() -> None:
    """A card that came, its copies, a manifest, an altered copy; nothing of it again."""
    bench = Bench()
    day = bench.site.engine.today()
    with bench:
        copied = "SND_A1 (primary): 3 files copied and proven."
        bench.comes(lambda: copied in bench.log.infos)
        bench.site.catalogue.ask("wrap", day, bench.site.clock.now())
        bench.site.wake.nudge()
        bench.comes(lambda: any("written and signed" in says for says in bench.log.infos))
        path = next(p for p in bench.drives[0].files if p.endswith(b"T02.WAV"))
        bench.drives[0].files[path] = bytes(reversed(bench.drives[0].files[path]))
        bench.site.catalogue.ask("recheck", "", bench.site.clock.now() + 1)
        bench.site.clock.advance(2)
        bench.site.wake.nudge()
        bench.comes(lambda: any("other bytes" in says for says in bench.log.warnings))
        turns = len(bench.manager.texts)
        bench.site.wake.nudge()
        bench.comes(lambda: len(bench.manager.texts) > turns + 2)
    infos = [says for says in bench.log.infos if "Solved" not in says]
    assert infos[:2] == ["SND_A1 (primary) is in: 3 files.", copied]
    assert infos.count(copied) == 1
    [altered] = [says for says in bench.log.warnings if "other bytes" in says]
    assert altered.startswith("shuttle-1: ")
    assert altered.endswith("T02.WAV: other bytes than were proven; copied again.")


def test_figures_that_change_are_no_new_trouble() -> None:
    """A drive that fills up is one trouble, not one a megabyte."""
    bench = Bench(reserve_megabytes=500)
    bench.drives[0].capacity = 400 * 10**6
    with bench:
        bench.comes(lambda: len(bench.log.warnings) > 0)
        for left in (300, 200, 100):
            bench.drives[0].capacity = left * 10**6
            seen = len(bench.manager.texts)
            bench.site.wake.nudge()
            bench.comes(lambda seen=seen: len(bench.manager.texts) > seen + 1)  # type: ignore[misc]
    [told] = [says for says in bench.log.warnings if "MB are free" in says]
    assert "400 MB are free" in told


def test_a_full_catalogue_does_not_end_it() -> None:
    """No traceback: one line, and it goes on when there is room."""
    bench = Bench()
    bench.site.catalogue.refuses = VolumeFull("The laptop's disk is full.")
    with bench:
        bench.comes(lambda: len(bench.manager.texts) > 3)
        assert len(bench.log.warnings) == 1
        assert "The laptop's disk is full." in bench.log.warnings[0]
        assert max(bench.site.wake.waits) <= engine.AILING_WAIT_S
        bench.site.catalogue.refuses = None
        bench.site.wake.nudge()
        bench.comes(bench.all_copied)
        bench.comes(lambda: bench.manager.texts[-1] == "All well")
    bench.site.no_false_word()


def test_it_waits_until_the_next_try_and_no_longer() -> None:
    """A failed file's time to try again is sooner than the next look."""
    bench = Bench(look_every_seconds=60)
    bench.card.fail_next("read", NoRights("It cannot be read."), b"DAY/T02.WAV")
    with bench:
        bench.comes(lambda: any("cannot be read" in says for says in bench.log.warnings))
        bench.comes(lambda: not bench.site.engine.lanes.running and 5.0 in bench.site.wake.waits)
        bench.site.clock.advance(6)
        bench.comes(bench.all_copied)


def test_what_nobody_can_do_now_wakes_nobody() -> None:
    """A drive is away, and the next try of its copies is long due: the loop waits all the same."""
    bench = Bench(look_every_seconds=600)
    long_ago = bench.site.clock.now() - 900
    bench.site.engine.take(
        [Trouble("land 9 uuid:away", "full", "Full.", "", long_ago, 1, long_ago)]
    )
    with bench:
        bench.comes(bench.at_rest)
        bench.site.clock.advance(400)
        bench.site.wake.nudge()
        bench.comes(lambda: bench.site.wake.waits[-5:] == [600.0] * 5)


def test_a_file_that_grows_is_looked_at_again_once_it_may_have_stood_still() -> None:
    """Not each time that somebody writes to it."""
    bench = Bench(look_every_seconds=600, settle_seconds=20)
    desk = Source("desk", Role.PRIMARY, path=b"/srv/desk")
    bench.site.engine.settings = replace(bench.site.settings, sources=(*CARDS[:1], desk))
    bench.site.engine.adopt(bench.site.engine.settings, bench.site.days())
    bench.site.disk.volume(b"/srv/desk", {b"T09.WAV": take(9)})
    with bench:
        bench.comes(bench.at_rest)
        bench.comes(lambda: bench.site.wake.waits[-3:] == [20.0] * 3)
        assert bench.site.engine.now.unsettled == ("desk/T09.WAV",)


def test_the_config_is_read_again_between_turns() -> None:
    """In the loop's own thread, once."""
    bench = Bench()
    called: list[str] = []
    with bench:
        bench.daemon.reload = lambda: called.append(threading.current_thread().name)
        bench.site.wake.nudge()
        bench.comes(lambda: len(called) == 1)
        name = bench._thread.name
    assert called == [name]


def test_a_card_is_not_watched_and_the_bell_is() -> None:
    """A watch on a card would keep it from being ejected."""
    with Bench() as bench:
        bench.comes(bench.all_copied)
    assert bench.site.wake.watched == [BELL]


def test_what_is_shown_is_plain_data(tmp_path: Path) -> None:
    """JSON to its last value, with the words that the status command reads."""
    bench = Bench()
    hang = bench.card.hang("read")
    bench.drives[1].yank()
    with ending(hang), bench:
        bench.comes(lambda: any(op == "read" for op, _ in bench.card.calls))
        bench.comes(lambda: "copying" in str(bench.live.shown[-1:]))
        shown = bench.live.shown[-1]
        hang.set()
    assert json.loads(json.dumps(shown)) == shown
    LiveFile(str(tmp_path)).show(shown)
    assert last_state(Home("", str(tmp_path), "")) == shown
    [card] = shown["cards"]
    assert (card["source"], card["label"], card["role"]) == ("primary", "SND_A1", "primary")
    assert (card["at"], card["files"], card["in_use"]) == ("/media/SND_A1", 3, True)
    assert (card["copied"], card["confirmed"]) == (0, 0)
    assert [d["name"] for d in shown["destinations"]] == ["shuttle-1"]
    assert shown["absent"] == ["shuttle-2"]
    [work] = shown["work"]
    assert work["what"] == "copying 3 files from SND_A1 to shuttle-1"
    assert (work["unit"], work["total"]) == ("bytes", sum(map(len, FILES.values())))
    assert [alarm["code"] for alarm in shown["alarms"]] == ["destination-absent"]


def test_a_card_without_work_is_not_in_use() -> None:
    """And nothing is shown as running."""
    bench = Bench()
    bench.site.work()
    shown = snapshot(bench.site.engine, bench.site.clock.steady_ns())
    assert shown["work"] == []
    [card] = shown["cards"]  # type: ignore[misc]
    assert card["in_use"] is False  # type: ignore[index]
    assert card["copied"] == card["files"]  # type: ignore[index]


def test_nothing_new_is_not_shown_again() -> None:
    """The file of the state is not written for nothing."""
    bench = Bench()
    with bench:
        bench.comes(lambda: bench.at_rest() and not bench.live.shown[-1]["work"])
        shown, turns = len(bench.live.shown), len(bench.manager.texts)
        bench.site.clock.advance(1)
        bench.site.wake.nudge()
        bench.comes(lambda: len(bench.manager.texts) > turns + 2)
    assert len(bench.live.shown) <= shown + 1


def test_a_wrap_that_a_sleep_made_overdue_is_done_as_soon_as_it_wakes() -> None:
    """The lid was closed before the wrap and opened the next morning: what was owed is done.

    The nudge is what the timer gives then (tests/unit/test_timer.py).
    """
    bench = Bench(wrap_at=21 * 60 + 30)
    day = bench.site.engine.today()
    with bench:
        bench.comes(bench.at_rest)
        assert bench.site.engine.ledger.newest(day) is None
        bench.site.clock.sleep(20 * 3600)
        assert bench.site.engine.today() > day
        bench.site.wake.nudge()
        bench.comes(lambda: bench.site.engine.ledger.newest(day) is not None)
        bench.comes(lambda: any("slept for 20 h 0 min" in says for says in bench.log.infos))
    slept = [says for says in bench.log.infos if "slept" in says]
    assert len(slept) == 1
    assert slept[0].endswith("nothing was at work.")


def test_it_keeps_awake_while_it_works_and_says_when_it_may_not() -> None:
    """A refusal is one line in the log and a note that is shown; nothing needs a hand for it."""
    bench = Bench()
    bench.awake.says = Answer(refused="Access denied.")
    with bench:
        bench.comes(bench.all_copied)
        bench.comes(lambda: bool(bench.live.shown[-1]["notes"]))
        bench.comes(lambda: bench.manager.texts[-1] == "All well")
    note = f"The laptop may fall asleep while it copies: Access denied. {DO}"
    assert bench.live.shown[-1]["notes"] == [note]
    assert bench.log.infos.count(note) == 1
    assert bench.log.warnings == []
    assert bench.awake.asked == ["hold", "release"]


def test_it_lets_the_machine_sleep_when_it_stops() -> None:
    bench = Bench()
    with bench:
        bench.comes(bench.all_copied)
        bench.comes(lambda: "hold" in bench.awake.asked)
        assert bench.live.shown[-1]["notes"] == []
    assert bench.awake.asked == ["hold", "release"]


def test_the_room_on_a_small_drive_is_shown() -> None:
    """Three digits: no drive that has room is shown as full, and no large one changes all day."""
    site = Site()
    shown: list[int] = []
    for capacity in (987, 98_765, 49_876_543, 123_456_789_000):
        site.drive("SHUTTLE_1", capacity=capacity)
        site.engine.turn()
        state: Any = snapshot(site.engine, 0)
        shown += [drive["free_bytes"] for drive in state["destinations"]]
        site.disk.volumes.clear()
    assert shown == [987, 98_700, 49_800_000, 123_400_000_000]
