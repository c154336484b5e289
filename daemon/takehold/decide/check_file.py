"""The checks of one recording."""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Set as AbstractSet

from takehold.decide.backup_words import full_name
from takehold.decide.check_backup import backup_findings
from takehold.decide.check_versions import version_findings, version_lost
from takehold.decide.day import DATED
from takehold.decide.litter import holds_audio, named_wave
from takehold.decide.noticed import KEEP, decided_on, of_file
from takehold.decide.reads import Reads, other_digests
from takehold.decide.sides import is_card
from takehold.decide.standing import DayStanding, Standing
from takehold.decide.unsettled import UNSETTLED_DO, UNSETTLED_SAYS, dispute, is_unsettled
from takehold.formats.names import display, shown
from takehold.model.facts import Trouble
from takehold.model.finding import Finding, Severity
from takehold.model.recording import Proof, Seen
from takehold.model.settings import Settings
from takehold.model.sound import Complaint, Description, Kind

HOLD, LOOK, NOTE = Severity.HOLD, Severity.LOOK, Severity.NOTE

COMPLAINTS = {
    "header-unfinished": (
        LOOK,
        "its header was never finished",
        "The bytes are copied as they are. Let the recorder repair it, or tell post.",
    ),
    "header-untrue": (
        LOOK,
        "its header and its length disagree",
        "It may be cut off. Listen to its end in the recorder.",
    ),
    "frame-cut": (LOOK, "it ends inside a sample", "Listen to its end in the recorder."),
    "no-fmt": (LOOK, "it does not say its format", "Open it in the recorder."),
    "no-data": (LOOK, "it holds no audio", "Open it in the recorder."),
    "not-described": (LOOK, "its header could not be read", "Try another reader or cable."),
    "empty-file": (LOOK, "it has no bytes", "Look at the take in the recorder."),
    "not-wave": (LOOK, "it is named like audio and is none", "Open it in the recorder."),
    "not-decoded": (LOOK, "a decoder does not read it whole", "Listen to it in the recorder."),
    "header-odd": (NOTE, "its header is odd, and harmless", ""),
    "ixml-unreadable": (NOTE, "its iXML cannot be read", ""),
    "bext-unreadable": (NOTE, "its bext chunk cannot be read", ""),
    "metadata-disagrees": (NOTE, "bext and iXML disagree; bext counts", ""),
}

CUT_OFF = frozenset({"header-unfinished", "header-untrue"})


def file_findings(
    standing: Standing,
    view: DayStanding,
    settings: Settings,
    trouble: Trouble | None,
    reports: AbstractSet[int],
) -> Iterator[Finding]:
    """Everything to say of one version of one file; `reports` are compared with their cards."""
    if standing.current:
        yield from _complaints(standing, view)
        yield from backup_findings(standing, view)
        yield from _opaque(standing, view, reports)
    yield from version_findings(standing, view)
    if standing.owes_copies:
        yield from _copies(standing, settings, trouble)
    yield from _reads(standing, settings, trouble)


def _complaints(standing: Standing, view: DayStanding) -> Iterator[Finding]:
    said = standing.recording.description
    complaints = _of_form(said)
    if said.frames == 0 and not complaints:  # a whole file: opened, and no more
        complaints.append(Complaint("no-data", "0 frames"))
    for complaint in complaints:
        severity, says, do = COMPLAINTS[complaint.code]
        if complaint.code == "not-wave" and not holds_audio(standing.recording.path):
            continue
        detail = f" ({shown(complaint.detail)})" if complaint.detail else ""
        yield _of_its_form(standing, view, complaint.code, severity, says + detail, do)


def _of_its_form(
    standing: Standing, view: DayStanding, code: str, severity: Severity, says: str, do: str
) -> Finding:
    """A note of the backup's file where the primary's is the same to the byte: decided there."""
    if (mate := decided_on(standing, view)) is not None:
        severity, do = NOTE, f"{full_name(mate)} has the same bytes: decide on that one."
    return of_file(standing, code, severity, says, do)


def _of_form(said: Description) -> list[Complaint]:
    """What is wrong with the file itself; what is odd about its date is said of its card.

    One that was cut off is cut anywhere: that it ends inside a sample is no news then.
    """
    known = {c.code for c in said.complaints}
    told = DATED if known.isdisjoint(CUT_OFF) else {*DATED, "frame-cut"}
    return [c for c in said.complaints if c.code not in told]


def _opaque(standing: Standing, view: DayStanding, reports: AbstractSet[int]) -> Iterator[Finding]:
    description, path = standing.recording.description, standing.recording.path
    if description.kind is not Kind.OTHER:
        return
    if named_wave(path) and not _of_form(description):
        says = "it is named like a WAVE file and was not recognised as one"
        yield _of_its_form(standing, view, "not-wave", LOOK, says, "Open it in the recorder.")
    if standing.recording.id not in reports:
        says = "it is copied and proven as bytes; its content was not looked at"
        yield of_file(standing, "content-not-looked-at", NOTE, says)


def _copies(standing: Standing, settings: Settings, trouble: Trouble | None) -> Iterator[Finding]:
    if trouble is not None and trouble.code == "file-vanished":
        yield of_file(standing, "file-vanished", LOOK, "it left its card before it was copied", "")
        return
    if not standing.current and not standing.copies:
        yield version_lost(standing, "read")
    elif standing.devices < settings.copies_required:
        why = f" ({trouble.says})" if trouble else ""
        says = f"{standing.devices} of {settings.copies_required} proven copies{why}"
        away = is_card(standing.load, settings) and not standing.copies
        first = f"Put {shown(standing.load.label)} in, and connect" if away else "Connect"
        do = f"{first} the drives; if they are in, see takehold status. Keep the card."
        do = trouble.do if trouble and trouble.do else do
        yield of_file(standing, "copies-short", HOLD, says, do)
    for copy in standing.copies:
        where = shown(copy.destination)
        if copy.proof.seen is not Seen.MEDIUM:
            says = f"its copy on {where} could not be read past the cache"
            yield of_file(standing, "read-back-not-provable", NOTE, says, at=where)
        if not copy.proof.durable:
            yield _not_durable(standing, copy.proof, where)
        if copy in standing.doubtful:
            says = f"its copy on {where} could not be read again and does not count"
            yield of_file(standing, "copy-unreadable", LOOK, says, "Check that drive.", at=where)
        if copy.path != standing.recording.place:
            says = f"on {where} it stands under another name, {display(copy.path)}"
            yield of_file(standing, "name-differs", NOTE, says, at=where)


def _not_durable(standing: Standing, proof: Proof, where: str) -> Finding:
    says = f"{where} cannot promise that its copy outlives a power cut"
    do = "Eject the drive, put it back and run: takehold recheck"
    if proof.remounted:
        says += "; it was read whole again after that drive had been out and came back"
        do = ""
    elif proof.written_on:
        do = "Eject the drive and put it in again: its copies are then read anew by themselves."
    return of_file(standing, "not-durable", NOTE, says, do, at=where)


def _reads(standing: Standing, settings: Settings, trouble: Trouble | None) -> Iterator[Finding]:
    if standing.reads is Reads.DISPUTED and not standing.confirmed:
        yield _disputed(standing, is_unsettled(trouble))
    elif standing.current and standing.reads is Reads.FIRST_WRONG:
        says = "its first read was refuted by later ones, and it was not copied anew yet"
        do = "Put the card in, with another reader or cable. " + KEEP
        yield of_file(standing, "first-read-wrong", HOLD, says, do)
    elif standing.reads is Reads.AGREED and not _second_was_cold(standing):
        says = "its second read could not be shown to come from the card itself"
        yield of_file(standing, "second-read-not-provable", NOTE, says)
    elif standing.current and standing.reads is Reads.ONCE and not standing.confirmed:
        says = "its card was read once only, and no second read or backup confirms it"
        do = "Leave the card in, or put it in again."
        if settings.has_backup():
            do = "Put the other card in; or have this one in at wrap: takehold reads it again then."
        yield of_file(standing, "unconfirmed", HOLD, says, do)


def _disputed(standing: Standing, unsettled: bool) -> Finding:
    mine, other = standing.recording.digests, other_digests(standing.recording)
    says = (
        f"{full_name(standing)}: the card was read differently twice: sha256 "
        f"{mine.sha256[:16] if mine else '?'}… and {other.sha256[:16] if other else '?'}…"
    )
    if standing.current and not unsettled:
        do = "Use another reader and cable; it is read again by itself. " + KEEP
        return dispute(standing.recording, HOLD, says + ".", do)
    return dispute(standing.recording, LOOK, says + UNSETTLED_SAYS, UNSETTLED_DO)


def _second_was_cold(standing: Standing) -> bool:
    return any(r.seen is Seen.MEDIUM for r in standing.recording.readings[1:])
