"""How grave a finding is where the config says otherwise: told with it, and nothing is dropped."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from takehold.model.finding import Finding, Severity
from takehold.model.settings import Settings

_TOLD = re.compile(r" By itself a (hold|look|note); the config makes it a (hold|look|note)\.\Z")


def weighed(found: Finding, settings: Settings) -> Finding:
    """The finding with the severity that the config gives its code; its own one is named."""
    asked = dict(settings.severities).get(found.code, found.severity)
    if asked is found.severity:
        return found
    says = f"{found.says} By itself a {found.severity}; the config makes it a {asked}."
    return found._replace(severity=asked, says=says)


def own_words(says: str) -> str:
    """What a finding says without the words about its severity."""
    return _TOLD.sub("", says)


def lowered(found: Iterable[Finding]) -> tuple[str, ...]:
    """What is said beside READY: what would hold the day by itself, and the config made a note."""
    notes = (f for f in found if f.severity is Severity.NOTE)
    by_code = Counter((f.code, told[1]) for f in notes if (told := _TOLD.search(f.says)))
    return tuple(
        f"{code}: {count} of the day's findings would be a {own} by itself; the config makes it a "
        "note, and nobody had to decide."
        for (code, own), count in sorted(by_code.items())
    )
