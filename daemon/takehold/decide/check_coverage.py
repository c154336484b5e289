"""The check of the transmitters' own cards: do they have what they should?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from takehold.decide.check_sound import DEAD
from takehold.decide.coverage import Cover, Coverage, Extent, misdated, times
from takehold.decide.noticed import finding, these
from takehold.decide.standing import DayStanding
from takehold.decide.zeros import tracks_alone
from takehold.formats.names import brief, display, shown
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording
from takehold.model.settings import Role, Settings
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
        name = f"{shown(pack.card)} ({brief(pack.name)})"
        named = "; ".join(_lacks(view, take, cover) for take, cover in lacking[:NAMED])
        more = f"; and {len(lacking) - NAMED} more" if len(lacking) > NAMED else ""
        takes = "1 take" if len(found) == 1 else f"{len(found)} takes"
        says = f"{name} has {whole} of {takes} whole, by timecode. Not: {named}{more}."
        yield finding("pack-not-covering", Severity.NOTE, name, says, load=pack.load)


def pack_date_findings(view: DayStanding, ledger: Ledger, settings: Settings) -> Iterator[Finding]:
    """Transmitters' own cards whose date may be off: their files lie in another day's folder."""
    for load, day, files, count in misdated(view, ledger, settings):
        name = shown(load.label)
        takes = "1 take" if count == 1 else f"{count} takes"
        says = f"{name}: its files are dated {day} and have no take of that date; by timecode they "
        says += f"have {takes} of this day."
        do = f"See which date is right. The files are in the folder of {day}; tell post."
        about = these(files)
        subject = f"{name} {day}"
        yield finding("pack-day-off", Severity.LOOK, subject, says, do, load=load.id, covers=about)


def silence_findings(view: DayStanding) -> Iterator[Finding]:
    """Exact zeros on transmitters' own cards, once for each: they answer no dead track there."""
    for load in view.loads:
        files = (s.recording for s in view.files if s.current and s.load is load)
        told = [] if load.role is not Role.BODYPACK else [*_silences(files)]
        if told:
            more = f"; and {len(told) - NAMED} more" if len(told) > NAMED else ""
            name = shown(load.label)
            says = f"{name}: exactly zero: {'; '.join(told[:NAMED])}{more}."
            yield finding("pack-silent", Severity.NOTE, name, says, load=load.id)


def _silences(files: Iterable[Recording]) -> Iterator[str]:
    """Tracks without a sound, or that pause; a silent end is told of the file."""
    for file in files:
        rate = file.description.format.sample_rate if file.description.format else 0
        for track in tracks_alone(file):
            name = f"{track.name} in {display(file.path)}"
            if track.silent:
                yield f"{name} from beginning to end"
            elif rate and (longest := max(track.zeros[:2])) >= DEAD * rate:
                yield f"{name} for {longest / rate:.1f} s"


def _lacks(view: DayStanding, take: Take, cover: Cover) -> str:
    words = [f"scene {brief(take.scene)}"] * bool(take.scene)
    words += [f"take {brief(take.take)}"] * bool(take.take)
    name = ", ".join(words) or display(view.index[take.first].recording.path)
    if cover.extent is Extent.NOT:
        return name
    return f"{name} (only {' and '.join(f'from {a} to {b}' for a, b in times(cover, take))})"
