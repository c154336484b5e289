"""What a whole card holds, by bytes and by channels, wherever on it."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from takehold.decide.layouts import Heard, heard
from takehold.model.finding import Counterpart, Relation
from takehold.model.recording import Digests, Recording


class Twins:
    """Answers what needs no counterpart of its own: a second backup, what was made from others."""

    def __init__(self, files: Iterable[Recording]) -> None:
        self._held = list(files)

    @cached_property  # of most cards nothing is left to ask for
    def _bytes(self) -> dict[Digests, int]:
        return {r.digests: r.id for r in self._held if r.digests is not None}

    @cached_property
    def _channels(self) -> dict[Heard, int]:
        return {c: r.id for r in self._held for c in heard(r) if c}

    def of(self, recording: Recording) -> Counterpart | None:
        """The files that hold all of it."""
        if recording.digests in self._bytes:
            twin = self._bytes[recording.digests]
            return Counterpart(recording.id, Relation.IDENTICAL, twin, others=(twin,))
        channels = [c for c in heard(recording) if c]
        holders = tuple(dict.fromkeys(self._channels[c] for c in channels if c in self._channels))
        if holders and all(c in self._channels for c in channels):
            return other_layout(recording, holders)
        return None


def other_layout(recording: Recording, others: tuple[int, ...]) -> Counterpart:
    """That its samples are in these files, whatever lies around them."""
    return Counterpart(recording.id, Relation.OTHER_LAYOUT, others[0], others=others)
