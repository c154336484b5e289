"""What holds after an end of power, at once and once all is quiet: no line of the product is used.

Beside what holds after a kill (`kills_checker`): whatever takehold had said to a person before the
power ended is so. What the check of a file system without a journal has emptied or cut off
(`spoiled`) counts for nothing: no record, no manifest and no word of takehold may speak of it, and
it is left alone.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from crash.kills_checker import (
    catalogue,
    no_false_word,
    one_paper,
    papers_hold,
    proven_papers,
    revisions,
)
from faultlab.checker import finals, temporaries, whole

LATE_IS_OWED = ["once", "wrap"]  # the late file came after these


@dataclass(frozen=True, slots=True)
class Told:
    """The card as it is mounted, each drive's top, takehold's own folder, the mixer's key."""

    card: Mapping[str, bytes]
    drives: Mapping[str, Path]
    state: Path
    day: str
    public_key: str
    spoiled: Mapping[str, frozenset[str]]

    @property
    def archive(self) -> Path:
        return self.state / "manifests"


def at_once(told: Told, said: Sequence[str]) -> None:
    """Before anything is started again. `said` names the commands that had ended well."""
    known = catalogue(told.state / "catalogue.sqlite")
    kept = revisions(told.archive, told.public_key)
    one_paper(kept)
    owed = len(told.card) - (list(said) == LATE_IS_OWED) if said else 0
    with _without_spoiled(told) as told:
        for name, root in told.drives.items():
            held = whole(root, told.card)
            on_drive = papers_hold(root, name, told.public_key)
            assert on_drive.items() <= kept.items(), f"{name} has a manifest that is not kept"
            assert len(on_drive) >= said.count("wrap"), f"{name} lost a manifest"
            assert len(held) >= owed, f"{name} lost what was promised, and has {sorted(held)}"
        no_false_word(known, told.drives, told.archive)
    assert len(known.copies) >= owed * len(told.drives), "the catalogue lost a copy"
    assert len(known.revisions) >= said.count("wrap"), "the catalogue lost a revision"


def at_quiet(told: Told) -> None:
    """Each file once on each drive, in a manifest that says so, everywhere the same."""
    known = catalogue(told.state / "catalogue.sqlite")
    kept = revisions(told.archive, told.public_key)
    newest = max(one_paper(kept))
    with _without_spoiled(told) as told:
        for name, root in told.drives.items():
            held = sorted(finals(root).values())
            assert held == sorted(told.card.values()), f"{name} holds {sorted(finals(root))}"
            assert temporaries(root) == [], f"{name} has leftovers"
            on_drive = papers_hold(root, name, told.public_key)
            if told.spoiled.get(name):
                assert newest in on_drive, f"{name} lacks the newest manifest"
                assert on_drive.items() <= kept.items(), f"{name} has a manifest that is not kept"
            else:
                assert whole(root, told.card) == told.card.keys()
                assert on_drive == kept, f"{name} has other manifests than the laptop"
        no_false_word(known, told.drives, told.archive)
    proven_papers(kept[newest], told.card, set(told.drives))
    assert len(known.copies) == len(told.card) * len(told.drives), "copies are not all recorded"
    assert known.revisions.keys() == kept.keys(), "a revision is not recorded"
    assert {d for *day, d in known.published if tuple(day) == newest} == set(told.drives)
    assert temporaries(told.state) == [], "the laptop has leftovers"


@contextmanager
def _without_spoiled(told: Told) -> Iterator[Told]:
    """The same with drives that lack what is spoiled: copies of them, in memory."""
    with tempfile.TemporaryDirectory(dir="/dev/shm") as made:
        drives = dict(told.drives)
        for name, spoiled in told.spoiled.items():
            if spoiled:
                drives[name] = Path(made, name)
                shutil.copytree(told.drives[name], drives[name])
                for path in spoiled:
                    if os.path.isfile(drives[name] / path):
                        os.unlink(drives[name] / path)
        yield replace(told, drives=drives)
