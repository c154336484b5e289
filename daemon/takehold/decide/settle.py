"""Is anybody still writing this file?"""

from __future__ import annotations

from takehold.model.situation import Sight, Sighted

SECOND_NS = 1_000_000_000


def settled(file: Sighted, sight: Sight, settle_seconds: int) -> bool:
    """A card in this machine's reader has no other writer; a watch folder must stand still."""
    return not sight.watched or file.still_ns >= settle_seconds * SECOND_NS
