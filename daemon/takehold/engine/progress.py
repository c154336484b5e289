"""What the loop shows of itself: who is there, what runs and how fast, what needs a hand."""

from __future__ import annotations

from takehold.decide.explain import what
from takehold.decide.standing import Standing, day_standing
from takehold.engine.calm import rounded
from takehold.engine.cycle import Engine
from takehold.engine.lanes import Running
from takehold.formats.names import display, shown
from takehold.model.settings import Settings
from takehold.model.situation import Sight
from takehold.model.step import CatchUp, Recognise, TakeStock

SECOND_NS = 10**9
# Times the longest that a look, or a device that hangs in it, takes: who is silent longer, hangs.
SILENT_TIMES = 3


def snapshot(engine: Engine, steady_ns: int) -> dict[str, object]:
    """The engine as plain data; sizes in bytes, spans in seconds."""
    now = engine.now.situation
    return {
        "at": now.now,
        "answers_within": SILENT_TIMES * _pace(engine.settings),
        "day": now.today,
        "cards": [_card(engine, s) for s in now.sights],
        "destinations": [
            {
                "name": shown(t.name),
                "at": display(t.root.path),
                "root": t.root.identity,
                "free_bytes": rounded(t.free_bytes),
            }
            for t in now.targets
        ],
        "absent": [shown(name) for name in now.absent],
        "work": [_work(r, steady_ns) for r in engine.lanes.running.values()],
        "unsettled": list(engine.now.unsettled),
        "alarms": alarms(engine),
    }


def alarms(engine: Engine) -> list[dict[str, object]]:
    """What stands now, as plain data; nothing that is known of days is asked for."""
    unlisted = engine.now.around.unlisted
    return [
        {"code": t.code, "says": t.says, "do": t.do, "unlisted": t in unlisted}
        for t in engine.now.alarms.values()
    ]


def _pace(settings: Settings) -> int:
    return max(settings.look_every_seconds, settings.stall_seconds)


def _card(engine: Engine, sight: Sight) -> dict[str, object]:
    """A card: its files, how many have their copies, and of how many the read is confirmed.

    `label` is that under which it was first seen, as its folders are named, `labelled` that of now.
    `from_drives` of them get what they lack from a drive: the card is not needed for it.
    """
    load = engine.ledger.loads[sight.load]
    there = {file.path for file in sight.files}
    known = (engine.ledger.current(load.id, path) for path in there)
    days = {recording.day for recording in known if recording is not None}
    mine = [
        s
        for day in days
        for s in day_standing(engine.ledger, day, engine.settings).files
        if s.load.id == load.id and s.current and s.recording.path in there
    ]
    return {
        "load": load.id,
        "source": load.source,
        "label": shown(load.label),
        "labelled": shown(load.label if sight.watched else sight.root.volume.label),
        "role": load.role.value,
        "at": display(sight.root.path),
        "files": len(sight.files),
        "copied": sum(s.devices >= engine.settings.copies_required for s in mine),
        "from_drives": sum(_from_drives(engine, s) for s in mine),
        "confirmed": sum(s.confirmed for s in mine),
        "watched": sight.watched,
        "complete": sight.complete,
        "in_use": _in_use(engine, sight.root.volume.mount_id),
    }


def _from_drives(engine: Engine, standing: Standing) -> bool:
    """Whether a drive that is in holds it, and those that catch up now make its copies enough."""
    here = {target.root.identity for target in engine.now.situation.targets}
    steps = [running.step for running in engine.lanes.running.values()]
    late = {step.target.root.identity for step in steps if isinstance(step, CatchUp)}
    lacks, required = late - {c.root for c in standing.copies}, engine.settings.copies_required
    held = any(c.root in here and c not in standing.doubtful for c in standing.copies)
    return held and standing.devices < required <= standing.devices + len(lacks)


def _in_use(engine: Engine, mount_id: str) -> bool:
    return f"card {mount_id}" in engine.lanes.running


def _work(running: Running, steady_ns: int) -> dict[str, object]:
    spent = max(1, steady_ns - running.begun_ns) / SECOND_NS
    rate = running.done / spent
    left = (running.total - running.done) / rate if rate > 0 else None
    return {
        "what": what(running.step, running.behind),
        "done": running.done,
        "total": running.total,
        "unit": "files" if isinstance(running.step, Recognise | TakeStock) else "bytes",
        "rate": round(rate),
        "seconds_left": None if left is None else round(left),
        "still_seconds": max(0, (steady_ns - running.moved_ns) // SECOND_NS),
    }
