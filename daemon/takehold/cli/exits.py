"""Exit statuses, one place for all commands (design: the command line)."""

from __future__ import annotations

from takehold.model.errors import (
    AnotherInstance,
    EvidenceError,
    TakeholdError,
    UsageError,
)

FINE = 0
MEDIA = 1
USAGE = 2
WORLD = 3
ANOTHER = 4


def status_of(error: TakeholdError) -> int:
    """The exit status that an error ends a command with."""
    match error:
        case UsageError():
            return USAGE
        case AnotherInstance():
            return ANOTHER
        case EvidenceError():
            return MEDIA
        case _:
            return WORLD
