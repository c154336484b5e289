"""The comparisons of samples as the manifest lists them, and as they are read again."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from takehold.decide.manifest_file import named
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
from takehold.model.comparison import Comparison, Side
from takehold.model.finding import Relation
from takehold.model.ledger import Ledger

COUNTS = ("frame", "frames", "offset")
LISTS = ("channels", "alone")
FIGURES = ("residual_db", "correlation")


def comparison_entries(
    view: DayStanding, ledger: Ledger, stamp: Callable[[int], str]
) -> list[dict[str, object]]:
    """Those between the newest versions of files of this day; `stamp` writes a moment."""
    here = {s.recording.id for s in view.files if s.current and s.recording.digests is not None}
    found = [c for c in ledger.comparisons.values() if here.issuperset((*c.ours, *c.theirs))]
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
    lists = {key: list(getattr(comparison, key)) for key in LISTS}
    return entry | {key: channels for key, channels in lists.items() if channels}


def _side(side: Side, view: DayStanding) -> list[dict[str, object]]:
    files = (view.index[number].recording for number in side)
    return [{"load": file.load, **named("path", file.path)} for file in files]


def comparisons_in(doc: Entry, numbers: Mapping[tuple[int, bytes], int]) -> Iterator[Comparison]:
    """The comparisons of a manifest; `numbers` are those of its newest files by load and path.

    Left out where there are none. Raises Malformed for one of other files.
    """
    for entry in each(doc, "comparisons") if "comparisons" in doc else ():
        yield Comparison(
            ours=_numbers(entry, "ours", numbers),
            theirs=_numbers(entry, "theirs", numbers),
            relation=Relation(the(entry, "relation", str)),
            at=moment(entry, "at"),
            frame=whole(entry, "frame"),
            frames=whole(entry, "frames"),
            channels=tuple(_channels(entry, "channels")),
            alone=tuple(_channels(entry, "alone")),
            offset=whole(entry, "offset"),
            residual_db=number(entry, "residual_db"),
            correlation=number(entry, "correlation"),
        )


def _numbers(entry: Entry, key: str, numbers: Mapping[tuple[int, bytes], int]) -> Side:
    files = [(the(file, "load", int), name_in(file, "path")) for file in each(entry, key)]
    if not files or not numbers.keys() >= set(files):
        raise malformed(key)
    return tuple(numbers[file] for file in files)


def _channels(entry: Entry, key: str) -> Iterator[int]:
    for channel in the(entry, key, list) if key in entry else ():
        if type(channel) is not int:
            raise malformed(key)
        yield channel
