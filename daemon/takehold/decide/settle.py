"""Is anybody still writing this file?"""

from __future__ import annotations

from takehold.model.situation import Sighted

SECOND_NS = 1_000_000_000


def settled(file: Sighted, settle_seconds: int, *, watched: bool) -> bool:
    """A card in this machine's reader has no other writer; a watch folder must stand still."""
    return not watched or file.still_ns >= settle_seconds * SECOND_NS
