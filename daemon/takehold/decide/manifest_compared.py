"""The comparisons of samples as the manifest lists them, and as they are read again."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from takehold.decide.manifest_file import referred
from takehold.decide.manifest_read import (
    Entry,
    each,
    malformed,
    moment,
    name_in,
    number,
    the,
    whole,
)
from takehold.decide.standing import DayStanding
from takehold.model.comparison import Comparison, Side, Stretch
from takehold.model.finding import Relation
from takehold.model.ledger import Ledger
from takehold.model.settings import Role

COUNTS = ("frame", "frames", "offset", "duration_difference")
LISTS = ("channels", "alone", "theirs_alone")
FIGURES = ("residual_db", "correlation")
BLOCKS_TELL = frozenset({Relation.SHORT, Relation.LONGER})
# A file of another day: that day, its path on the card, and its SHA-256.
Elsewhere = tuple[str, bytes, str]


def comparison_entries(
    view: DayStanding, ledger: Ledger, stamp: Callable[[int], str]
) -> list[dict[str, object]]:
    """Those of this day's primary recordings, newest versions only; `stamp` writes a moment."""
    mine = [*(s for s in view.files if s.current), *view.beside]
    of_day = {s.recording.id for s in mine if s.recording.day == view.day}
    here = {s.recording.id for s in mine if s.recording.digests is not None}
    told = (c for c in ledger.comparisons.values() if here.issuperset((*c.ours, *c.theirs)))
    found = [c for c in told if of_day.issuperset(c.ours)]
    found.sort(key=lambda c: (c.ours, c.theirs))
    return [_entry(comparison, view, stamp) for comparison in found]


def _entry(
    comparison: Comparison, view: DayStanding, stamp: Callable[[int], str]
) -> dict[str, object]:
    entry: dict[str, object] = {
        "ours": _side(comparison.ours, view),
        "theirs": _side(comparison.theirs, view),
        "relation": comparison.relation.value,
        "at": stamp(comparison.at),
    }
    told = {key: getattr(comparison, key) for key in (*COUNTS, *FIGURES)}
    entry |= {key: figure for key, figure in told.items() if figure is not None}
    lists: dict[str, list[object]] = {key: list(getattr(comparison, key)) for key in LISTS}
    lists["missing"] = [
        {"channel": channel, "frame": first, "frames": end - first}
        for channel, first, end in comparison.missing
    ]
    return entry | {key: told for key, told in lists.items() if told}


def _side(side: Side, view: DayStanding) -> list[dict[str, object]]:
    files = (view.index[number] for number in side)
    return [referred(file.recording, file.load, view.day) for file in files]


def comparisons_in(
    doc: Entry,
    numbers: Mapping[tuple[int, bytes], int],
    elsewhere: Mapping[Elsewhere, int],
) -> Iterator[Comparison]:
    """The comparisons of a manifest; `numbers` are those of its newest files by load and path.

    `elsewhere` are those of other days. Left out where there are none, and where the manifest of
    the other day was not found. Raises Malformed for one of other files.
    """
    for entry in each(doc, "comparisons") if "comparisons" in doc else ():
        theirs = [_number(file, numbers, elsewhere) for file in each(entry, "theirs")]
        known = tuple(number for number in theirs if number is not None)
        if not theirs:
            raise malformed("theirs")
        if len(known) < len(theirs):
            continue
        yield Comparison(
            ours=_numbers(entry, "ours", numbers),
            theirs=known,
            relation=Relation(the(entry, "relation", str)),
            at=moment(entry, "at"),
            frame=whole(entry, "frame"),
            frames=whole(entry, "frames"),
            channels=tuple(_channels(entry, "channels")),
            alone=tuple(_channels(entry, "alone")),
            theirs_alone=tuple(_channels(entry, "theirs_alone")),
            missing=tuple(_stretches(entry)),
            offset=whole(entry, "offset"),
            duration_difference=whole(entry, "duration_difference"),
            residual_db=number(entry, "residual_db"),
            correlation=number(entry, "correlation"),
        )


def _numbers(entry: Entry, key: str, numbers: Mapping[tuple[int, bytes], int]) -> Side:
    files = [(the(file, "load", int), name_in(file, "path")) for file in each(entry, key)]
    if not files or not numbers.keys() >= set(files):
        raise malformed(key)
    return tuple(numbers[file] for file in files)


def _number(
    file: Entry, numbers: Mapping[tuple[int, bytes], int], elsewhere: Mapping[Elsewhere, int]
) -> int | None:
    """The file of a backup; None if it is of another day of which no manifest was found."""
    path = name_in(file, "path")
    if "day" in file:
        return elsewhere.get((the(file, "day", str), path, the(file, "sha256", str)))
    number = numbers.get((the(file, "load", int), path))
    if number is None:
        raise malformed("theirs")
    return number


def compared_beside(
    doc: Entry,
    numbers: Mapping[tuple[int, bytes], int],
    elsewhere: Mapping[Elsewhere, int],
    at: int,
) -> Iterator[Comparison]:
    """What blocks told of files of two days: those are in no manifest, and their answer is.

    Of files of one day names say again what is to be compared.
    """
    roles = {the(load, "id", int): the(load, "role", str) for load in each(doc, "loads")}
    for entry in each(doc, "files"):
        answer, role = entry.get("counterpart"), roles.get(the(entry, "load", int))
        if not isinstance(answer, dict) or "day" not in answer or "also" in answer:
            continue
        if role != Role.PRIMARY.value:
            continue
        relation = Relation(the(answer, "relation", str))
        mine = numbers.get((the(entry, "load", int), name_in(entry, "path")))
        other = _number(answer, numbers, elsewhere)
        if mine is None or other is None or relation not in BLOCKS_TELL:
            continue
        frames = whole(answer, "missing_frames") or whole(answer, "further_frames")
        since = whole(answer, "missing_from_frame")
        yield Comparison((mine,), (other,), relation, at, since, frames)


def _stretches(entry: Entry) -> Iterator[Stretch]:
    for stretch in each(entry, "missing") if "missing" in entry else ():
        first, frames = the(stretch, "frame", int), the(stretch, "frames", int)
        yield the(stretch, "channel", int), first, first + frames


def _channels(entry: Entry, key: str) -> Iterator[int]:
    for channel in the(entry, key, list) if key in entry else ():
        if type(channel) is not int:
            raise malformed(key)
        yield channel
