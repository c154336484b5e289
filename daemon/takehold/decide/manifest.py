"""What a day's manifest says: a document built from what is known, and from nothing else.

Layout: docs/manifest.md. The document is canonical JSON (RFC 8785) once written; here it is
plain dicts. Its basis leaves out numbers and times, so that a day of which nothing changed gets
no new revision.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from takehold.decide.judged import Judged
from takehold.decide.manifest_compared import comparison_entries
from takehold.decide.manifest_file import file_entry, fitting, writable
from takehold.decide.manifest_names import names_of, stamp
from takehold.decide.manifest_takes import take_entries, was_read
from takehold.decide.standing import DayStanding, Standing
from takehold.formats.canonical import canonical
from takehold.formats.names import display
from takehold.model.facts import Listed, Met, Revised
from takehold.model.finding import Finding
from takehold.model.ledger import Ledger
from takehold.model.recording import Load
from takehold.model.settings import Settings
from takehold.model.sound import Kind

if TYPE_CHECKING:  # a command that shows a day knows no drives
    from takehold.model.situation import Target

SCHEMA = "takehold-manifest/1"
NAMESPACE = "takehold-manifest"
PRINCIPAL = "takehold"
# Said in `findings`, and by itself no reason for a new revision: they come and go with a cable.
PASSING = frozenset(
    {"destination-absent", "destination-lacks", "manifest-not-published", "still-written"}
)
# Takes follow from what the files say.
UNSAID = frozenset({"destinations", "program", "reasons", "takes"})
TIMES = frozenset({"at", "proven_at", "first_seen_at"})


@dataclass(frozen=True, slots=True)
class Writer:
    """Who writes: the machine's name and the program's version."""

    machine: str
    program: str


def document(
    judged: Judged, ledger: Ledger, settings: Settings, targets: Iterable[Target], writer: Writer
) -> dict[str, object]:
    """The day's document without `revision`, `written_at` and `previous`."""
    view = judged.view
    files = [
        file_entry(s, view, settings.production, stamp)
        for s in view.files
        if s.recording.digests is not None
    ]
    compared = comparison_entries(view, ledger, stamp)
    return {
        "schema": SCHEMA,
        "production": settings.production,
        "unit": settings.unit,
        "mixer": settings.mixer,
        "machine": writer.machine,
        "program": writer.program,
        "day": view.day,
        "asked": {
            "copies_required": settings.copies_required,
            "sources": [{"name": s.name, "role": s.role.value} for s in settings.sources],
            "destinations": [d.name for d in settings.destinations],
        },
        "loads": [_load(load, ledger.listings.get(load.id)) for load in view.loads],
        "destinations": _destinations(view, targets),
        "files": files,
        "takes": [
            entry
            for take in judged.takes
            if was_read(take, view)
            for entry in take_entries(take, view, judged.coverage)
        ],
        "findings": [_finding(f, ledger) for f in judged.findings],
        "totals": _totals(view.files),
        "verdict": judged.verdict.value,
        "reasons": [fitting(r) for r in judged.reasons],
        **({"comparisons": compared} if compared else {}),
    }


def revision(
    doc: dict[str, object],
    number: int,
    at: int,
    previous: Revised | None,
    loose: Iterable[Met] = (),
) -> dict[str, object]:
    """The document as one revision (P11).

    `previous` is the manifest written before, of any day; `loose` are others that were found again
    after a catalogue was lost, and that no manifest names yet.
    """
    others = [_link(met) for met in loose if previous is None or met.sha256 != previous.sha256]
    also = {"also_follows": others} if others else {}
    link = previous and _link(previous)
    return {**doc, "revision": number, "written_at": stamp(at), "previous": link, **also}


def _link(to: Revised | Met) -> dict[str, object]:
    name = names_of(to.day, to.number)["manifest"]
    return {"name": name, "day": to.day, "revision": to.number, "sha256": to.sha256}


def basis(doc: dict[str, object]) -> str:
    """A digest over what the document says, but for times and passing findings.

    The verdict counts, and a person's decision: a day that came to be READY gets a new revision.
    """
    kept = {k: v for k, v in doc.items() if k not in UNSAID}
    found = doc["findings"]
    assert isinstance(found, list)
    lasting = [f for f in found if f["code"] not in PASSING]
    decided = [f for f in found if f["code"] in PASSING and f["decision"]]
    # Its sentence may tell of the newest revision: one that says so must not call for another.
    kept["findings"] = [*lasting, *({k: f[k] for k in ("id", "decision")} for f in decided)]
    return hashlib.sha256(canonical(kept, without=TIMES)).hexdigest()


def _load(load: Load, listed: Listed | None) -> dict[str, object]:
    return {
        "id": load.id,
        "source": load.source,
        "role": load.role.value,
        "label": display(load.label.encode("utf-8", "surrogateescape")),
        "folder": display(load.folder),
        "identity": writable(load.identity),
        "first_seen_at": stamp(load.seen_at),
        "files": listed.files if listed else 0,
        "litter": [{"name": n, "count": c} for n, c in listed.litter] if listed else [],
        "skipped": [{"path": fitting(display(s.path)), "why": s.why} for s in listed.skipped]
        if listed
        else [],
    }


def _destinations(view: DayStanding, targets: Iterable[Target]) -> list[dict[str, object]]:
    known: dict[str, dict[str, object]] = {}
    last = {copy.root: copy for standing in view.files for copy in standing.copies}
    for copy in last.values():
        known[copy.root] = _destination(copy.destination, copy.root, copy.disks, present=False)
    for target in targets:
        root = target.root
        known[root.identity] = _destination(target.name, root.identity, root.disks, present=True)
    return [known[k] for k in sorted(known)]


def _destination(
    name: str, identity: str, disks: frozenset[str], *, present: bool
) -> dict[str, object]:
    return {
        "name": name,
        "identity": writable(identity),
        "disks": sorted(disks),
        "present": present,
    }


def _finding(found: Finding, ledger: Ledger) -> dict[str, object]:
    ack = ledger.acks.get(found.id)
    return {
        "id": found.id,
        "code": found.code,
        "severity": found.severity.value,
        "subject": fitting(found.subject),
        "says": fitting(found.says),
        "do": found.do,
        "decision": ack and {"note": ack.note, "at": stamp(ack.at)},
    }


def _totals(files: Iterable[Standing]) -> dict[str, object]:
    counted = [s for s in files if s.recording.digests is not None]
    return {
        "files": len(counted),
        "recordings": sum(s.recording.description.kind is not Kind.OTHER for s in counted),
        "bytes": sum(s.recording.stamp.size for s in counted),
    }
