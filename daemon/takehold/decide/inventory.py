"""Taking files of a card in: their day, their place, their version."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from takehold.decide.border import Ends
from takehold.decide.day import DayOf, day_of, shooting_day, undated
from takehold.decide.listing import file_first_listed
from takehold.decide.litter import holds_audio, is_document
from takehold.decide.place import place_of
from takehold.formats.names import same_key
from takehold.model.facts import Fact, Gone, Inventoried
from takehold.model.ledger import Ledger
from takehold.model.recording import Load, Recording
from takehold.model.settings import Settings
from takehold.model.situation import Sighted
from takehold.model.sound import Description, Kind, Metadata


@dataclass(frozen=True, slots=True)
class Described:
    """A file with what it says of itself."""

    file: Sighted
    description: Description


def take_in(
    ledger: Ledger,
    load: Load,
    described: tuple[Described, ...],
    settings: Settings,
    seen: datetime,
) -> tuple[Fact, ...]:
    """The facts that take the files in. `seen` is the laptop's local time, with its offset.

    A version that was never read is replaced; one that was read keeps its place, and the new
    version gets one beside it.
    """
    facts: list[Fact] = []
    taken: dict[str, set[str]] = {}
    source = settings.source(load.source)
    watched = source is not None and source.path is not None
    ends = Ends(ledger, load.id)
    for number, item in enumerate(described):
        path = item.file.path
        before = ledger.versions(load.id, path)
        gone = {old.id for old in before if _is_same(old, item, watched=watched)}
        # Described anew, nothing of it changed: it is the same recording, with what is known of it.
        same = {old.id for old in before if old.id in gone and old.stamp == item.file.stamp}
        facts += map(Gone, sorted(gone - same))
        kept = [old for old in before if old.readings]
        known = [] if watched else [r for r in before if r.id in gone or is_document(path)]
        met = known[-1].day if known else _met(ledger, load, item, settings, seen)
        where = _day(kept, met, item, settings, seen, ends)
        ends.add(item.description, where.day)
        if where.day not in taken:
            taken[where.day] = {same_key(r.place) for r in ledger.day(where.day)}
        # The place of a version that goes is free again: nothing was ever copied there.
        taken[where.day] -= {same_key(old.place) for old in before if old.id in gone}
        version = kept[-1].version + 1 if kept else 1
        # In another day it stands beside nothing: it is a recording of its own there.
        beside = version if kept and kept[-1].day == where.day else 1
        place = place_of(
            settings.production, where.day, load.folder, path, beside, taken[where.day]
        )
        taken[where.day].add(same_key(place))
        complaints = item.description.complaints
        if where.complaint is not None:
            complaints = (*complaints, where.complaint)
        facts.append(
            Inventoried(
                Recording(
                    id=max(same, default=ledger.next_id + number),
                    load=load.id,
                    path=path,
                    stamp=item.file.stamp,
                    seen_at=int(seen.timestamp()),
                    day=where.day,
                    place=place,
                    version=version,
                    description=replace(item.description, complaints=complaints),
                )
            )
        )
    return tuple(facts)


def _is_same(old: Recording, item: Described, *, watched: bool) -> bool:
    """Whether a version that was never read is replaced by what lies there now.

    One that was another recording is lost, and that must be said.
    """
    return not old.readings and not _another(old, item, watched=watched)


def _another(old: Recording, item: Described, *, watched: bool) -> bool:
    """Whether it was another recording: the recorder says so, or is silent and its stamp tells.

    What others write to while we look grows, and a document is written anew many times.
    """
    first, now = old.description, item.description
    moments = {_moment(first.metadata), _moment(now.metadata)}
    if Kind.OTHER not in (first.kind, now.kind) and moments != {_moment(Metadata())}:
        return len(moments) > 1
    stamps = {(stamp.size, stamp.mtime_ns) for stamp in (old.stamp, item.file.stamp)}
    return not watched and not is_document(old.path) and old.stamp.size > 0 and len(stamps) > 1


def _moment(said: Metadata) -> tuple[object, ...]:
    return (said.date, said.time, said.time_reference, said.file_uid)


def _met(ledger: Ledger, load: Load, item: Described, settings: Settings, seen: datetime) -> str:
    """The day on which a file was first seen, as it lies there; never before its card was."""
    listed = file_first_listed(ledger.listings.get(load.id), item.file.path, item.file.stamp)
    return max(load.day, listed or shooting_day(seen, settings.day_starts_at))


def _day(
    kept: list[Recording],
    met: str,
    item: Described,
    settings: Settings,
    seen: datetime,
    ends: Ends,
) -> DayOf:
    """An edit stays in the day of the first version; a file without a date in that when `met`.

    An edit keeps the recorder's date, or in a file without one the size: what has another is
    another recording under a known name, and goes by its own date.
    """
    fresh = day_of(item.description.metadata, met, seen, settings.day_starts_at)
    if not item.description.metadata.date and holds_audio(item.file.path):
        mtime_ns = item.file.stamp.mtime_ns
        odd = undated(mtime_ns, fresh.day, seen, settings.day_starts_at)
        fresh = DayOf(fresh.day, odd)
    if not kept:
        return fresh._replace(day=ends.day_of(item.description, fresh.day))
    before, date = kept[-1], item.description.metadata.date
    same = date == before.description.metadata.date
    if not date:
        same = same and item.file.stamp.size == before.stamp.size
    return DayOf(before.day, fresh.complaint) if same else fresh
