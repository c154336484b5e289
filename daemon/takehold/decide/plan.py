"""What is due now: compare what is there with what is owed.

1. Inventory before copies, copies before second reads, and all of it before old copies are read
   again, and samples compared in between: the first step of a lane in the order given here is the
   one to do. What could not be read comes after its neighbours, and last of all what can be saved.
2. A recording that a running step works on (`busy`) is in no other step. Which proofs are old is
   asked while nothing else goes on, or somebody waits: with months of copies it takes long.
3. Work that failed waits until its trouble's `retry_at`.
4. A card is read once for all destinations; what lacks a copy later gets it from a proven one
   that can be read, and from the card while there is none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import TypeVar

from takehold.decide.backoff import due, given_up
from takehold.decide.comparing import cards_at_work, comparison, open_pairs
from takehold.decide.confirm import Closing, second_reads
from takehold.decide.keys import land_key, prove_key, publish_key, rec_key, stock_key
from takehold.decide.looked_into import undescribed
from takehold.decide.measuring import measurement, to_measure
from takehold.decide.reads import Reads, reads_of
from takehold.decide.recognise import sample
from takehold.decide.salvage import salvage_of
from takehold.decide.settle import settled
from takehold.decide.sides import production_folder
from takehold.decide.stale import days_to_weigh, is_stale
from takehold.model.facts import Asked, Revised
from takehold.model.ledger import Ledger
from takehold.model.recording import Copy, Recording
from takehold.model.settings import Settings
from takehold.model.situation import Sight, Sighted, Situation, Target
from takehold.model.step import (
    CatchUp,
    Confirm,
    Owed,
    Prove,
    Publish,
    Recognise,
    Step,
    TakeStock,
    Transfer,
    lane,
    recordings_of,
)

# After each batch all is weighed again: of small files the less often, the better.
STOCK_FILES = 5_000
BATCH_FILES = 5_000
BATCH_BYTES = 2 * 10**9
MEGABYTE = 10**6

T = TypeVar("T")
# Recording, root and path.
CopyName = tuple[int, str, bytes]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the plan needs beside the facts: running work, days being closed, rechecks asked.

    `lanes` are at work: a step for one of them is due, but claims no recording yet. `suspects`
    are copies that show another time than when they were proven. `pending` says that a manifest
    that stands may be written anew.
    """

    busy: frozenset[int] = frozenset()
    lanes: frozenset[str] = frozenset()
    closing: Closing = field(default_factory=dict)
    rechecks: tuple[Asked, ...] = ()
    suspects: frozenset[CopyName] = frozenset()
    pending: bool = False

    @property
    def awaited(self) -> bool:
        """Whether somebody waits for all that is owed."""
        return bool(self.closing or self.rechecks or self.pending)


def plan(ledger: Ledger, now: Situation, settings: Settings, wanted: Wanted) -> tuple[Step, ...]:
    """The steps that are due, in order; no two that can begin touch one recording."""
    steps: list[Step] = []
    taken = set(wanted.busy)
    for sight in now.sights:
        for step in _card(ledger, now, settings, sight, wanted, taken):
            steps.append(step)
            taken |= _claimed(step, wanted)
    proofs: list[Step] = []
    rest = not cards_at_work(steps, wanted.lanes)
    for target in now.targets:
        steps += [
            Publish(target, day, number)
            for day, number in _unpublished(ledger, target, settings)
            if due(ledger.troubles.get(publish_key(day, number, target.root.identity)), now.now)
        ]
        late = _late(ledger, now, settings, target, taken)
        batch = tuple(_batch(late, lambda p: p[0].stamp.size, _room([target], settings)))
        if batch:
            steps.append(CatchUp(target, batch))
            taken |= _claimed(steps[-1], wanted)
            continue
        weigh = wanted.awaited or (rest and lane(Prove(target, ())) not in wanted.lanes)
        old = _stale(ledger, now, settings, target, wanted, taken, everything=weigh)
        if again := tuple(_batch(old, lambda p: p[0].stamp.size)):
            proofs.append(Prove(target, again))
            taken |= _claimed(proofs[-1], wanted)
    if rest:
        steps += _comparisons(ledger, now, settings, wanted, taken)
    return (*steps, *proofs)


def _comparisons(
    ledger: Ledger, now: Situation, settings: Settings, wanted: Wanted, taken: set[int]
) -> Iterator[Step]:
    """Of each drive one recording to measure and one pair of sides, in no other step.

    Measures come first: where they tell that two sides are the same, nothing is compared.
    """
    about = ledger, settings, wanted.closing, now.now
    pairs, unheard = (open_pairs(*about), to_measure(*about)) if now.targets else ((), ())
    waiting = {recording.id for recording in unheard}
    for target in now.targets:
        steps: list[Step] = [*measurement(ledger, target, unheard, taken)]
        for step in (*steps, *comparison(ledger, target, pairs, taken | waiting)):
            yield step
            taken |= _claimed(step, wanted)


def _claimed(step: Step, wanted: Wanted) -> set[int]:
    return set() if lane(step) in wanted.lanes else recordings_of(step)


def _card(
    ledger: Ledger,
    now: Situation,
    settings: Settings,
    sight: Sight,
    wanted: Wanted,
    taken: set[int],
) -> Iterator[Step]:
    load = ledger.loads[sight.load]
    if sight.anew:
        files = sample(ledger, load.id, ((file.path, file.stamp) for file in sight.files))
        yield Recognise(load, sight.root, files)
        return
    new, here = _sort(ledger, now, settings, sight, wanted.busy)
    failed = [file for file in new if stock_key(load.id, file.path) in ledger.troubles]
    fresh = [file for file in new if file not in failed] if failed else new
    if fresh:
        yield TakeStock(load, sight.root, tuple(fresh[:STOCK_FILES]))
    free = [r for r in here if r.id not in taken and not _given_up(ledger, r, sight)]
    owed = [o for r in free if (o := _owed(ledger, now, settings, r)) is not None]
    owed.sort(key=lambda o: rec_key(o.recording.id) in ledger.troubles)
    if owed:
        room = _room((t for o in owed for t in o.targets), settings)
        yield Transfer(sight.root, tuple(_batch(owed, lambda o: o.recording.stamp.size, room)))
        return
    if failed:
        yield TakeStock(load, sight.root, tuple(failed[:STOCK_FILES]))
    if new:
        return
    again = second_reads(ledger, free, settings, wanted.closing, now.now, wanted.busy)
    if again:
        yield Confirm(sight.root, tuple(_batch(again, lambda r: r.stamp.size)))
        return
    for file in sight.files:
        known = ledger.current(load.id, file.path)
        if known is not None and known.stamp == file.stamp and known.id not in taken:
            roomy = [t for t in now.targets if has_room(t, known.stamp.size, settings)]
            if (step := salvage_of(ledger, known, sight.root, roomy, now.now)) is not None:
                yield step
                return


def _given_up(ledger: Ledger, recording: Recording, sight: Sight) -> bool:
    return given_up(ledger.troubles.get(rec_key(recording.id)), watched=sight.watched)


def _sort(
    ledger: Ledger,
    now: Situation,
    settings: Settings,
    sight: Sight,
    busy: frozenset[int],
) -> tuple[list[Sighted], list[Recording]]:
    """Files to take stock of, and recordings that lie there as they are known."""
    new: list[Sighted] = []
    here: list[Recording] = []
    for file in sight.files:
        known = ledger.current(sight.load, file.path)
        if (
            known is not None
            and known.stamp == file.stamp
            and not refuted(known)
            and not undescribed(known)
        ):
            here.append(known)
        elif known is not None and known.id in busy:
            continue
        elif settled(file, settings.settle_seconds, watched=sight.watched):
            failed = ledger.troubles.get(stock_key(sight.load, file.path))
            if due(failed, now.now) and not given_up(failed, watched=sight.watched):
                new.append(file)
    return new, here


def refuted(recording: Recording) -> bool:
    """Whether later reads showed that the first one was wrong: it is copied anew."""
    return reads_of(recording) is Reads.FIRST_WRONG


def _owed(ledger: Ledger, now: Situation, settings: Settings, recording: Recording) -> Owed | None:
    """What must be read from the card: nothing where a proven copy can serve."""
    if not due(ledger.troubles.get(rec_key(recording.id)), now.now):
        return None
    lacking = lacking_targets(ledger, now, settings, recording)
    springs = _springs(ledger, now, recording) if recording.readings else []
    if not lacking or (springs and not _in_trouble(ledger, springs[0])):
        return None
    return Owed(recording, lacking)


def lacking_targets(
    ledger: Ledger, now: Situation, settings: Settings, recording: Recording
) -> tuple[Target, ...]:
    """The destinations that are there, have room, and lack this recording."""
    held = {root for root, _ in ledger.copies.get(recording.id, {})}
    return tuple(
        t
        for t in now.targets
        if t.root.identity not in held
        and has_room(t, recording.stamp.size, settings)
        and due(ledger.troubles.get(land_key(recording.id, t.root.identity)), now.now)
    )


def short_of_room(
    ledger: Ledger, now: Situation, settings: Settings, landing: AbstractSet[tuple[int, str]]
) -> Iterator[tuple[Target, int]]:
    """Destinations that lack files and have no room for them, and how many.

    `landing` are recordings on their way to a root: their room is reserved there.
    """
    ours = production_folder(settings)
    for target in now.targets:
        root = target.root.identity
        count = sum(
            not has_room(target, ledger.size_of(number), settings)
            and ledger.is_below(number, ours)
            and (number, root) not in landing
            for number in ledger.lacking(root)
        )
        if count:
            yield target, count


def has_room(target: Target, size: int, settings: Settings) -> bool:
    """Whether a file of `size` bytes leaves the reserve free."""
    return target.free_bytes >= size + settings.reserve_megabytes * MEGABYTE


def _springs(ledger: Ledger, now: Situation, recording: Recording) -> list[tuple[Copy, Target]]:
    """The proven copies on destinations that are there, those that could not be read last."""
    present = {t.root.identity: t for t in now.targets}
    found = [
        (copy, present[copy.root])
        for copy in ledger.copies_of(recording.id)
        if copy.root in present and due(ledger.troubles.get(prove_key(copy)), now.now)
    ]
    return sorted(found, key=lambda spring: _in_trouble(ledger, spring))


def _in_trouble(ledger: Ledger, spring: tuple[Copy, Target]) -> bool:
    return prove_key(spring[0]) in ledger.troubles


def _late(
    ledger: Ledger, now: Situation, settings: Settings, target: Target, taken: set[int]
) -> Iterator[tuple[Recording, Copy, Target]]:
    """What a drive lacks and another one can give."""
    ours, here = production_folder(settings), {t.root.identity for t in now.targets}
    for rid in sorted(ledger.lacking(target.root.identity) - taken):
        if not ledger.stands_on(rid, here) or not ledger.is_below(rid, ours):
            continue
        if not has_room(target, ledger.size_of(rid), settings):
            continue
        recording = ledger.recordings[rid]
        springs = _springs(ledger, now, recording)
        if springs and _may_land(ledger, now, settings, recording, target):
            yield recording, *springs[0]


def _stale(
    ledger: Ledger,
    now: Situation,
    settings: Settings,
    target: Target,
    wanted: Wanted,
    taken: set[int],
    *,
    everything: bool,
) -> Iterator[tuple[Recording, Copy]]:
    """Copies to be read again; without `everything` the suspects only.

    Day by day, the oldest proof first: who takes no more wakes no more days.
    """
    ours, root = production_folder(settings), target.root.identity
    asked_at = max((a.at for a in wanted.rechecks if a.about in ("", target.name)), default=None)
    suspects = {rid for rid, _, _ in wanted.suspects}
    groups: Iterable[set[int]] = [suspects]
    if everything:
        days = days_to_weigh(ledger, target, now.now, settings, asked_at, suspects)
        groups = (ledger.held_of(day, root) for day in days)
    for group in groups:
        mine = [r for r in sorted(group - taken) if ledger.day_of(r) and ledger.is_below(r, ours)]
        pairs = [
            (ledger.recordings[rid], copy)
            for rid in mine
            for copy in ledger.copies_of(rid)
            if copy.root == root
            and (
                (rid, root, copy.path) in wanted.suspects
                or (everything and is_stale(ledger, copy, target, now.now, settings, asked_at))
            )
        ]
        pairs.sort(key=lambda pair: (pair[1].proof.at, pair[0].id))
        yield from pairs


def _may_land(
    ledger: Ledger, now: Situation, settings: Settings, recording: Recording, target: Target
) -> bool:
    key = land_key(recording.id, target.root.identity)
    return (
        not refuted(recording)
        and has_room(target, recording.stamp.size, settings)
        and due(ledger.troubles.get(key), now.now)
    )


def _unpublished(ledger: Ledger, target: Target, settings: Settings) -> Iterator[tuple[str, int]]:
    root, ours = target.root.identity, production_folder(settings)
    for day, revisions in ledger.revisions.items():
        numbers = [revision.number for revision in revisions if _is_wanted(ledger, revision, root)]
        mine = ledger.held_of(day, root) if numbers else ()
        if any(ledger.is_below(rid, ours) for rid in mine):
            yield from ((day, number) for number in numbers)


def _is_wanted(ledger: Ledger, revision: Revised, root: str) -> bool:
    stands = (revision.day, revision.number, root) in ledger.published
    return not stands and not ledger.name_taken(revision, root)


def _room(targets: Iterable[Target], settings: Settings) -> int:
    """What a batch may hold so that the reserve stays free on each destination."""
    free = min((t.free_bytes for t in targets), default=BATCH_BYTES)
    return min(BATCH_BYTES, free - settings.reserve_megabytes * MEGABYTE)


def _batch(items: Iterable[T], size_of: Callable[[T], int], most: int = BATCH_BYTES) -> Iterator[T]:
    """The first items up to a batch's limits, at least one."""
    total = 0
    for number, item in enumerate(items):
        total += size_of(item)
        if number and (number >= BATCH_FILES or total > most):
            return
        yield item
