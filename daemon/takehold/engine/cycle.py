"""One turn of the loop: look, compare with what is owed, start what is due, record what was told.

Only this thread touches ledger and catalogue. A turn moves no bytes of recordings itself.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from takehold.decide.alarms import room_alarms, unclosed_alarms, unread_alarms
from takehold.decide.backoff import anew, trouble
from takehold.decide.check import Around
from takehold.decide.day import shooting_day
from takehold.decide.enrol import untaken
from takehold.decide.explain import what
from takehold.decide.inventory import take_in
from takehold.decide.keys import OF_A_DAY, publish_key
from takehold.decide.plan import Wanted, plan
from takehold.decide.reads import DISPUTES
from takehold.decide.schedule import wraps_due
from takehold.decide.settle import settled
from takehold.engine.absences import away, confirmed_since, gone_unread, unlisted
from takehold.engine.book import Book
from takehold.engine.calm import Calm, Scene, scene
from takehold.engine.closing import Closer
from takehold.engine.days import Days
from takehold.engine.endings import came_late
from takehold.engine.enrolment import Enrolment
from takehold.engine.lanes import Lanes
from takehold.engine.observe import MUTE_DRIVE, Found, Look, Observer
from takehold.engine.outcome import QUIET, Outcome, together
from takehold.engine.patience import Patience
from takehold.engine.perform import Performer, Work
from takehold.engine.recall import Recall
from takehold.engine.requests import AT_ONCE, facts_of
from takehold.engine.unsettled import out_of_reach
from takehold.engine.waking import Waking
from takehold.formats.names import display, shown
from takehold.model.errors import TakeholdError
from takehold.model.facts import (
    Answered,
    Asked,
    ChannelBlocks,
    Fact,
    Trouble,
    TroubleOver,
)
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Settings
from takehold.model.situation import Sight, Situation, Target
from takehold.model.step import Compare, Publish, Step, Transfer, ways
from takehold.ports.catalogue import Catalogue
from takehold.ports.clock import Clock
from takehold.ports.decoder import Decoder
from takehold.ports.disk import Disk
from takehold.ports.volumes import Volumes

# Alarms of a source that is there and could not be looked at: its files are not known.
UNLISTED = tuple(f"{word} " for word in (*OF_A_DAY, MUTE_DRIVE))
AILING = "loop"
# Times `stall_seconds` without a byte: when it is said, and when a closing day waits no longer.
ALARM_TIMES, HUNG_TIMES = 3, 15


@dataclass(slots=True)
class World:
    """All ports that the engine needs."""

    volumes: Volumes
    disk: Disk
    catalogue: Catalogue
    clock: Clock
    decoder: Decoder


@dataclass(slots=True)
class Now:
    """The newest look, for the faces: situation, alarms, and files not settled yet.

    `asleep_ns` is the clock's count then.
    """

    situation: Situation
    alarms: dict[str, Trouble] = field(default_factory=dict)
    unsettled: tuple[str, ...] = ()
    asleep_ns: int = 0

    @property
    def around(self) -> Around:
        """What the check needs of it."""
        alarms = tuple(t for k, t in self.alarms.items() if k.startswith(UNLISTED))
        present = tuple((t.name, t.root.identity) for t in self.situation.targets)
        loads = frozenset(sight.load for sight in self.situation.sights)
        now = self.situation.now
        return Around(self.situation.absent, self.unsettled, alarms, present, loads, now)


class Engine:
    """The loop's body."""

    def __init__(
        self, settings: Settings, world: World, days: Days, nudge: Callable[[], None], known: Ledger
    ) -> None:
        """`known` are the catalogue's facts."""
        self.settings = settings
        self.ledger = known
        self._world = world
        self._patience = patience = Patience(settings.stall_seconds)
        of_it = world.volumes, world.disk, world.catalogue, world.clock
        self._observer = Observer(settings, *of_it, patience)
        performer = Performer(world.disk, world.decoder, world.clock, patience)
        self.lanes = Lanes(performer, world.clock, nudge)
        self.waking = Waking(world.clock, world.volumes)
        self.recall = Recall(world.disk, patience)
        self._enrolment = Enrolment(self.ledger, self._record)
        self._mounts: set[str] = set()
        self._asked_at: dict[int, int] = {}
        self._unrecorded: deque[Outcome] = deque()
        self._calm = Calm(world.clock)
        self.ailing = self.resting = False
        self.closer = Closer(days, world.clock, patience)
        self.closer.remember(self.ledger)
        self._book = Book(world.catalogue, self.ledger, self.closer)
        self.now = Now(Situation(world.clock.now(), self.today(), (), ()))

    def adopt(self, settings: Settings, days: Days) -> None:
        """Go on with another config from the next turn on."""
        self.settings = settings
        self._patience.seconds = settings.stall_seconds
        self._observer.settings = settings
        self.closer.days = days
        self._calm.end()

    def today(self) -> str:
        """The shooting day by the laptop's clock."""
        return shooting_day(self._world.clock.local(), self.settings.day_starts_at)

    def destinations(self) -> tuple[Target, ...]:
        """The destinations that are there, looked for now."""
        return tuple(self._observer.look().targets)

    def take(self, facts: Iterable[Fact]) -> None:
        """Record facts from elsewhere: a rebuilt catalogue."""
        self._record(facts)

    # -- recording

    def collect(self) -> tuple[bool, bool]:
        """Record what steps told: whether there was anything, and whether a lane came free.

        What the catalogue does not take now waits, in its order.
        """
        outcomes, freed = self.lanes.gather()
        self.waking.heard(outcomes)
        self._unrecorded.extend(outcomes)
        try:
            while self._unrecorded:
                batch = together(self._unrecorded)
                if self._book.keep(f for outcome in batch for f in self._facts_of(outcome)):
                    self.resting = False
                for outcome in batch:
                    self._unrecorded.popleft()
                    if outcome.recognised is not None:
                        self._enrolment.note(outcome.recognised)
            self._book.note()
        except TakeholdError as error:
            self._ail(error)
        return bool(outcomes), freed

    def _ail(self, error: TakeholdError) -> None:
        """The loop itself cannot work: nothing new is begun, and nothing told is forgotten."""
        now = self._world.clock.now()
        says = f"The work stands still: {error.says}"
        do = error.do or "It goes on by itself once that is mended."
        alarm = Trouble(AILING, error.code, says, do, now, 1, now)
        self.now.alarms = {**self.now.alarms, AILING: alarm}
        self.ailing, self.resting = True, False

    def _facts_of(self, outcome: Outcome) -> list[Fact]:
        facts: list[Fact] = list(outcome.facts)
        if outcome.recognised is not None:
            facts += self._enrolment.recognised(outcome.recognised)
        if outcome.load is not None and outcome.described:
            seen = self._world.clock.local()
            facts += take_in(self.ledger, outcome.load, outcome.described, self.settings, seen)
        if outcome.error is None:
            known = self.ledger.troubles.get(outcome.key)
            if facts or known is None or known.code not in DISPUTES:  # only a read settles that
                facts.append(TroubleOver(outcome.key))
        elif outcome.error.code not in QUIET and not came_late(self.ledger, outcome.key):
            facts.append(self._trouble(outcome.key, outcome.error))
        return facts

    def _trouble(self, key: str, error: TakeholdError) -> Trouble:
        return trouble(key, error, self.ledger.troubles.get(key), self._world.clock.now())

    def _record(self, facts: Iterable[Fact]) -> None:
        if self._book.keep(facts):
            self.resting = False
        self._book.note()

    def forgive(self) -> None:
        """Try again at once what failed before: a person, or a volume, has come."""
        now = self._world.clock.now()
        known = list(self.ledger.troubles.values())
        self._record([again for before in known if (again := anew(before, now)) != before])

    # -- a turn

    def turn(self) -> bool:
        """Look and start what is due; whether anything is running or was just done.

        While the catalogue takes nothing, nothing is begun: what is told would be unknown.
        """
        if self._unrecorded:
            return bool(self.lanes.running)
        self.resting = False
        try:
            busy = self._turn()
        except TakeholdError as error:
            self._ail(error)
            self._calm.end()
            return bool(self.lanes.running)
        self.ailing = False
        return busy

    def _turn(self) -> bool:
        self._book.note()
        asked = self._commands()
        look = self.waking.look(self._observer, self.lanes.running, self._forget)
        self.recall.look(self.ledger, look.targets, self.closer.days, self._record)
        if self._rests(asked, look):
            self.resting = True
            return False
        self.now = self._see(look)
        mounts = {t.root.volume.mount_id for t in look.targets}
        mounts |= {f.arrival.root.volume.mount_id for f in look.found}
        if mounts - self._mounts:
            self.forgive()
        self._mounts = mounts
        self._enrolment.keep(mounts)
        self.ledger.stay(sight.load for sight in self.now.situation.sights)
        closing = self._closing(asked)
        gone = away(self.ledger, self.settings, closing, self.now.situation, look.alarms)
        self._record(gone)
        self._record(confirmed_since(self.ledger, self.settings, closing, self.now.situation))
        rechecks = tuple(a for a in asked if a.kind == "recheck")
        lanes = frozenset(self.lanes.running)
        came = self.closer.arrivals(self.ledger, self.now, self._world.disk)
        self._record(came.facts)
        suspects = self.closer.suspects | came.suspects
        pending = self.closer.pending(self.ledger)
        wanted = Wanted(self.lanes.busy, lanes, closing, rechecks, suspects, pending)
        steps = plan(self.ledger, self.now.situation, self.settings, wanted)
        landing = {way for running in self.lanes.running.values() for way in ways(running.step)}
        self.now.alarms |= room_alarms(self.ledger, self.now.situation, self.settings, landing)
        started = [step for step in steps if self._start(step)]
        waiting = [*self._moving(), *steps]
        done = self._close(asked, closing, waiting)
        busy = started or self.lanes.running or done or came.facts or self.closer.suspects
        self._calm.end()
        full = any(key.startswith("room ") for key in self.now.alarms)
        if not (busy or steps or asked or closing or full):
            self._calm.begin(self._scene(look), self.ledger.troubles.values())
        return bool(busy)

    def _rests(self, asked: Iterable[Asked], look: Look) -> bool:
        """Whether nothing was to be done in the same world, and on drives nothing is amiss."""
        if asked or self.lanes.running or self._closing(asked):
            return False
        if not self._calm.lasts(self._scene(look)):
            return False
        return not self.closer.arrivals(self.ledger, self.now, self._world.disk)

    def _scene(self, look: Look) -> Scene:
        return scene(look, self._observer.moving, self.ledger.serial, self.today())

    def _forget(self) -> None:
        """The machine slept: each mount is taken for one that has just come."""
        self._calm.end()
        self._enrolment.forget()
        self._mounts.clear()
        self.closer.slept()

    def _moving(self) -> list[Step]:
        """Running steps that a closing day waits for; a device that hangs is said instead."""
        now, stall = self._world.clock.now(), self.settings.stall_seconds
        for name, running in self.lanes.still(ALARM_TIMES * stall).items():
            doing = what(running.step)
            says = f"{doing[:1].upper()}{doing[1:]}: the device does not answer."
            do = "Check cable and power, then take it out and put it in again."
            self.now.alarms[f"still {name}"] = Trouble(
                f"still {name}", "stalled", says, do, now, 1, now
            )
        hung = self.lanes.still(HUNG_TIMES * stall)
        return [r.step for name, r in self.lanes.running.items() if name not in hung]

    def _commands(self) -> tuple[Asked, ...]:
        """Stored commands; those that need no work are answered at once."""
        left: list[Asked] = []
        for asked in self._world.catalogue.asked():
            now = self._world.clock.now()
            if asked.kind not in AT_ONCE:
                at = min(self._asked_at.get(asked.id, asked.at), now)
                self._asked_at[asked.id] = at  # never ahead of a clock that was set back
                left.append(asked._replace(at=at))
                continue
            try:
                facts = facts_of(asked)
            except TakeholdError as error:
                self._record([Answered(asked.id, error.says, now)])
            else:
                self._record([*facts, Answered(asked.id, "Noted.", now)])
        return tuple(left)

    def _see(self, look: Look) -> Now:
        claimed: set[int] = set()
        sights: list[Sight] = []
        unsettled: list[str] = []
        for found in sorted(look.found, key=lambda f: f.arrival.root.volume.mount_id):
            sight = self._enrol(found, claimed)
            claimed.add(sight.load)
            sights.append(sight)
            for file in sight.files:
                if untaken(self.ledger, sight.load, ((file.path, file.stamp),)) and not settled(
                    file, self.settings.settle_seconds, watched=sight.watched
                ):
                    label = self.ledger.loads[sight.load].label
                    unsettled.append(f"{shown(label)}/{display(file.path)}")
        known = [sight for sight in sights if not sight.anew]
        self._record(gone_unread(self.ledger, known, self._trouble))
        now = self._world.clock.now()
        self._record(out_of_reach(self.ledger, sights, now, self._trouble))
        listed = [found.arrival.root for found in look.found]
        before = self.now.alarms
        self._record(unlisted(self.ledger, self.today(), listed, look.alarms, before))
        situation = Situation(
            self._world.clock.now(),
            self.today(),
            tuple(sights),
            tuple(look.targets),
            tuple(look.absent),
        )
        alarms = look.alarms | unread_alarms(self.ledger, situation)
        alarms |= unclosed_alarms(self.ledger, self.settings, self._world.clock.local())
        return Now(situation, alarms, tuple(unsettled), self.waking.asleep_ns)

    def _enrol(self, found: Found, claimed: set[int]) -> Sight:
        arrival, root = found.arrival, found.arrival.root
        now = self._world.clock.now()
        load, anew = self._enrolment.enrol(found, claimed, now, self.today())
        files = self._observer.sighted(found)
        return Sight(load.id, root, arrival.complete, found.watched, files, anew)

    def _closing(self, asked: Iterable[Asked]) -> dict[str, int]:
        closing = {a.about: a.at for a in asked if a.kind == "wrap"}
        for day in wraps_due(self.ledger, self.settings, self._world.clock.local()):
            closing.setdefault(day, self.closer.since(day))
        return closing

    def _start(self, step: Step) -> bool:
        if not self.lanes.free(step):
            return False
        previous: dict[int, Recording] = {}
        files: dict[bytes, bytes] = {}
        if isinstance(step, Transfer):
            for owed in step.owed:
                versions = self.ledger.versions(owed.recording.load, owed.recording.path)
                if len(versions) > 1:
                    previous[owed.recording.id] = versions[-2]
        elif isinstance(step, Publish):
            try:
                files = self.closer.days.files_for(self.ledger, step)
            except TakeholdError as error:
                key = publish_key(step.day, step.number, step.target.root.identity)
                self._record([self._trouble(key, error)])
                return False
        blocks = self._blocks(step) if isinstance(step, Compare) else {}
        self.lanes.start(Work(step, previous, files, self.waking.asleep_ns, blocks))
        return True

    def _blocks(self, step: Compare) -> dict[int, ChannelBlocks]:
        """What the catalogue keeps for a comparison."""
        known = (self._world.catalogue.channel_blocks(r.id) for r, _ in step.pairs)
        return {blocks.recording: blocks for blocks in known if blocks is not None}

    def _close(self, asked: Iterable[Asked], closing: dict[str, int], waiting: list[Step]) -> bool:
        facts = self.closer.close(self.ledger, asked, closing, waiting, self.now, self._world.disk)
        self._record(facts)
        return bool(facts)
