"""What is known, as plain data: the one source of every table and of every `--json`."""

from __future__ import annotations

from takehold.cli.tables import Row
from takehold.cli.take_facts import take_facts
from takehold.decide.card import CAUTION, CardAnswer
from takehold.decide.judged import Judged
from takehold.decide.manifest_names import stamp
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.names import display, shown
from takehold.formats.timecode import label
from takehold.model.finding import Finding
from takehold.model.ledger import Ledger


def day_facts(judged: Judged, ledger: Ledger) -> Row:
    """A day: verdict, reasons, findings, takes, manifest."""
    newest = ledger.newest(judged.view.day)
    return {
        "day": judged.view.day,
        "verdict": judged.verdict.value,
        "reasons": list(judged.reasons),
        "files": [file_facts(s) for s in judged.view.files if s.current],
        "takes": [take_facts(take, judged.view, judged.coverage) for take in judged.takes],
        "findings": [_finding_facts(f, judged.view, ledger) for f in judged.findings],
        "manifest": newest
        and {
            "name": newest.name,
            "revision": newest.number,
            "verdict": newest.verdict,
            "written_at": stamp(newest.at),
            "sha256": newest.sha256,
        },
    }


def _finding_facts(finding: Finding, view: DayStanding, ledger: Ledger) -> Row:
    """A finding; `load` and `path` say which file it is about, None where it is about none."""
    about = None if finding.recording is None else view.of(finding.recording)
    return {
        "id": finding.id,
        "code": finding.code,
        "severity": finding.severity.value,
        "subject": finding.subject,
        "load": about and about.load.id,
        "path": about and display(about.recording.path),
        "says": finding.says,
        "do": finding.do,
        "decision": ledger.acks[finding.id].note if finding.id in ledger.acks else None,
    }


def file_facts(standing: Standing) -> Row:
    """One file of a day; `start` is its timecode where rate and reference are known."""
    recording = standing.recording
    said, made = recording.description.metadata, recording.description.format
    start = None
    if made and made.sample_rate and said.timecode_rate and said.time_reference is not None:
        start = label(said.time_reference, made.sample_rate, said.timecode_rate)
    seconds = None
    if made and made.sample_rate and recording.description.frames:
        seconds = round(recording.description.frames / made.sample_rate, 3)
    return {
        "card": shown(standing.load.label),
        "load": standing.load.id,
        "role": standing.load.role.value,
        "path": display(recording.path),
        "size": recording.stamp.size,
        "scene": shown(said.scene),
        "take": shown(said.take),
        "circled": said.circled,
        "start": start,
        "seconds": seconds,
        "tracks": [shown(t.name) for t in said.tracks],
        "copies": [
            {
                "destination": shown(c.destination),
                "proven_at": stamp(c.proof.at),
                "read_back": c.proof.seen.value,
            }
            for c in standing.copies
        ],
        "devices": standing.devices,
        "counterpart": standing.answer.relation.value if standing.answer else None,
        "confirmed": standing.confirmed,
    }


def card_facts(answer: CardAnswer) -> Row:
    """A card: may it be handed over, may it be cleared, and what speaks against it."""
    return {
        "card": shown(answer.load.label),
        "source": shown(answer.load.source),
        "role": answer.load.role.value,
        "first_seen_at": stamp(answer.load.seen_at),
        "days": list(answer.days),
        "verdict": answer.verdict.value,
        "against_hand_over": list(answer.against_hand_over),
        "post_has_confirmed": not answer.against_clearing,
        "against_clearing": list(answer.against_clearing),
        "caution": CAUTION,
    }
