"""Copies read again, whole: each is what was proven, or is broken."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from takehold.decide.durable import read_again
from takehold.decide.keys import prove_key
from takehold.engine.outcome import Outcome, Tell
from takehold.engine.reading import read_whole
from takehold.model.errors import FileMissing, TakeholdError, VolumeGone
from takehold.model.facts import Broken, Proven
from takehold.model.recording import Copy, Recording
from takehold.model.situation import Target
from takehold.ports.clock import Clock
from takehold.ports.disk import DestinationTree


@dataclass(frozen=True, slots=True)
class Recheck:
    """Reads copies of one drive; `read` is called with each buffer and may raise to end it."""

    tree: DestinationTree
    target: Target
    clock: Clock
    tell: Tell
    read: Callable[[], None]

    def holds(self, recording: Recording, copy: Copy) -> bool:
        """Tell what a copy is; False if it is not what was proven. Raises VolumeGone."""
        copy = copy._replace(disks=self.target.root.disks)
        key = prove_key(copy)
        try:
            with self.tree.open(copy.path) as reader:
                digests, seen = read_whole(reader, recording.stamp.size, self.read)
                mtime_ns = reader.stamp().mtime_ns
        except FileMissing:
            self.tell(Outcome((broken(copy, "missing", self.clock),), key))
            return False
        except VolumeGone:
            raise
        except TakeholdError as error:
            self.tell(Outcome(key=key, error=error))
            return True
        if digests != recording.digests:
            self.tell(Outcome((broken(copy, "altered", self.clock),), key))
            return False
        volume = self.target.root.volume
        proof = read_again(copy.proof, volume, self.clock.now(), seen, mtime_ns)
        self.tell(Outcome((Proven(copy._replace(proof=proof)),), key))
        return True


def broken(copy: Copy, why: str, clock: Clock) -> Broken:
    """That a copy is no more, as of now."""
    return Broken(copy.recording, copy.destination, copy.root, copy.path, why, clock.now())
