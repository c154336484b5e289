"""What of a shooting day is matched: the newest versions on its primary and its backup cards."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from takehold.decide.departed import Departed, dated_anew, departed
from takehold.formats.names import safe_part
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.settings import Role, Settings


class Sides(NamedTuple):
    """A day's recordings of the config's production; `current` are the newest versions.

    `departed` are those that their cards hold no more; what was renamed there is not current.

    `backups` leave out those on the disk of a primary card, and so does `earlier`: what is not
    current. `elsewhere` counts the files of other
    productions.
    """

    recordings: tuple[Recording, ...]
    current: frozenset[int]
    primaries: tuple[Recording, ...]
    backups: tuple[Recording, ...]
    earlier: tuple[Recording, ...]
    has_backup: bool
    elsewhere: int
    departed: Departed


def sides(ledger: Ledger, day: str, settings: Settings) -> Sides:
    """Both sides of a day."""
    ours = production_folder(settings)
    everything = ledger.day(day)
    recordings = tuple(r for r in everything if r.place.startswith(ours))
    newest = {(r.load, r.path): r for r in recordings}
    left = departed(recordings, ledger.listings)
    moved = dated_anew(recordings, ledger)
    left = Departed({**moved, **left.renamed}, left.deleted - moved.keys())
    current = frozenset(r.id for r in newest.values() if r.id not in left.renamed)
    by_role: dict[Role, list[Recording]] = {role: [] for role in Role}
    for recording in recordings:
        if recording.id in current:
            by_role[ledger.loads[recording.load].role].append(recording)
    loads = [ledger.loads[i] for i in {r.load for r in recordings}]
    own = {load.id for load, _ in same_disk(loads, settings)}
    backups = by_role[Role.BACKUP]
    return Sides(
        recordings,
        current,
        tuple(by_role[Role.PRIMARY]),
        tuple(r for r in backups if r.load not in own),
        tuple(r for r in recordings if r.id not in current and r.load not in own),
        bool(backups),
        len(everything) - len(recordings),
        left,
    )


def production_folder(settings: Settings) -> bytes:
    """What every place of the config's production begins with."""
    return safe_part(settings.production.encode()) + b"/"


def same_disk(loads: Iterable[Load], settings: Settings) -> list[tuple[Load, Load]]:
    """Backup loads on the disk of a primary one, with that: a card is never its own backup.

    Two watch folders may share the laptop's disk, unless one lies in the other.
    """
    listed = list(loads)
    backups = [load for load in listed if load.role is Role.BACKUP]
    primaries = [load for load in listed if load.role is Role.PRIMARY]
    return [(b, p) for b in backups for p in primaries if _one_thing(b, p, settings)]


def _one_thing(one: Load, other: Load, settings: Settings) -> bool:
    if one.disks & other.disks and (is_card(one, settings) or is_card(other, settings)):
        return True
    short, long = sorted((one.identity, other.identity), key=len)
    return long == short or long.startswith((short + ":", short + "/"))


def is_card(load: Load, settings: Settings) -> bool:
    """Whether it is a card, and no watch folder."""
    source = settings.source(load.source)
    return source is None or source.label is not None
