"""Copies whose file system promises no durability.

While a volume stays mounted, a read may be answered by what was never stored. Once it was away and
came back, nothing but the medium can answer: such a copy is then read whole again. A read that is
known to have come from the medium settles it at once.
"""

from __future__ import annotations

from takehold.model.recording import Proof, Seen
from takehold.model.volume import Volume


def promised(proof: Proof, volume: Volume, *, durable: bool) -> Proof:
    """The proof of a copy just written; without the promise, with where it was written."""
    return proof._replace(durable=durable, written_on="" if durable else volume.appearance)


def came_back(proof: Proof, volume: Volume) -> bool:
    """Whether the volume was away since the copy was written, for certain."""
    return bool(proof.written_on and volume.appearance) and proof.written_on != volume.appearance


def wants_read(proof: Proof, volume: Volume) -> bool:
    """Whether a copy is to be read again for this.

    One of which it is not known where it was written counts as written on what is there now: the
    read notes that.
    """
    weak = not proof.durable and not proof.remounted and volume.keeps
    return weak and bool(volume.appearance) and proof.written_on != volume.appearance


def read_again(before: Proof, volume: Volume, at: int, seen: Seen, mtime_ns: int) -> Proof:
    """The proof after another whole, equal read."""
    if before.durable or seen is Seen.MEDIUM:
        return Proof(at, seen, durable=True, mtime_ns=mtime_ns)
    remounted = before.remounted or came_back(before, volume)
    written_on = before.written_on or volume.appearance
    return Proof(at, seen, False, mtime_ns, written_on, remounted)
