"""May this card be handed over, may it be cleared?

Advice only: it never says that a card may be cleared before post has confirmed every file by a
signed receipt, and the production's rules come first.
"""

from __future__ import annotations

from dataclasses import dataclass

from takehold.decide.judge import judge
from takehold.decide.manifest import Judged
from takehold.model.facts import Revised
from takehold.model.finding import Severity, Verdict
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


def card_answer(ledger: Ledger, load: Load, settings: Settings) -> CardAnswer:
    """Weigh one load over all days that it has files of."""
    ids = [i for ids in ledger.of_load.get(load.id, {}).values() for i in ids]
    days = tuple(sorted({ledger.recordings[i].day for i in ids} or {load.day}))
    against: list[str] = []
    clearing: list[str] = []
    if not ids:
        against.append("No file of this card was inventoried.")
    for day in days:
        judged = judge(ledger, day, settings)
        against += _against_day(ledger, judged, load)
        clearing += _unconfirmed(ledger, judged)
    return CardAnswer(load, days, tuple(against), tuple(against + clearing))


def _against_day(ledger: Ledger, judged: Judged, load: Load) -> list[str]:
    day = judged.view.day
    mine = {s.recording.id for s in judged.view.files if s.load.id == load.id}
    reasons = [
        f"{day}: {f.says}"
        for f in judged.findings
        if (f.recording is None or f.recording in mine)
        and (
            f.severity is Severity.HOLD or (f.severity is Severity.LOOK and f.id not in ledger.acks)
        )
    ]
    others = sum(r.load == load.id and r.id not in mine for r in ledger.day(day))
    if others:
        reasons.append(f"{day}: {others} files of this card belong to another production.")
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
    good = [r for r in answers if r.complete and r.signer and r.confirmed]
    if good and _says_all(newest, judged, max(r.intact for r in good)):
        return []
    if good:
        return [f"{day}: {newest.name} lacks files of that day; renew it: takehold wrap {day}"]
    whole = [r for r in answers if r.complete]
    if any(r.signer for r in whole):
        why = "is signed by a key that nobody vouched for"
    else:
        why = "is not signed; ask who sent it" if whole else "names altered or missing files"
    return [f"{day}: the receipt for {newest.name} {why}."]


def _says_all(newest: Revised, judged: Judged, intact: int) -> bool:
    """Whether a manifest of which `intact` files arrived can name every file known by now.

    Facts may be younger than it: the receipt for it says nothing of those.
    """
    reads = [s.recording.readings[0].at for s in judged.view.files if s.recording.readings]
    current = sum(s.current for s in judged.view.files)
    return current <= intact and all(at <= newest.at for at in reads)
