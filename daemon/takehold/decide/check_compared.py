"""Recordings whose samples were not compared with the backup's yet."""

from __future__ import annotations

from collections.abc import Iterator

from takehold.decide.keys import compare_key
from takehold.decide.noticed import finding
from takehold.decide.standing import DayStanding
from takehold.formats.names import display, shown
from takehold.model.finding import Finding, Relation, Severity
from takehold.model.ledger import Ledger


def uncompared_findings(view: DayStanding, ledger: Ledger) -> Iterator[Finding]:
    """One for each of them; why it failed, where it was tried."""
    for ours, theirs in view.uncompared:
        trouble = ledger.troubles.get(compare_key(ours, theirs))
        for number in ours:
            standing = view.of(number)  # None where it is a further copy of another day's
            answer = None if standing is None else standing.answer
            if standing is None or answer is None or answer.relation is not Relation.UNCOMPARED:
                continue
            recording = standing.recording
            says = (
                f"{shown(standing.load.label)}/{display(recording.path)}: its audio is being "
                "compared with the backup's."
            )
            do = "Leave the drive connected, or connect one that has both cards' files."
            if trouble is not None:
                says, do = f"{says} {trouble.says}", trouble.do or do
            subject = display(recording.place)
            yield finding("backup-uncompared", Severity.HOLD, subject, says, do, number)
