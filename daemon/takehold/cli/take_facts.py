"""The takes of a day as plain data, and as the rows of a table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from takehold.cli.tables import length
from takehold.decide.coverage import Cover, Coverage, Extent, times
from takehold.decide.standing import DayStanding
from takehold.formats.names import cut, display, shown
from takehold.formats.timecode import label
from takehold.model.settings import Role
from takehold.model.take import Take

HEAD = ("card", "scene", "take", "type", "start", "length", "tracks", "packs", "files", "note")
# Columns of which a day without any such word has nothing.
RARE = frozenset({"type", "packs"})
SPARE = ("note", "tracks", "length")
WHOLE = frozenset({"card", "take", "start", "length"})


def take_facts(take: Take, view: DayStanding, known: Coverage) -> dict[str, Any]:
    """A take; `start` is its timecode where that is known, `again` what was recorded to replace it.

    `files` are paths on the cards, part after part, `loads` where each of them is; `parts` counts
    these. `deleted` says that its card holds it no more. `packs` are the transmitters' own cards
    that have it by timecode, or should.
    """
    standing = view.index[take.first]
    start = None
    if take.sample_rate and take.rate and take.start is not None:
        start = label(take.start, take.sample_rate, take.rate)
    seconds = None
    if take.sample_rate and take.frames:
        seconds = round(take.frames / take.sample_rate, 3)
    return {
        "card": shown(standing.load.label),
        "load": take.load,
        "role": standing.load.role.value,
        "scene": shown(take.scene),
        "take": shown(take.take),
        "tape": shown(take.tape),
        "start": start,
        "seconds": seconds,
        "channels": take.channels,
        "tracks": [shown(track.name) for track in take.tracks],
        "circled": take.circled,
        "note": shown(take.note),
        "types": [shown(word) for word in take.types],
        "rerecorded": take.rerecorded,
        "derived": take.derived,
        "deleted": all(view.index[number].deleted for number in take.files),
        "parts": len(take.parts),
        "files": [display(view.index[number].recording.path) for number in take.files],
        "loads": [view.index[number].load.id for number in take.files],
        "packs": [_pack_facts(cover, take) for cover in known.of(take)],
        "again": [take_facts(other, view, known) for other in take.again],
    }


def _pack_facts(cover: Cover, take: Take) -> dict[str, Any]:
    """What a transmitter's own card has of a take: `spans` where it has a part of it."""
    partly = cover.extent is Extent.PARTLY
    return {
        "name": shown(cover.pack.name),
        "card": shown(cover.pack.card),
        "load": cover.pack.load,
        "covers": cover.extent.value,
        "spans": [
            {"from": at, "to": to, "seconds": round((end - first) / take.sample_rate, 3)}
            for (first, end), (at, to) in zip(cover.spans, times(cover, take), strict=True)
            if partly
        ],
        "files": [display(file.path) for file in cover.files],
    }


def take_table(
    entries: Iterable[dict[str, Any]], names: Mapping[int, str]
) -> tuple[tuple[str, ...], list[tuple[object, ...]]]:
    """The takes as a table, head and rows; without the types and packs where there are none."""
    rows = take_rows(entries, names)
    kept = [at for at, name in enumerate(HEAD) if name not in RARE or any(row[at] for row in rows)]
    return tuple(HEAD[at] for at in kept), [tuple(row[at] for at in kept) for row in rows]


def take_rows(
    entries: Iterable[dict[str, Any]], names: Mapping[int, str]
) -> list[tuple[object, ...]]:
    """The rows of the takes; those of backup cards only where no other card has a take.

    None at all where no file tells more of its take than its own row does. `names` are what the
    loads are called.
    """
    told = list(entries)
    others = [entry for entry in told if entry["role"] != Role.BACKUP]
    kept = [entry for entry in others or told if _tells(entry)]
    return [
        row
        for entry in kept
        for row in (
            _row(entry, names, ""),
            *(_row(other, names, " again") for other in entry["again"]),
        )
    ]


def _tells(entry: dict[str, Any]) -> bool:
    named = entry["scene"] or entry["take"] or any(entry["tracks"])
    return bool(named or len(entry["files"]) > 1 or entry["again"])


def _row(entry: dict[str, Any], names: Mapping[int, str], mark: str) -> tuple[object, ...]:
    more = len(entry["files"]) - 1
    return (
        ", ".join(names[load] for load in dict.fromkeys(entry["loads"])),
        cut(entry["scene"]),
        cut(entry["take"]) + (" *" if entry["circled"] else "") + mark,
        ", ".join(_type_words(entry)),
        entry["start"],
        length(entry["seconds"]),
        ", ".join(cut(name) for name in entry["tracks"] if name),
        ", ".join(map(_pack_words, entry["packs"])),
        entry["files"][0] + (f" and {more} more" if more else ""),
        cut(entry["note"]),
    )


def _type_words(entry: dict[str, Any]) -> Iterable[str]:
    """As people say them: `false start`, `wild track`."""
    types = cut(", ".join(word.replace("_", " ").lower() for word in entry["types"]))
    return [*([types] if types else []), *(word for word in ("derived", "deleted") if entry[word])]


def _pack_words(pack: dict[str, Any]) -> str:
    how = "" if pack["covers"] == Extent.WHOLE else f" ({pack['covers']})"
    return f"{cut(pack['name'])}{how}"
