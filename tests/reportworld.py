"""A card with three recordings, and sound reports on it."""

from __future__ import annotations

from dataclasses import replace

from planworld import DAY, NOON, cards, copied, ledger, settings, taken, view
from takehold.decide.check import Around, check
from takehold.decide.departed import GONE
from takehold.model import facts as f
from takehold.model.finding import Finding
from takehold.model.recording import Recording, Stamp
from takehold.model.sound import Description, Kind
from takeworld import DRIVES, wav

BEFORE = "2031-05-05"


def report(
    *names: str,
    number: int = 90,
    path: bytes = b"REPORT.CSV",
    of: int = 1,
    loosely: bool = False,
    besides: tuple[tuple[str, ...], ...] = (),
) -> Recording:
    base = wav(number, path, of=of)
    listed = Description(Kind.OTHER, listed=names, loosely=loosely, besides=besides)
    return replace(base, description=listed, stamp=Stamp(500 + len(names), 10**18))


def on_card(*paths: bytes, of: int = 1, first: int = 1) -> list[Recording]:
    return [wav(first + n, path, of=of) for n, path in enumerate(paths)]


CARD = on_card(b"DAY01/S01T01.WAV", b"DAY01/S01T02.WAV", b"DAY01/S01T03.WAV")
ALL = ("S01T01.WAV", "S01T02.WAV", "S01T03.WAV")


def found(
    *recordings: Recording,
    day: str = DAY,
    untaken: int = 0,
    good: bool = False,
    gone: tuple[bytes, ...] = (),
) -> list[Finding]:
    facts = [*cards(), *taken(*recordings), *(x for r in recordings for x in copied(r, *DRIVES))]
    skipped = tuple(f.Skip(path, GONE) for path in gone)
    listed = f.Listed(1, NOON, len(recordings), (), skipped, untaken)
    known = ledger(facts, [listed])
    told = check(view(known, day=day), known, settings(), Around())
    return [x for x in told if x.code.startswith("report-") and (good or x.code != "report-agrees")]


def codes(*recordings: Recording, day: str = DAY) -> list[str]:
    return [x.code for x in found(*recordings, day=day)]
