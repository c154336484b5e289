"""Making findings."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from takehold.model.finding import Finding, Severity
from takehold.model.recording import Recording


def finding(
    code: str,
    severity: Severity,
    subject: str,
    says: str,
    do: str = "",
    recording: int | None = None,
    load: int | None = None,
    covers: str = "",
) -> Finding:
    """A finding; the check gives it its id once it knows the whole day."""
    return Finding("", code, severity, subject, says, do, recording, load, covers)


def content_of(recording: Recording) -> str:
    """Which bytes: their checksum, or before they were read what the card shows of the file."""
    read, stamp = recording.digests, recording.stamp
    return read.sha256 if read else f"{stamp.size} {stamp.mtime_ns}"


def these(recordings: Iterable[Recording]) -> str:
    """What a finding covers that is about just these files: one more, and it is another finding."""
    told = sorted(f"{content_of(recording)} {recording.place.hex()}" for recording in recordings)
    return hashlib.sha256("\n".join(told).encode()).hexdigest()
