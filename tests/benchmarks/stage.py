"""A laptop with a catalogue of many days, two cards and some drives in: nothing is owed.

All of it lives in the process's own mount namespace, as tests/loopbench.py makes it. Needs root.
"""

from __future__ import annotations

import compileall
import contextlib
import os
import shutil
import tempfile
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import takehold
from benchmarks.season import LABELS, PRODUCTION, ROLES, Season, Shape
from instance import Instance
from loopbench import Bench, Disk, own_namespace
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.adapters.clock import SystemClock
from takehold.adapters.disk import LocalDisk
from takehold.adapters.signer import load_key
from takehold.adapters.volumes import volumes
from takehold.app import days_of
from takehold.decide.check import Around
from takehold.decide.place import day_folder
from takehold.engine.closing import news_since
from takehold.home import Home, settings_of
from takehold.model import facts as f
from takehold.model.ledger import Ledger
from takehold.model.recording import Stamp
from takehold.model.settings import Role
from takehold.model.situation import Situation, Target
from takehold.model.step import Publish
from takehold.model.volume import Root, Volume

ON_DRIVES_DAYS = 8  # days of which the copies lie on the drives; engine/glance looks at as many
DRIVES, DRIVE_MB, CARD_MB = 3, 4000, 1000


class EveningClock(SystemClock):
    """The system's clock, but for the moment that a manifest is dated with."""

    def __init__(self) -> None:
        self.at = 0

    def now(self) -> int:
        """The moment given."""
        return self.at


@dataclass(frozen=True, slots=True)
class Stage:
    """What was made: the program's instance, its places, the volumes, how long its facts took."""

    instance: Instance
    home: Home
    cards: Mapping[Role, Disk]
    drives: tuple[Disk, ...]
    season: Season
    made_s: float
    watched: Path

    @property
    def catalogue_bytes(self) -> int:
        """Size of the catalogue."""
        return os.path.getsize(self.home.catalogue)


@contextlib.contextmanager
def staged(
    shape: Shape, *, kinds: tuple[str, str] = ("ext4", "ext4"), watched: bool = False
) -> Iterator[Stage]:
    """Make it, and take it away; `kinds` are the cards' file systems, `watched`: with a folder."""
    if refused := own_namespace():
        raise SystemExit(refused)
    compileall.compile_dir(Path(takehold.__file__).parent, quiet=2)  # as an installed program is
    folder = Path(tempfile.mkdtemp(prefix="takehold-bench-"))
    try:
        with contextlib.closing(Bench(folder)) as bench:
            yield _make(bench, folder, shape, kinds, watched=watched)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _make(
    bench: Bench, folder: Path, shape: Shape, kinds: tuple[str, str], *, watched: bool
) -> Stage:
    cards = {
        role: bench.disk(LABELS[role], kind, CARD_MB)
        for role, kind in zip(ROLES, kinds, strict=True)
    }
    taking = tuple(bench.disk(f"SHUTTLE_{n}", "ext4", DRIVE_MB) for n in range(1, DRIVES + 1))
    sources: dict[str, tuple[str, str | Path]] = {
        role.value: (role.value, LABELS[role]) for role in ROLES
    }
    share = folder / "share"
    share.mkdir()
    if watched:
        sources["share"] = ("primary", share)
    instance = Instance(
        folder / "laptop",
        sources,
        {f"shuttle-{n}": disk.name for n, disk in enumerate(taking, 1)},
        {"look_every_seconds": 60, "settle_seconds": 20},
    )
    home = Home(str(instance.config), str(instance.state), str(instance.folder / "signing_key"))
    mounted = {volume.label: volume for volume in volumes().mounted()}
    roots = {role: _root(mounted, LABELS[role]) for role in ROLES}
    targets = [
        Target(f"shuttle-{n}", _root(mounted, disk.name), 10**12)
        for n, disk in enumerate(taking, 1)
    ]
    season = Season(shape, roots, targets, datetime.now(UTC).astimezone())
    for role in ROLES:
        season.put_files(role, cards[role].mount)
    begun = time.perf_counter()
    facts = list(season.facts({role: _stamps(roots[role]) for role in ROLES}))
    _keep(home, facts)
    made = time.perf_counter() - begun
    for disk, target in zip(taking, targets, strict=True):
        season.put_copies(disk.mount, facts, target.root.identity, ON_DRIVES_DAYS)
    _write_manifests(home, season, facts, list(zip(taking, targets, strict=True)))
    return Stage(instance, home, cards, taking, season, made, share)


def _root(mounted: Mapping[str, Volume], label: str) -> Root:
    return volumes().root(mounted[label])


def _stamps(root: Root) -> dict[bytes, Stamp]:
    with LocalDisk().source(root) as tree:
        return dict(tree.listing().files)


def _keep(home: Home, facts: list[f.Fact]) -> None:
    """All in one transaction."""
    catalogue = SqliteCatalogue.open(home.catalogue)
    with contextlib.closing(catalogue):
        catalogue.record(facts)


def _write_manifests(
    home: Home, season: Season, facts: list[f.Fact], drives: list[tuple[Disk, Target]]
) -> None:
    """Sign each day but the newest, as its evening would have, and put it on the drives.

    Days that were read again since were weighed when that was done.
    """
    settings, clock, ledger = settings_of(home), EveningClock(), Ledger()
    ledger.apply(facts)
    days = days_of(home, settings, load_key(os.fsencode(home.key)), clock)
    targets = tuple(target for _, target in drives)
    around = Around(present=tuple((t.name, t.root.identity) for t in targets))
    told: list[f.Fact] = []
    for number, day in enumerate(season.days()):
        clock.at = season.closed_at(day)
        now = Situation(clock.at, day, (), targets)
        revised, _ = days.write(ledger, day, now, around)
        ledger.apply([revised])
        told.append(revised)
        for disk, target in drives:
            if number >= len(season.days()) - ON_DRIVES_DAYS:
                files = days.files_for(ledger, Publish(target, day, revised.number))
                (disk.mount / os.fsdecode(day_folder(PRODUCTION, day))).mkdir(
                    parents=True, exist_ok=True
                )
                for path, data in files.items():
                    (disk.mount / os.fsdecode(path)).write_bytes(data)
            told.append(f.Published(day, 1, target.name, target.root.identity, clock.at + 60))
        times = news_since(ledger, revised, {})
        told += [f.Weighed(day, times)] if times else []
    _keep(home, told)
