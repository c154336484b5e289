"""One complete pass: turn until nothing is due and nothing runs."""

from __future__ import annotations

from collections.abc import Callable

from takehold.decide.alarms import open_troubles
from takehold.decide.standing import day_standing
from takehold.engine.cycle import Engine
from takehold.formats.names import display, shown
from takehold.ports.clock import Clock
from takehold.ports.wake import Wake

WAIT_S = 0.5
SECOND_NS = 10**9


def until_quiet(
    engine: Engine, wake: Wake, clock: Clock, shown_to: Callable[[], None] = lambda: None
) -> None:
    """Work until all is done that can be done now; files being written are waited for.

    `shown_to` is called after each wake, to show progress.
    """
    engine.forgive()
    patience = 3 * engine.settings.settle_seconds * SECOND_NS
    still_since = clock.steady_ns()
    while True:
        engine.collect()
        busy = engine.turn()
        if busy:
            still_since = clock.steady_ns()
        elif not engine.now.unsettled or clock.steady_ns() - still_since > patience:
            return
        while True:
            wake.wait(WAIT_S)
            _, freed = engine.collect()
            shown_to()
            if freed or not engine.lanes.running:
                break


def owing(engine: Engine) -> list[str]:
    """What keeps `once` from saying that all is proven, in sentences."""
    says = [t.says for t in engine.now.alarms.values()]
    says += [f"{name} is still being written." for name in engine.now.unsettled]
    now = engine.now.situation
    open_ones = open_troubles(engine.ledger, now.today, [t.root.identity for t in now.targets])
    says += [t.says for t in open_ones if not t.key.startswith("manifest")]
    for day in sorted(days_here(engine)):
        for standing in day_standing(engine.ledger, day, engine.settings).files:
            short = standing.devices < engine.settings.copies_required
            if standing.owes_copies and short:
                name = f"{shown(standing.load.label)}/{display(standing.recording.path)}"
                have = f"{standing.devices} of {engine.settings.copies_required}"
                says.append(f"{name}: {have} proven copies.")
    return says


def days_here(engine: Engine) -> set[str]:
    """The days of everything that lies on the cards now."""
    days: set[str] = set()
    for sight in engine.now.situation.sights:
        for ids in engine.ledger.of_load.get(sight.load, {}).values():
            days |= {engine.ledger.recordings[i].day for i in ids}
    return days
