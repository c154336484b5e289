"""A config that is read again while takehold runs (SIGHUP): every setting of it is the new one."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from fakeworld import CARDS, DAY, Site, ending, take
from idleclock import IdleClock
from takehold.adapters.timer import DailyTrigger, EveryTrigger
from takehold.cli import run
from takehold.cli.run import nudges
from takehold.model.settings import Settings

PATIENCE_S = 60


def adopt(site: Site, **changes: Any) -> Settings:
    """As the daemon does it."""
    site.settings = replace(site.settings, **changes)
    site.engine.adopt(site.settings, site.days())
    return site.settings


def held(thing: object, seen: set[int]) -> list[Settings]:
    """All settings that are reached from a thing of the product, through its attributes."""
    if id(thing) in seen:
        return []
    seen.add(id(thing))
    if isinstance(thing, Settings):
        return [thing]
    inner: list[object] = []
    if isinstance(thing, dict):
        inner = list(thing.values())
    elif isinstance(thing, list | tuple | set | frozenset):
        inner = list(thing)
    elif type(thing).__module__.startswith("takehold."):
        names = [*getattr(thing, "__dict__", ()), *getattr(type(thing), "__slots__", ())]
        inner = [getattr(thing, name) for name in names if hasattr(thing, name)]
    return [settings for one in inner for settings in held(one, seen)]


def test_nothing_of_the_engine_holds_the_old_ones() -> None:
    """Whatever a setting is for."""
    site = Site(sources=CARDS[:1])
    site.drive("SHUTTLE_1"), site.card("SND_A1", {b"T01.WAV": take(1)})
    site.work()
    assert {id(found) for found in held(site.engine, set())} == {id(site.settings)}
    new = adopt(site, mixer="Somebody else", wrap_at=5)
    assert {id(found) for found in held(site.engine, set())} == {id(new)}


def test_a_shorter_patience_counts_for_the_next_question() -> None:
    """`stall_seconds`: from ten minutes to three seconds, and a drive that hangs is left soon."""
    site = Site(IdleClock(speed=8), sources=CARDS[:1], stall_seconds=600)
    bad, good = site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    site.work()
    adopt(site, stall_seconds=3)
    site.card("SND_A1", {b"T01.WAV": take(1)})
    hang = bad.hang("write")
    with ending(hang):
        site.work(lambda: bool(site.on(good)) and not site.engine.lanes.running)
        assert site.on(bad) == {}


def test_a_drive_that_hangs_while_the_day_is_closed_is_left_by_the_new_patience() -> None:
    """The glance at what should be there, and the look for manifests of before."""
    site = Site(sources=CARDS[:1], stall_seconds=600)
    bad = site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2"), site.card("SND_A1", {b"T01.WAV": take(1)})
    site.work()
    adopt(site, stall_seconds=3)
    hang = bad.hang("stamp_of")
    with ending(hang):
        site.catalogue.ask("wrap", DAY, site.clock.now())
        site.work(lambda: site.engine.ledger.newest(DAY) is not None)
        assert bad.open_trees, "it hangs still, and was not waited for"


def test_what_stood_still_before_is_not_waited_for_again() -> None:
    """`settle_seconds`, longer and shorter: the new one counts for a file that is seen already."""
    site = Site(sources=(replace(CARDS[0], label=None, path=b"/srv/rec"),), settle_seconds=100)
    site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2")
    site.disk.volume(b"/srv/rec", {b"T01.WAV": take(1)})
    site.work()
    site.clock.advance(50)
    site.work()
    assert site.engine.now.unsettled
    adopt(site, settle_seconds=40)
    site.work()
    assert not site.engine.now.unsettled


def test_what_is_due_by_the_clock_wakes_the_loop_at_the_new_time(monkeypatch: Any) -> None:
    """`wrap_at` and `look_every_seconds`; what was planned before wakes nobody any more."""
    planned: list[list[float]] = []

    class Noted(run.Timer):
        """The real one, that tells what it was given."""

        def start(self) -> None:
            made = [trigger() for trigger, _ in self._jobs]
            planned.append([_of(trigger) for trigger in made])
            super().start()

    monkeypatch.setattr(run, "Timer", Noted)
    rung = threading.Event()
    before = replace(Site().settings, wrap_at=60, look_every_seconds=3600)
    with nudges(before, rung.set) as plan:
        assert planned == [[60, 3600]]
        plan(replace(before, wrap_at=90, look_every_seconds=0.05))  # type: ignore[arg-type]
        assert planned[1] == [90, 0.05]
        assert rung.wait(PATIENCE_S)
    rung.clear()
    assert not rung.wait(0.2), "it ends with the daemon"


def _of(trigger: object) -> float:
    if isinstance(trigger, DailyTrigger):
        return trigger.minutes
    assert isinstance(trigger, EveryTrigger)
    now = datetime.now(UTC)
    return (trigger.get_next_fire_time(None, now) - now).total_seconds()
