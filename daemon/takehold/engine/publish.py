"""Puts the files of a manifest's revision on a destination."""

from __future__ import annotations

from collections.abc import Mapping

from takehold.decide.keys import publish_key
from takehold.engine.outcome import Outcome, Tell
from takehold.engine.small_file import land_bytes
from takehold.engine.stretch import Stretch
from takehold.model.errors import NameTaken, TakeholdError
from takehold.model.facts import Met, Published
from takehold.model.step import Publish
from takehold.ports.clock import Clock
from takehold.ports.disk import DestinationTree, Disk

LISTS = (b".sha256", b".xxh64")


def publish(
    step: Publish,
    files: Mapping[bytes, bytes],
    disk: Disk,
    clock: Clock,
    tell: Tell,
    stretch: Stretch,
) -> None:
    """Land the files, and tell that they stand there, or what hinders it."""
    root = step.target.root.identity
    key = publish_key(step.day, step.number, root)
    try:
        with disk.destination(step.target.root) as tree:
            for path, data in files.items():
                _land(tree, path, data, stretch)
    except NameTaken:  # another manifest has that number there: ours gets the next one
        about = step.day, step.number, "", step.target.name, root
        tell(Outcome((Met(*about, clock.now(), ours=False, loose=False),), key))
    except TakeholdError as error:
        tell(Outcome(key=key, error=error))
    else:
        done = Published(step.day, step.number, step.target.name, root, clock.now())
        tell(Outcome((done,), key))


def _land(tree: DestinationTree, path: bytes, data: bytes, stretch: Stretch) -> None:
    """A list that stands there was written for this revision: it is as true as it was then.

    An empty one says nothing: the check of a file system after a power cut can leave it so.
    """
    try:
        land_bytes(tree, path, data, stretch.check)
    except NameTaken:
        there = tree.stamp_of(path)
        if not path.endswith(LISTS) or there is None or there.size == 0:
            raise
