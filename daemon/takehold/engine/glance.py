"""A glance at the drives: whether what is known to stand there still does.

Copies by their stamps: one with another time is a suspect, and is read again. The files of a
manifest are small, and are read. A drive that fails raises NoAnswer; a catalogue, what it raises.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field

from takehold.decide.keys import prove_key
from takehold.decide.manifest_names import names_of
from takehold.decide.place import day_folder
from takehold.decide.plan import CopyName
from takehold.engine.days import Days
from takehold.engine.patience import NoAnswer, Patience, of_a_device
from takehold.engine.reading import read_up
from takehold.formats.manifest_doc import MANIFEST_CAP
from takehold.model.errors import EvidenceError
from takehold.model.facts import Broken, Fact, Met, Revised, Unpublished
from takehold.model.ledger import Ledger
from takehold.model.recording import Copy, Recording, Stamp
from takehold.model.situation import Situation, Target
from takehold.ports.clock import Clock
from takehold.ports.disk import DestinationTree, Disk

# A drive that came may be an older clone of itself: so many days of it are looked at, and those of
# the cards that are in. What is older is looked at when it is closed or rechecked.
RECENT_DAYS = 8


@dataclass(slots=True)
class Shown:
    """What a glance showed: facts, and copies that are to be read again."""

    facts: list[Fact] = field(default_factory=list)
    suspects: frozenset[CopyName] = frozenset()

    def add(self, other: Shown) -> None:
        """Both together."""
        self.facts += other.facts
        self.suspects |= other.suspects

    def __bool__(self) -> bool:
        """Whether anything is amiss."""
        return bool(self.facts or self.suspects)


class Glance:
    """Remembers which days of which mounts were looked at since they came."""

    def __init__(self, clock: Clock, patience: Patience) -> None:
        self._clock = clock
        self._patience = patience
        self._seen: set[tuple[str, str]] = set()

    def forget(self) -> None:
        """Take each mount for one that has just come."""
        self._seen.clear()

    def day(
        self, ledger: Ledger, days: Days, day: str, targets: Iterable[Target], disk: Disk
    ) -> Shown:
        """What of one day is amiss; a drive that does not answer, or hangs, shows nothing."""
        all_ = Shown()
        for target in targets:
            with suppress(NoAnswer):
                all_.add(self._copies(ledger, day, target, disk))
            with suppress(NoAnswer):
                all_.add(self.manifest(ledger, days, day, target, disk))
        return all_

    def arrivals(self, ledger: Ledger, days: Days, now: Situation, disk: Disk) -> Shown:
        """What is amiss on drives that came since; each day is looked at until it is well.

        A drive that fails is asked again the next time.
        """
        here = {t.root.volume.mount_id + t.root.identity: t for t in now.targets}
        recent = set(sorted(ledger.of_day)[-RECENT_DAYS:])
        recent |= {ledger.loads[sight.load].day for sight in now.sights}
        wanted = {(mount, day) for mount in here for day in recent}
        self._seen &= wanted
        all_ = Shown()
        for mount, day in sorted(wanted - self._seen, key=lambda pair: pair[::-1]):
            with suppress(NoAnswer):
                found = self._copies(ledger, day, here[mount], disk)
                found.add(self.manifest(ledger, days, day, here[mount], disk))
                all_.add(found)
                if not found:
                    self._seen.add((mount, day))
        return all_

    def _copies(self, ledger: Ledger, day: str, target: Target, disk: Disk) -> Shown:
        """Copies that are missing or of another length, and those with another time."""
        root, lost, suspects = target.root.identity, Shown(), set()
        mine = [(r, c) for r in ledger.day(day) for c in ledger.copies_of(r.id) if c.root == root]

        def look() -> list[Stamp | None]:
            with disk.destination(target.root) as tree:
                return [tree.stamp_of(copy.path) for _, copy in mine]

        with of_a_device():
            stamps = self._patience.ask(f"glance {root}", look) if mine else []
        for (recording, copy), there in zip(mine, stamps, strict=True):
            if there is None or there.size != recording.stamp.size:
                lost.facts.append(self._broken(recording, copy, there))
            elif copy.proof.mtime_ns not in (0, there.mtime_ns):
                suspects.add(copy)
        doubtful = [c for c in suspects if prove_key(c) not in ledger.troubles]
        lost.suspects = frozenset((c.recording, c.root, c.path) for c in doubtful)
        return lost

    def _broken(self, recording: Recording, copy: Copy, there: Stamp | None) -> Broken:
        why, at = "missing" if there is None else "altered", self._clock.now()
        return Broken(recording.id, copy.destination, copy.root, copy.path, why, at)

    def manifest(self, ledger: Ledger, days: Days, day: str, target: Target, disk: Disk) -> Shown:
        """The newest manifest that a drive has lost is put there again.

        Where it, or a list of it, has other bytes, it is left alone: ours gets the next number.
        """
        newest, root = ledger.newest(day), target.root.identity
        if newest is None or (day, newest.number, root) not in ledger.published:
            return Shown()

        def look() -> dict[str, bytes] | None:
            with disk.destination(target.root) as tree:
                return _found(days, newest, tree)

        with of_a_device():
            found = self._patience.ask(f"glance {root}", look)
        if found is not None and len(found) < len(names_of(day, newest.number)):
            with of_a_device():
                elsewhere = days.is_of_another(ledger, newest)
            return Shown([] if elsewhere else [Unpublished(day, newest.number, root)])
        if found is not None and _is_whole(ledger, days, newest, root, found):
            return Shown()
        about, at = (day, newest.number, "", target.name, root), self._clock.now()
        met = Met(*about, at, ours=False, loose=False)
        return Shown([Unpublished(day, newest.number, root), met])


def _found(days: Days, revised: Revised, tree: DestinationTree) -> dict[str, bytes] | None:
    """A revision's files on a drive as far as they are there; None if one is too long."""
    folder = day_folder(days.settings.production, revised.day) + b"/"
    found: dict[str, bytes] = {}
    for what, name in names_of(revised.day, revised.number).items():
        path = folder + name.encode()
        stamp = tree.stamp_of(path)
        if stamp is None:
            continue
        if stamp.size > MANIFEST_CAP:
            return None
        with tree.open(path) as reader:
            found[what] = read_up(reader, stamp.size)
    return found


def _is_whole(
    ledger: Ledger, days: Days, revised: Revised, root: str, found: dict[str, bytes]
) -> bool:
    """Whether they hold what was put there: asked by the loop, for a day may have to be woken."""
    with of_a_device():  # the laptop's own keep
        try:
            kept = days.kept_files(ledger, revised.day, revised.number)
        except EvidenceError:
            return True  # the kept one is altered: the next revision comes in its place
    return days.is_whole(ledger, revised, root, found, kept)
