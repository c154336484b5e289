"""One history: days of events drawn by chance; then the faults stop and what is owed is done."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from randomdays import properties
from randomdays.events import EVENTS, decide
from randomdays.world import ROOM, World, made

LONGEST_WAIT_S = 301
ROUNDS = 14
QUIET_ROUNDS = 2


def run(number: int) -> int:
    """The history of that number; how many days it had. Raises what a property raises."""
    with made(number) as world:
        try:
            for _ in range(world.chance.randrange(3, 9)):
                _day(world)
            _finally(world)
        except BaseException as fault:
            fault.add_note(f"history {number}, the last of it:\n" + "\n".join(world.log[-25:]))
            raise
        return world.days


def _day(world: World) -> None:
    for _ in range(world.chance.randrange(4, 14)):
        event = world.chance.choices(list(EVENTS), list(EVENTS.values()))[0]
        world.log.append(f"{world.clock.local():%m-%d %H:%M} {event.__name__.strip('_')}")
        event(world)
        world.clock.go(world.chance.choice((5, 60, 400, 3600)))
        if world.chance.random() < 0.7:
            world.log.append("work")
            world.work()
    morning = world.clock.true.replace(hour=8, minute=0) + timedelta(days=1)
    world.clock.go(max(0.0, (morning - world.clock.true).total_seconds()))
    world.days += 1


# -- the end


def _finally(world: World) -> None:
    """No more faults; everything is connected; time passes; every day is closed."""
    world.log.append("finally")
    world.book.refuses = None
    world.clock.off = timedelta()
    for thing in (*world.cards, *world.drives):
        volume = thing.volume
        volume.flip.clear()
        volume._failures.clear()
        volume.flip_parts, volume.lies, volume.durable = None, False, True
        volume.complete, volume.capacity, volume.read_only = True, ROOM, False
        volume.root = replace(volume.root, volume=replace(volume.root.volume, read_only=False))
    for card in world.cards:
        if not card.here:
            world.put_in(card)
    for drive in world.drives:
        same = any(d.here and d.name == drive.name for d in world.drives if d is not drive)
        if drive.here and same:
            world.take_out(drive)
        elif not drive.here and not same:
            world.put_in(drive)
    world.book.ask("recheck", "", world.clock.now())
    for _ in range(2):  # what the first showed to be read wrong is confirmed for the second
        _rounds(world)
        for day in sorted({r.day for r in world.book.known.recordings.values()}):
            world.book.ask("wrap", day, world.clock.now())
        _rounds(world)
        world.start()
    _rounds(world)
    properties.all_is_owed_no_more(world)
    _decided(world)


def _rounds(world: World) -> None:
    """Until nothing happens any more, though every wait is over; or as often as is fair."""
    quiet = 0
    for _ in range(ROUNDS):
        before = len(world.book)
        world.work()
        quiet = quiet + 1 if len(world.book) == before else 0
        if quiet == QUIET_ROUNDS:
            return
        world.clock.go(LONGEST_WAIT_S)


def _decided(world: World) -> None:
    """A person decides on all there is to decide, and wraps; what is READY then was earned."""
    decide(world)
    world.work()
    world.work()
