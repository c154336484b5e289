"""How grave a finding is where the config says otherwise: told with it, and nothing is dropped."""

from __future__ import annotations

import re
from dataclasses import replace

from takehold.model.finding import Finding
from takehold.model.settings import Settings

_TOLD = re.compile(r" By itself a (?:hold|look|note); the config makes it a (?:hold|look|note)\.\Z")


def weighed(found: Finding, settings: Settings) -> Finding:
    """The finding with the severity that the config gives its code; its own one is named."""
    asked = dict(settings.severities).get(found.code, found.severity)
    if asked is found.severity:
        return found
    says = f"{found.says} By itself a {found.severity}; the config makes it a {asked}."
    return replace(found, severity=asked, says=says)


def own_words(says: str) -> str:
    """What a finding says without the words about its severity."""
    return _TOLD.sub("", says)
