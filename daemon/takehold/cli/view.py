"""A day as the commands show it: judged from its own part of the catalogue, which is quick."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from takehold.cli.tables import count
from takehold.decide.check import Around
from takehold.decide.check_beside import packs_alone
from takehold.decide.judge import judge
from takehold.decide.judged import Judged
from takehold.decide.unsettled import DECIDED
from takehold.home import Home, reading
from takehold.model.finding import Finding
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings

# A take number that a scene seems to lack may be of an earlier day, and the day that a pack's files
# are dated may have takes of theirs.
TOLD_BY_OTHER_DAYS = frozenset({"take-numbers", "pack-day-off"})


def judged_day(place: Home, day: str, settings: Settings, around: Around) -> tuple[Judged, Ledger]:
    """The day judged, and what is known of it and its cards.

    Where its cards leave something open, those of the days around it are read; where something
    stands against it that any other day's files may explain, all of them are.
    """
    with reading(place, day) as (ledger, _):
        judged = judge(ledger, day, settings, around)
    if judged.view.left_open:
        with reading(place, day, around=True) as (ledger, _):
            judged = judge(ledger, day, settings, around)
    mine = {load.id for load in judged.view.loads} | {s.load.id for s in judged.view.beside}
    if _may_be_explained(judged.findings, mine) or packs_alone(judged.view):
        with reading(place) as (ledger, _):
            judged = judge(ledger, day, settings, around)
    return judged, ledger


def _may_be_explained(findings: Iterable[Finding], mine: set[int]) -> bool:
    return any(
        found.code in TOLD_BY_OTHER_DAYS or (found.load is not None and found.load not in mine)
        for found in findings
    )


def beside_ready(reasons: Sequence[str]) -> str:
    """What stands beside READY: what no read confirmed (P8), and what the config made a note."""
    decided = sum(reason.endswith(DECIDED) for reason in reasons)
    told = [f"{count(decided, 'file')} not confirmed and decided on by a person"] if decided else []
    if lowered := len(reasons) - decided:
        told.append(f"{count(lowered, 'kind')} of findings made a note by the config")
    return ", ".join(told)
