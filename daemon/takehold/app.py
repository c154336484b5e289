"""Where the engine and the world meet: the only module that knows both."""

from __future__ import annotations

import gc
import os
import platform
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass

from takehold import __version__
from takehold.adapters.archive import FolderArchive
from takehold.adapters.catalogue import (
    CatalogueDamaged,
    SqliteCatalogue,
    check_can_lock,
    move_aside,
)
from takehold.adapters.clock import SystemClock
from takehold.adapters.decoder import SoundfileDecoder
from takehold.adapters.disk import LocalDisk
from takehold.adapters.keep_awake import keep_awake
from takehold.adapters.lock import STARTS_WITHIN_S, InstanceLock
from takehold.adapters.pulse import Pulse
from takehold.adapters.signer import KeySigner, load_key
from takehold.adapters.volumes import volumes
from takehold.decide.manifest import Writer
from takehold.engine.cycle import Engine, World
from takehold.engine.days import Days
from takehold.engine.vigil import Vigil
from takehold.formats.names import shown
from takehold.home import Home, make_folder, settings_of
from takehold.model.dozing import Dozing
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings
from takehold.ports.volumes import Absent


@dataclass(slots=True)
class Running:
    """An engine with what it was made of; `notes` are sentences for the person who started it."""

    engine: Engine
    catalogue: SqliteCatalogue
    clock: SystemClock
    days: Days
    vigil: Vigil
    lock: InstanceLock
    pulse: Pulse
    notes: tuple[str, ...] = ()


@contextmanager
def running(place: Home, nudge: Callable[[], None]) -> Iterator[Running]:
    """The engine of the one instance.

    Raises UsageError, AnotherInstance, and what the key and the catalogue raise. A damaged
    catalogue is moved aside and rebuilt from signed manifests; the notes say so.
    """
    settings = settings_of(place)
    signer = load_key(os.fsencode(place.key))
    _check_state_folder(place)
    with InstanceLock(place.lock, STARTS_WITHIN_S) as lock, closing(Pulse(place.pulse)) as pulse:
        pulse.beat()
        begun = _begin(place, settings, signer, lock, pulse, nudge)
        try:
            yield begun
        finally:
            begun.vigil.end()
            begun.catalogue.close()


def _begin(
    place: Home,
    settings: Settings,
    signer: KeySigner,
    lock: InstanceLock,
    pulse: Pulse,
    nudge: Callable[[], None],
    *,
    again: bool = True,
) -> Running:
    """Of a day that is asked for now it may show that the catalogue is damaged: then once more."""
    catalogue, known, lost = _open(place)
    try:
        return _assemble(place, settings, signer, lock, pulse, catalogue, known, lost, nudge)
    except BaseException as fault:
        catalogue.close()
        if not (again and isinstance(fault, CatalogueDamaged)):
            raise
    return _begin(place, settings, signer, lock, pulse, nudge, again=False)


def _check_state_folder(place: Home) -> None:
    make_folder(place.state)
    root = volumes().folder(os.fsencode(os.path.realpath(place.state)), None)
    if not isinstance(root, Absent):
        check_can_lock(root.volume.kind, place.state)


def _open(place: Home) -> tuple[SqliteCatalogue, Ledger, str | None]:
    """The catalogue and what it says.

    Where it was damaged, also where the old one lies now, "" if it is empty.

    An empty one may be what a program that was killed had made in place of a damaged one.
    """
    try:
        catalogue = SqliteCatalogue.open(place.catalogue)
        known = _known(catalogue)
    except CatalogueDamaged:
        aside = move_aside(place.catalogue)
        anew = SqliteCatalogue.open(place.catalogue)
        return anew, Dozing(anew), aside
    return catalogue, known, None if known.serial else ""


def _known(catalogue: SqliteCatalogue) -> Ledger:
    """What it says. All of that is kept: no search for cycles goes through it, now or later.

    Of recordings there is an outline of each day, until it is asked for.
    """
    gc.disable()
    try:
        return Dozing.laid(catalogue)
    finally:
        gc.enable()
        gc.freeze()


def _assemble(
    place: Home,
    settings: Settings,
    signer: KeySigner,
    lock: InstanceLock,
    pulse: Pulse,
    catalogue: SqliteCatalogue,
    known: Ledger,
    lost: str | None,
    nudge: Callable[[], None],
) -> Running:
    clock = SystemClock()
    world = World(volumes(), LocalDisk(), catalogue, clock, SoundfileDecoder())
    days = days_of(place, settings, signer, clock)
    engine = Engine(settings, world, days, nudge, known)
    notes: list[str] = []
    if lost is not None:  # one that knows a manifest and no card is not lost
        from takehold.engine.rebuild import LEFT_OUT, rebuild  # noqa: PLC0415 - rarely needed

        targets = engine.destinations()
        facts, says = rebuild(days.archive, world.disk, targets, signer, settings.production)
        engine.take(facts)
        where = f" The damaged one lies at {shown(lost)}." if lost else ""
        if facts or lost:
            notes.append("The catalogue was lost and is rebuilt from signed manifests." + where)
            notes += says
        else:
            notes += [sentence for sentence in says if sentence.endswith(LEFT_OUT)]
    vigil = Vigil(keep_awake(), clock)
    return Running(engine, catalogue, clock, days, vigil, lock, pulse, tuple(notes))


def days_of(place: Home, settings: Settings, signer: KeySigner, clock: SystemClock) -> Days:
    """What writes manifests for these settings."""
    writer = Writer(platform.node(), f"takehold {__version__}")
    return Days(settings, FolderArchive(place.archive), signer, clock, writer)
