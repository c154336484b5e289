"""One engine in a process of its own, timed: `python tests/benchmarks/inside.py CONFIG STATE KEY`.

Prints JSON: seconds to the first import's end and to a ready engine (interpreter start included),
of the first turn and of the pass that follows until nothing is at work, of an idle turn and what
the loop shows after it, of a day's judging and matching; and megabytes. With `--mount DEVICE POINT`
instead: seconds from a card's being mounted until it is known and nothing is at work. growth.py
runs it.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

from takehold.app import Running, running
from takehold.decide.judge import judge
from takehold.decide.match import match
from takehold.engine.once import until_quiet
from takehold.engine.progress import snapshot
from takehold.home import Home
from takehold.model.settings import Role

ROUNDS = 5


def since_start() -> float:
    """Seconds since this process began (proc(5), starttime in ticks since the machine's start)."""
    fields = Path("/proc/self/stat").read_text().rpartition(")")[2].split()
    begun = int(fields[19]) / os.sysconf("SC_CLK_TCK")
    return time.clock_gettime(time.CLOCK_BOOTTIME) - begun


def megabytes(what: str = "VmRSS") -> float:
    """Memory of this process now, or with VmHWM the most it ever had (proc(5))."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(what + ":"):
            return int(line.split()[1]) * 1024 / 1e6
    raise LookupError(what)


def timed(work: Callable[[], object]) -> float:
    """Seconds that it takes once."""
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def median(work: Callable[[], object]) -> float:
    """The median of some times."""
    return statistics.median(timed(work) for _ in range(ROUNDS))


class Bell:
    """What a lane wakes the loop with."""

    def __init__(self) -> None:
        self._rung = threading.Event()
        self.ring = self._rung.set

    def wait(self, seconds: float) -> None:
        """Until it rings, at most so long."""
        self._rung.wait(seconds)
        self._rung.clear()


def figures(begun: Running, bell: Bell) -> dict[str, float]:
    """Let the engine come to rest, and measure."""
    engine = begun.engine
    told = {"ready_s": since_start(), "ready_mb": megabytes()}
    told["first_turn_s"] = timed(engine.turn)
    told["to_rest_s"] = timed(lambda: until_quiet(engine, bell, begun.clock))  # type: ignore[arg-type]
    told["turn_s"] = median(engine.turn)
    told["shown_s"] = median(lambda: snapshot(engine, begun.clock.steady_ns()))
    day, loads = engine.today(), engine.ledger.loads
    ours, theirs = (
        [r for r in engine.ledger.day(day) if loads[r.load].role is role]
        for role in (Role.PRIMARY, Role.BACKUP)
    )
    told["match_s"] = median(lambda: match(ours, theirs))
    told["judge_s"] = median(lambda: judge(engine.ledger, day, engine.settings))
    told |= {"rest_mb": megabytes(), "most_mb": megabytes("VmHWM")}
    told["busy"] = float(engine.turn())
    return told


def known_card(begun: Running, bell: Bell, device: str, point: str) -> dict[str, float]:
    """Mount a card of known files beside an engine at rest, and wait until it is known."""
    engine = begun.engine
    until_quiet(engine, bell, begun.clock)  # type: ignore[arg-type]
    subprocess.run(["mount", device, point], check=True, timeout=60)
    took = timed(lambda: until_quiet(engine, bell, begun.clock))  # type: ignore[arg-type]
    (sight,) = engine.now.situation.sights
    assert not sight.anew, "it is not known"
    assert not engine.now.unsettled, "it is not settled"
    known = engine.ledger.of_load[sight.load]
    assert len(known) == len(sight.files), "it is another load"
    return {"known_card_s": took}


def main() -> None:
    """Start the engine on these places and print the figures."""
    told, bell = {"import_s": since_start()}, Bell()
    with running(Home(*sys.argv[1:4]), bell.ring) as begun:
        if sys.argv[4:5] == ["--mount"]:
            told |= known_card(begun, bell, *sys.argv[5:7])
        else:
            told |= figures(begun, bell)
        begun.engine.lanes.stop(5.0)
    print(json.dumps(told))


if __name__ == "__main__":
    main()
