"""Nobody looks for days (P12): what was not done is said until it is done, and by every face."""

from __future__ import annotations

from fakeworld import CARDS, DAY, Site, take
from takehold.engine.progress import snapshot
from takehold.model.finding import Verdict

DAY_S = 24 * 3600


def shown(site: Site) -> set[str]:
    """The alarms that a status would show now."""
    alarms = snapshot(site.engine, site.clock.steady_ns())["alarms"]
    assert isinstance(alarms, list)
    return {alarm["code"] for alarm in alarms}


def test_a_day_that_goes_by_without_a_manifest_is_said_until_it_has_one() -> None:
    """No wrap was asked for and none is planned: from the next day on, also after a restart."""
    site = Site(sources=CARDS[:1])
    site.drive("SHUTTLE_1"), site.drive("SHUTTLE_2"), site.card("SND_A1", {b"T01.WAV": take(1)})
    site.work()
    assert shown(site) == set(), "the day is not over yet"
    site.later(DAY_S)
    assert shown(site) == {"day-not-closed"}
    site.start()
    site.later(DAY_S)
    assert shown(site) == {"day-not-closed"}
    site.wrap(DAY)
    assert shown(site) == set()


def test_a_planned_wrap_that_could_not_be_written_is_said() -> None:
    """At the time of the wrap a drive and the backup card are away: HOLD is signed, and why."""
    site = Site(wrap_at=21 * 60)
    site.drive("SHUTTLE_1"), site.card("SND_A1", {b"T01.WAV": take(1)})
    site.work()
    site.later(10 * 3600)
    newest = site.engine.ledger.newest(DAY)
    assert newest is not None
    assert newest.verdict == Verdict.HOLD.value
    assert {"copies-short", "backup-not-seen", "destination-absent"} <= site.codes()
