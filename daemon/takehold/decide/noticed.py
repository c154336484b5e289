"""Findings whose ids hold over restarts, rebuilds and machines."""

from __future__ import annotations

import hashlib

from takehold.model.finding import Finding, Severity


def finding(
    code: str,
    severity: Severity,
    subject: str,
    says: str,
    do: str = "",
    recording: int | None = None,
) -> Finding:
    """A finding whose id depends on what and whom it is about, and on nothing else."""
    name = hashlib.sha256(f"{code}\n{subject}".encode()).hexdigest()[:8]
    return Finding(name, code, severity, subject, says, do, recording)
