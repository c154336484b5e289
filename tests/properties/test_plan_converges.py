"""The loop converges: whatever happens in between, in the end everything owed stands proven.

A tiny simulated world: two cards, three drives, and whoever carries out what plan() says, in any
order, with failures, while cards and drives come and go and files arrive and change. No bytes are
moved; a copy is remembered as what was read when it was made.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from planworld import (
    DAY,
    HERE,
    NOON,
    described,
    digests,
    load,
    reading,
    root,
    settings,
    target,
)
from takehold.decide.backoff import trouble
from takehold.decide.enrol import untaken
from takehold.decide.inventory import Described, take_in
from takehold.decide.judge import judge
from takehold.decide.keys import compare_key
from takehold.decide.plan import (
    Wanted,
    land_key,
    plan,
    prove_key,
    publish_key,
    rec_key,
    stock_key,
)
from takehold.model import facts as f
from takehold.model.comparison import Comparison
from takehold.model.errors import SourceChanged, TakeholdError, WorldError
from takehold.model.finding import Relation, Verdict
from takehold.model.ledger import Ledger
from takehold.model.recording import Copy, Digests, Proof, Reading, Recording, Seen, Stamp
from takehold.model.settings import Role
from takehold.model.situation import Sight, Sighted, Situation, Target
from takehold.model.step import (
    CatchUp,
    Compare,
    Confirm,
    Prove,
    Publish,
    Step,
    TakeStock,
    Transfer,
    lane,
    recordings_of,
)

# Seeds of a chance of its own: one draw for many decisions.
CHANCES = st.integers(0, 2**32).map(Random)
FAULTS = st.sampled_from([0.0, 0.1, 0.4, 0.4])
SETTINGS = settings(recheck_after_days=1)
CARDS = {1: load(1), 2: load(2, Role.BACKUP)}
DRIVES = ("shuttle-1", "shuttle-2", "raid")
PATHS = (b"T01.WAV", b"t01.wav", b"T02.WAV", b"LOG.TXT")
FAULT = WorldError("It failed.", "Look at it.")
Luck = Callable[[], bool]


@dataclass(frozen=True)
class OnCard:
    """A file as it lies on a card; `head` is its metadata."""

    audio: bytes | None
    head: bytes
    stamp: Stamp

    @property
    def content(self) -> bytes:
        return self.head + b"|" + (self.audio or b"")


class World:
    """What is really so, and the ledger of what was found out."""

    def __init__(self) -> None:
        self.ledger = Ledger()
        self.ledger.apply(f.LoadSeen(card) for card in CARDS.values())
        self.now = NOON
        self.cards: dict[int, dict[bytes, OnCard]] = {1: {}, 2: {}}
        self.inserted: set[int] = set()
        self.plugged: set[str] = set()
        self.full: set[str] = set()
        self.truth: dict[tuple[int, bytes, Stamp], OnCard] = {}
        self.misread: set[tuple[int, bytes, Stamp]] = set()
        self.drives: dict[tuple[str, bytes], Digests] = {}
        self.wrong = 0

    # -- what people do

    def put(self, card: int, path: bytes, audio: bytes, head: bytes) -> None:
        """A file is recorded, or its metadata is edited."""
        self.now += 1
        heard = None if path.endswith(b".TXT") else audio
        size = len(head) + 1 + len(audio)
        file = OnCard(heard, head if heard else head + audio, Stamp(size, self.now * 10**9))
        self.cards[card][path] = file
        self.truth[(card, path, file.stamp)] = file

    def look(self) -> Situation:
        """One look; what was listed is recorded, as the engine does."""
        sights = []
        for card in sorted(self.inserted):
            files = tuple((p, x.stamp) for p, x in sorted(self.cards[card].items()))
            lacking = untaken(self.ledger, card, files)
            self.ledger.apply([f.Listed(card, self.now, len(files), (), (), lacking)])
            seen = tuple(Sighted(path, stamp, 0) for path, stamp in files)
            sights.append(Sight(card, root(f"card {card}"), True, False, seen))
        targets = [
            target(name, free=0 if name in self.full else 10**12)
            for name in DRIVES
            if name in self.plugged
        ]
        absent = tuple(name for name in DRIVES if name not in self.plugged)
        return Situation(self.now, DAY, tuple(sights), tuple(targets), absent)

    # -- what a step finds

    def fail(self, key: str, error: TakeholdError = FAULT) -> None:
        self.ledger.apply([trouble(key, error, self.ledger.troubles.get(key), self.now)])

    def done(self, key: str, *facts: f.Fact) -> None:
        self.ledger.apply(facts)
        if key in self.ledger.troubles:
            self.ledger.apply([f.TroubleOver(key)])

    def there(self, at: Target) -> bool:
        return at.name in self.plugged and at.name not in self.full

    def read(self, recording: Recording, luck: Luck) -> Reading | None:
        """A read of the card as it is now: None if it failed; each file is misread once at most."""
        card, path = recording.load, recording.path
        file = self.cards[card].get(path)
        if card not in self.inserted or file is None or luck():
            self.fail(rec_key(recording.id))
            return None
        if file.stamp != recording.stamp:
            self.fail(rec_key(recording.id), SourceChanged("It changed."))
            return None
        found = reading(file.audio, file.head, self.now)
        key = (card, path, file.stamp)
        if key not in self.misread and luck():
            self.misread.add(key)
            self.wrong += 1
            # In all of it, or around the audio only: then the counterpart shows the same audio.
            noise = b"misread %d" % self.wrong
            audio = file.audio if luck() else file.audio and noise
            return reading(audio, file.head + noise, self.now)
        return found

    def land(self, recording: Recording, at: Target, bytes_: Digests, luck: Luck) -> None:
        """A copy is made, or fails."""
        key = land_key(recording.id, at.root.identity)
        if not self.there(at) or luck():
            self.fail(key)
            return
        self.drives[(at.root.identity, recording.place)] = bytes_
        proof = Proof(self.now, Seen.MEDIUM, durable=True)
        copy = Copy(recording.id, at.name, at.root.identity, at.root.disks, recording.place, proof)
        self.done(key, f.Proven(copy))

    # -- the steps, as the engine carries them out

    def perform(self, step: Step, luck: Luck) -> None:
        self.now += 1
        match step:
            case TakeStock():
                self.take_stock(step, luck)
            case Transfer(owed=owed):
                for one in owed:
                    self.transfer(one.recording, one.targets, luck)
            case Confirm(recordings=recordings):
                for recording in recordings:
                    self.transfer(recording, (), luck)
            case CatchUp():
                self.catch_up(step, luck)
            case Prove():
                self.prove(step, luck)
            case Compare():
                for one in (step, *step.then):
                    self.compare(one, luck)
            case Publish(target=at, day=day, number=number):
                key = publish_key(day, number, at.root.identity)
                if self.there(at) and not luck():
                    done = f.Published(day, number, at.name, at.root.identity, self.now)
                    self.done(key, done)
                else:
                    self.fail(key)

    def take_stock(self, step: TakeStock, luck: Luck) -> None:
        found = []
        for file in step.files:
            lies = self.cards[step.load.id].get(file.path)
            if step.load.id not in self.inserted or lies is None or luck():
                self.fail(stock_key(step.load.id, file.path))
            elif lies.stamp == file.stamp:
                self.done(stock_key(step.load.id, file.path))
                found.append(Described(file, described(lies.audio)))
        self.ledger.apply(take_in(self.ledger, step.load, tuple(found), SETTINGS, HERE))

    def transfer(self, recording: Recording, targets: tuple[Target, ...], luck: Luck) -> None:
        found = self.read(recording, luck)
        if found is None:
            return
        key = rec_key(recording.id)
        versions = self.ledger.versions(recording.load, recording.path)
        previous = versions[-2] if len(versions) > 1 and targets else None
        if previous is not None and previous.digests == found.digests:
            same = f.SameBytes(previous.id, recording.stamp)
            self.done(key, f.Gone(recording.id), same, f.WasRead(previous.id, found))
            return
        self.done(key, f.WasRead(recording.id, found))
        if recording.digests not in (None, found.digests):
            self.fail(key, SourceChanged("Other bytes.", code="reads-differ"))
            return
        for at in targets:
            self.land(recording, at, found.digests, luck)

    def catch_up(self, step: CatchUp, luck: Luck) -> None:
        for recording, copy, home in step.pairs:
            if (not self.there(home) and home.name not in self.full) or luck():
                self.fail(prove_key(copy))
                continue
            self.done(prove_key(copy))
            self.land(recording, step.target, self.drives[(copy.root, copy.path)], luck)

    def compare(self, step: Compare, luck: Luck) -> None:
        sides = [tuple(r.id for r, _ in side) for side in (step.ours, step.theirs)]
        key = compare_key(*sides)
        if step.target.name not in self.plugged or luck():
            self.fail(key)
        else:
            found = Comparison(*sides, Relation.DIFFERENT, self.now, frame=0)
            self.done(key, f.Compared(found))

    def prove(self, step: Prove, luck: Luck) -> None:
        for _, copy in step.pairs:
            key = prove_key(copy)
            if step.target.name not in self.plugged or luck():
                self.fail(key)
            elif luck():
                gone = f.Broken(
                    copy.recording, copy.destination, copy.root, copy.path, "missing", self.now
                )
                self.drives.pop((copy.root, copy.path))
                self.done(key, gone)
            else:
                again = copy._replace(proof=copy.proof._replace(at=self.now))
                self.done(key, f.Proven(again))


class Shooting(RuleBasedStateMachine):
    """A day with everything that can happen in it."""

    def __init__(self) -> None:
        super().__init__()
        self.world = World()
        self.world.inserted, self.world.plugged = set(CARDS), {"shuttle-1", "shuttle-2"}
        self.record_both(b"T01.WAV", 97)
        self.running: dict[str, Step] = {}
        self.closing: dict[str, int] = {}

    def due(self) -> tuple[Step, ...]:
        """What plan() says now."""
        busy = frozenset().union(*map(recordings_of, self.running.values()))
        wanted = Wanted(busy, closing=self.closing)
        return plan(self.world.ledger, self.world.look(), SETTINGS, wanted)

    @rule(card=st.sampled_from([1, 2]), path=st.sampled_from(PATHS), take=st.sampled_from(b"abc"))
    def record(self, card: int, path: bytes, take: int) -> None:
        self.world.put(card, path, bytes([take]) * 9, b"")

    @rule(path=st.sampled_from(PATHS), take=st.sampled_from(b"abc"))
    def record_on_both(self, path: bytes, take: int) -> None:
        self.record_both(path, take)

    def record_both(self, path: bytes, take: int) -> None:
        for card in CARDS:
            self.world.put(card, path, bytes([take]) * 9, b"")

    @rule(card=st.sampled_from([1, 2]), path=st.sampled_from(PATHS), word=st.sampled_from(b"xy"))
    def edit(self, card: int, path: bytes, word: int) -> None:
        file = self.world.cards[card].get(path)
        if file is not None and file.audio is not None:
            self.world.put(card, path, file.audio, bytes([word]))

    @rule(card=st.sampled_from([1, 2]), is_in=st.booleans())
    def move_card(self, card: int, is_in: bool) -> None:
        (self.world.inserted.add if is_in else self.world.inserted.discard)(card)

    @rule(name=st.sampled_from(DRIVES), is_in=st.booleans(), full=st.booleans())
    def move_drive(self, name: str, is_in: bool, full: bool) -> None:
        (self.world.plugged.add if is_in else self.world.plugged.discard)(name)
        (self.world.full.add if full and is_in else self.world.full.discard)(name)

    @rule(seconds=st.sampled_from([1, 30, 400, 90_000, -50_000]))
    def wait(self, seconds: int) -> None:
        """Also a clock that is set back."""
        self.world.now += seconds

    @rule()
    def close(self) -> None:
        self.closing[DAY] = self.world.now

    def free(self) -> dict[str, Step]:
        """The first step of each lane that has nothing to do."""
        first: dict[str, Step] = {}
        for step in self.due():
            first.setdefault(lane(step), step)
        return {name: step for name, step in first.items() if name not in self.running}

    @rule(chance=CHANCES)
    def start(self, chance: Random) -> None:
        """A step begins in its lane; the world goes on meanwhile."""
        free = self.free()
        if free:
            name = chance.choice(sorted(free))
            self.running[name] = free[name]

    @precondition(lambda self: self.running)
    @rule(chance=CHANCES, faults=FAULTS)
    def finish(self, chance: Random, faults: float) -> None:
        """A running step ends: parts of it went well, parts did not."""
        step = self.running.pop(chance.choice(sorted(self.running)))
        self.world.perform(step, lambda: chance.random() < faults)

    def work(self, chance: Random, faults: float, count: int) -> None:
        """Some steps, one after the other, each of any free lane."""
        for _ in range(count):
            free = self.free()
            if not free:
                return
            step = free[chance.choice(sorted(free))]
            self.world.perform(step, lambda: chance.random() < faults)
            self.no_step_is_wrong()
            self.ready_is_true()

    @rule(chance=CHANCES, faults=FAULTS, count=st.integers(1, 6))
    def work_a_little(self, chance: Random, faults: float, count: int) -> None:
        self.work(chance, faults, count)

    @rule(chance=CHANCES)
    def work_to_the_end(self, chance: Random) -> None:
        """All that can be done now, without a fault."""
        for _ in range(3):
            self.work(chance, 0, 40)
            self.world.now += 301

    @invariant()
    def no_step_is_wrong(self) -> None:
        """One step a recording, no copy that is there already, nothing for what is away."""
        world, met = self.world, set()
        for step in self.running.values():
            met |= recordings_of(step)
        for step in self.due():
            ids = recordings_of(step)
            assert not ids & met, step
            met |= ids
            match step:
                case TakeStock(load=card):
                    assert card.id in world.inserted
                case Transfer(owed=owed):
                    for one in owed:
                        assert one.recording.load in world.inserted
                        assert one.targets
                        for at in one.targets:
                            self.lacks(one.recording, at)
                case Confirm(recordings=recordings):
                    assert {r.load for r in recordings} <= world.inserted
                case CatchUp(target=at, pairs=pairs):
                    for recording, copy, home in pairs:
                        self.lacks(recording, at)
                        assert home.name in world.plugged
                        assert copy in world.ledger.copies_of(recording.id)
                case Prove(target=at, pairs=proofs):
                    assert at.name in world.plugged
                    assert all(copy.root == at.root.identity for _, copy in proofs)
                case Compare(target=at, pairs=both):
                    assert at.name in world.plugged
                    assert {copy.root for _, copy in both} == {at.root.identity}
                case Publish(target=at):
                    assert at.name in world.plugged

    def lacks(self, recording: Recording, at: Target) -> None:
        assert at.name in self.world.plugged
        assert at.name not in self.world.full
        assert at.root.identity not in {c.root for c in self.world.ledger.copies_of(recording.id)}

    @invariant()
    def ready_is_true(self) -> None:
        """READY means: each file as it lay there is on two drives, and was read right."""
        world = self.world
        judged = judge(world.ledger, DAY, SETTINGS)
        if judged.verdict is not Verdict.READY:
            return
        for standing in judged.view.files:
            if not standing.current:
                continue
            mine = standing.recording
            true = digests(world.truth[(mine.load, mine.path, mine.stamp)].content)
            assert mine.digests == true
            assert standing.devices >= 2
            held = [world.drives[(c.root, c.path)] for c in standing.copies]
            assert held
            assert set(held) == {true}

    def teardown(self) -> None:
        """Everything comes back, nothing fails any more: the work comes to its end."""
        world = self.world
        world.inserted, world.plugged, world.full = set(CARDS), set(DRIVES), set()
        self.closing[DAY] = world.now
        for step in self.running.values():
            world.perform(step, lambda: False)
        self.running.clear()
        for _ in range(200):
            world.now += 301
            steps = self.due()
            if not steps:
                break
            self.no_step_is_wrong()
            world.perform(steps[0], lambda: False)
        assert self.due() == ()
        self.everything_is_proven()

    def everything_is_proven(self) -> None:
        world = self.world
        for card, files in world.cards.items():
            for path, file in files.items():
                mine = world.ledger.current(card, path)
                assert mine is not None
                true = digests(file.content)
                assert (mine.stamp, mine.digests) == (file.stamp, true)
                roots = {c.root for c in world.ledger.copies_of(mine.id)}
                assert roots == {f"uuid:{name}" for name in DRIVES}
                standing = judge(world.ledger, DAY, SETTINGS).view.of(mine.id)
                assert standing is not None
                assert standing.confirmed


TestShooting = Shooting.TestCase
TestShooting.settings = hypothesis_settings(max_examples=250, stateful_step_count=50, deadline=None)
