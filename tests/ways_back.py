"""The ways back, written for tests from what is published: docs/manifest.md and arithmetic."""

from __future__ import annotations

import re
from fractions import Fraction

from takehold.model.sound import Rate

_ENCODED = re.compile(rb"%([0-9A-Fa-f]{2})")


def unsafe_part(part: bytes) -> bytes | None:
    """The name of which this is the safe form; None if it was cut (docs/manifest.md, Names)."""
    if b"%~" in part:
        return None
    return _ENCODED.sub(lambda found: bytes.fromhex(found.group(1).decode()), part)


def first_sample(frame: int, sample_rate: int, rate: Rate) -> Fraction:
    """Where a frame begins, in samples since midnight; not always a whole number."""
    return Fraction(frame * rate.denominator * sample_rate, rate.numerator)
