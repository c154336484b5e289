"""A recording that cannot be read: when what can be read of it is saved, where, and what is said.

1. It was tried often enough, after everything else of its card, and no copy of it stands anywhere.
2. Once for each appearance of its card: another reader may read more.
3. What is saved is no copy: it has a folder and a name of its own, and no list names it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING

from takehold.decide.backoff import READS_AT_ONCE, due, unreadable
from takehold.decide.keys import rec_key, salvage_key, stock_key
from takehold.decide.noticed import finding
from takehold.decide.standing import Standing
from takehold.formats.names import display, shown
from takehold.formats.timecode import label
from takehold.model.errors import Unreadable
from takehold.model.facts import Salvaged, Trouble
from takehold.model.finding import Finding, Severity
from takehold.model.ledger import Ledger
from takehold.model.recording import Recording

if TYPE_CHECKING:
    from takehold.model.situation import Target
    from takehold.model.step import Salvage
    from takehold.model.volume import Root

ENDING = b".PARTS-MISSING"
NOTE_ENDING = b".txt"
FOLDER_ENDING = b".salvage"
BLOCK = 1 << 20
PAGE = 4096
NAMED = 8
KEEP = (
    "Keep the card and do not format it. Try another reader and another cable: once the file can "
    "be read, it is copied by itself. Else give the card to somebody who recovers media."
)

_SAVED = re.compile(
    rb"(?:.*/)?[0-9]{4}-[0-9]{2}-[0-9]{2}\.salvage/.+\.PARTS-MISSING(?:-[0-9]+)?(?:\.txt)?",
    re.DOTALL,
)

Range = tuple[int, int]
"""Bytes of a file: first and end, which is not included."""


def salvage_of(
    ledger: Ledger, recording: Recording, root: Root, targets: Sequence[Target], now: int
) -> Salvage | None:
    """The step that is due for a recording lying on a card; `targets` have room for it."""
    done = ledger.salvaged.get(recording.id, [])
    if (
        not targets
        or not _tried(ledger, recording)
        or ledger.copies_of(recording.id)
        or any(s.appearance == root.volume.appearance for s in done)
        or not due(ledger.troubles.get(salvage_key(recording.id)), now)
    ):
        return None
    best: dict[str, int] = {}
    for fact in done:
        for _, home, _ in fact.kept:
            best[home] = min(fact.missing_bytes, best.get(home, fact.missing_bytes))
    card = ledger.loads[recording.load].label
    from takehold.model.step import Salvage  # noqa: PLC0415 - a command that shows a day has no steps

    return Salvage(root, card, recording, tuple(targets), tuple(sorted(best.items())))


def _tried(ledger: Ledger, recording: Recording) -> bool:
    failed = _failed(ledger, recording)
    return failed is not None and failed.tries >= READS_AT_ONCE


def _failed(ledger: Ledger, recording: Recording) -> Trouble | None:
    """What the last try to read it, or its header, left, if that was the device's error."""
    keys = (rec_key(recording.id), stock_key(recording.load, recording.path))
    found = (ledger.troubles.get(key) for key in keys)
    return next((t for t in found if unreadable(t)), None)


# -- reading piece by piece


def pieces(size: int) -> Iterator[Range]:
    """A file in blocks, in order."""
    return ((at, min(at + BLOCK, size)) for at in range(0, size, BLOCK))


def halves(piece: Range) -> tuple[Range, ...]:
    """Two parts of a piece that gave an error; none where it is one page, which is given up."""
    first, end = piece
    if end - first <= PAGE:
        return ()
    middle = first + max(PAGE, (end - first) // 2 // PAGE * PAGE)
    return (first, middle), (middle, end)


def joined(ranges: Iterable[Range]) -> tuple[Range, ...]:
    """Ranges in order, those that touch made one."""
    found: list[Range] = []
    for first, end in sorted(ranges):
        if found and found[-1][1] == first:
            found[-1] = (found[-1][0], end)
        else:
            found.append((first, end))
    return tuple(found)


# -- names and words


def place_of_salvage(place: bytes, number: int = 1) -> bytes:
    """Where it goes: beside the day's folder, under a name that no recording has.

    `Lantern Bay/2031-05-06/SND_A1/T01.WAV` gives
    `Lantern Bay/2031-05-06.salvage/SND_A1/T01.WAV.PARTS-MISSING`.
    """
    production, day, below = place.split(b"/", 2)
    ending = ENDING if number == 1 else ENDING + b"-%d" % number
    return b"/".join((production, day + FOLDER_ENDING, below + ending))


def is_salvage(path: bytes) -> bool:
    """Whether a path below a drive is that of a salvaged file, or of the text beside one."""
    return _SAVED.fullmatch(path) is not None


def said_beside(recording: Recording, card: str, missing: Sequence[Range]) -> bytes:
    """The text file beside it: for who finds the file without its manifest."""
    size = recording.stamp.size
    lost = sum(end - first for first, end in missing)
    lines = [
        "This is NO COPY. Parts of the file could not be read on its card; they are zeros here.",
        "",
        f"card:     {shown(card)}",
        f"file:     {display(recording.path)}",
        f"size:     {size} bytes",
        f"saved:    {size - lost} bytes",
        f"missing:  {lost} bytes, first and last byte of each range, counted from 0:",
        "",
        *(f"  {_bytes(part)}{_time(recording, part)}" for part in missing),
        "",
        KEEP,
        "",
    ]
    return "\n".join(lines).encode("utf-8", "backslashreplace")


def _bytes(part: Range) -> str:
    return f"{part[0]}-{part[1] - 1}"


def _time(recording: Recording, part: Range) -> str:
    """The timecode of the audio in a range, or its seconds; nothing where it holds none."""
    said = recording.description
    if said.data is None or said.format is None or not said.format.block_align:
        return ""
    begin, end = said.data.offset, said.data.offset + said.data.length
    first, last = max(part[0], begin), min(part[1], end) - 1
    if first > last or not said.format.sample_rate:
        return ""
    frames = [(at - begin) // said.format.block_align for at in (first, last)]
    hz, start = said.format.sample_rate, said.metadata.time_reference
    rate = said.metadata.timecode_rate
    if start is None or rate is None:
        return f" ({frames[0] / hz:.3f} s to {(frames[1] + 1) / hz:.3f} s)"
    # `label` has a sample of slack for where a frame begins; here the frame around it is meant.
    return " (" + " to ".join(label(start + frame - 1, hz, rate) for frame in frames) + ")"


def salvage_findings(ledger: Ledger, standing: Standing) -> Iterator[Finding]:
    """That it cannot be read, which bytes, and what was saved; once copied, what is left."""
    recording = standing.recording
    facts = ledger.salvaged.get(recording.id, [])
    kept = min((s for s in facts if s.kept), key=lambda s: s.missing_bytes, default=None)
    if kept is None and (standing.copies or not _failed(ledger, recording)):
        return
    name = f"{shown(standing.load.label)}/{display(recording.path)}"
    subject = display(recording.place)
    if kept is not None and standing.copies:
        says = f"{name} could not be read at first and is copied now. Left: {_where(kept)}."
        do = "Nothing: the file in that folder is no copy and not needed any more."
        yield finding("salvage-left", Severity.NOTE, subject, says, do, recording.id)
        return
    if not standing.owes_copies:
        return
    known = kept or next((s for s in reversed(facts) if s.missing), None)
    says = f"{name} cannot be read{_lost(recording, known)}."
    if kept is not None:
        says += f" What can be read of it is saved, and is no copy: {_where(kept)}."
    yield finding(Unreadable.code, Severity.HOLD, subject, says, KEEP, recording.id)


def _lost(recording: Recording, known: Salvaged | None) -> str:
    if known is None:
        return ""
    if known.missing == ((0, recording.stamp.size),):
        return " at all"
    named = [_bytes(p) + _time(recording, p) for p in islice(known.missing, NAMED)]
    more = len(known.missing) - len(named)
    rest = f" and {more} more places" if more else ""
    share = f"{known.missing_bytes} of {recording.stamp.size} bytes"
    return f" at bytes {', '.join(named)}{rest}: {share}"


def _where(kept: Salvaged) -> str:
    return ", ".join(f"{shown(name)}: {display(path)}" for name, _, path in kept.kept)
