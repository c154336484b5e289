"""Making findings."""

from __future__ import annotations

from takehold.model.finding import Finding, Severity


def finding(
    code: str,
    severity: Severity,
    subject: str,
    says: str,
    do: str = "",
    recording: int | None = None,
    load: int | None = None,
) -> Finding:
    """A finding; the check gives it its id once it knows the whole day."""
    return Finding("", code, severity, subject, says, do, recording, load)
