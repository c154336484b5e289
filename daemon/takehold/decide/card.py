"""May this card be handed over, may it be cleared?

Advice only: it never says that a card may be cleared before post has confirmed every file by a
signed receipt, and the production's rules come first.
"""

from __future__ import annotations

from dataclasses import dataclass

from takehold.decide.check import Around
from takehold.decide.judge import NOTHING_AROUND, judge
from takehold.decide.judged import Judged
from takehold.decide.noticed import many_files
from takehold.model.facts import Revised
from takehold.model.finding import Finding, Severity, Verdict
from takehold.model.ledger import Ledger
from takehold.model.recording import Load
from takehold.model.settings import Settings

CAUTION = "Keep the card until post has confirmed; the production's rules come first."


@dataclass(frozen=True, slots=True)
class CardAnswer:
    """Both answers for one load, with the reasons against each."""

    load: Load
    days: tuple[str, ...]
    against_hand_over: tuple[str, ...]
    against_clearing: tuple[str, ...]

    @property
    def verdict(self) -> Verdict:
        """READY when nothing speaks against handing it over."""
        return Verdict.HOLD if self.against_hand_over else Verdict.READY


def card_answer(
    ledger: Ledger, load: Load, settings: Settings, around: Around = NOTHING_AROUND
) -> CardAnswer:
    """Weigh one load over all days that it has files of."""
    ids = [i for ids in ledger.of_load.get(load.id, {}).values() for i in ids]
    days = tuple(sorted({ledger.recordings[i].day for i in ids} or {load.day}))
    against: list[str] = []
    clearing: list[str] = []
    listed = ledger.listings.get(load.id)
    if not ids:
        against.append("No file of this card was inventoried.")
    elif listed is not None and not listed.files:
        against.append("It held no file any more when it was listed last: it was emptied.")
    for day in days:
        judged = judge(ledger, day, settings, around)
        against += _against_day(ledger, judged, load)
        clearing += _unconfirmed(ledger, judged)
    return CardAnswer(load, days, tuple(against), tuple(against + clearing))


def _against_day(ledger: Ledger, judged: Judged, load: Load) -> list[str]:
    day = judged.view.day
    mine = {s.recording.id for s in judged.view.files if s.load.id == load.id}
    reasons = [
        f"{day}: {f.says}"
        for f in judged.findings
        if _is_about(f, load, mine) and _is_open(f, ledger)
    ]
    if not reasons and judged.verdict is Verdict.HOLD:
        reasons.append(
            f"{day}: nothing is open about its own files; the day is HOLD for others: takehold day"
        )
    others = sum(r.load == load.id and r.id not in mine for r in ledger.day(day))
    if others:
        belong = f"belong{'s' if others == 1 else ''} to another production"
        reasons.append(f"{day}: {many_files(others)} of this card {belong}.")
    newest = ledger.newest(day)
    if newest is None:
        reasons.append(f"{day}: no manifest was written yet (takehold wrap {day}).")
    elif newest.verdict != judged.verdict.value:
        reasons.append(f"{day}: {newest.name} says {newest.verdict}; renew it: takehold wrap {day}")
    return reasons


def _unconfirmed(ledger: Ledger, judged: Judged) -> list[str]:
    day = judged.view.day
    newest = ledger.newest(day)
    if newest is None:
        return []
    answers = [r for r in ledger.receipts if r.manifest_sha256 == newest.sha256]
    if not answers:
        return [f"{day}: no receipt for {newest.name} has come back."]
    # The last word counts, of those who are known if there are any: a bad answer is not hidden.
    vouched = [r for r in answers if r.signer and r.confirmed]
    last = max(vouched or answers, key=lambda r: (r.at, r.complete, r.intact))
    if not last.complete:
        why = "names altered or missing files"
    elif not last.signer:
        why = "is not signed; ask who sent it"
    elif not last.confirmed:
        why = "is signed by a key that nobody vouched for"
    elif _says_all(newest, judged, last.intact):
        return []
    else:
        return [f"{day}: {newest.name} lacks files of that day; renew it: takehold wrap {day}"]
    return [f"{day}: the receipt for {newest.name} {why}."]


def _is_about(found: Finding, load: Load, mine: set[int]) -> bool:
    """Whether a finding concerns this card: one of its files, the card, or the whole day."""
    if found.recording is not None:
        return found.recording in mine
    return found.load in (None, load.id)


def _is_open(found: Finding, ledger: Ledger) -> bool:
    if found.severity is Severity.LOOK:
        return found.id not in ledger.acks
    return found.severity is Severity.HOLD


def _says_all(newest: Revised, judged: Judged, intact: int) -> bool:
    """Whether a manifest of which `intact` files arrived can name every file known by now.

    Facts may be younger than it: the receipt for it says nothing of those.
    """
    reads = [s.recording.readings[0].at for s in judged.view.files if s.recording.readings]
    current = sum(s.current for s in judged.view.files)
    return current <= intact and all(at <= newest.at for at in reads)
