"""The check of the transmitters' own cards: do they have what they should?"""

from __future__ import annotations

from collections.abc import Iterator

from takehold.decide.coverage import Cover, Coverage, Extent, times
from takehold.decide.noticed import finding
from takehold.decide.standing import DayStanding
from takehold.formats.names import display, shown
from takehold.model.finding import Finding, Severity
from takehold.model.take import Take

NAMED = 3
"""Takes that are named; more are counted."""


def coverage_findings(known: Coverage, view: DayStanding) -> Iterator[Finding]:
    """Takes that a pack lacks, or has in part, though it has others: it was off, or lost a piece.

    A pack that has no take at all was used for something else, or runs on another timecode.
    """
    for pack in known.packs:
        found = [
            (take, cover)
            for take in known.takes
            for cover in known.of(take)
            if cover.pack is pack and cover.due
        ]
        lacking = [(take, cover) for take, cover in found if cover.extent is not Extent.WHOLE]
        if not lacking or all(cover.extent is Extent.NOT for _, cover in found):
            continue
        whole = len(found) - len(lacking)
        name = f"{shown(pack.card)} ({shown(pack.name)})"
        named = "; ".join(_lacks(view, take, cover) for take, cover in lacking[:NAMED])
        more = f"; and {len(lacking) - NAMED} more" if len(lacking) > NAMED else ""
        takes = "1 take" if len(found) == 1 else f"{len(found)} takes"
        says = f"{name} has {whole} of {takes} whole, by timecode. Not: {named}{more}."
        yield finding("pack-not-covering", Severity.NOTE, name, says, load=pack.load)


def _lacks(view: DayStanding, take: Take, cover: Cover) -> str:
    words = [f"scene {shown(take.scene)}"] * bool(take.scene)
    words += [f"take {shown(take.take)}"] * bool(take.take)
    name = ", ".join(words) or display(view.index[take.first].recording.path)
    if cover.extent is Extent.NOT:
        return name
    return f"{name} (only {' and '.join(f'from {a} to {b}' for a, b in times(cover, take))})"
