"""When may failed work be tried again?"""

from __future__ import annotations

from takehold.model.errors import TakeholdError
from takehold.model.facts import Trouble

FIRST_WAIT_S = 5
LONGEST_WAIT_S = 300


def trouble(key: str, error: TakeholdError, before: Trouble | None, now: int) -> Trouble:
    """The trouble that a failure leaves: each wait is twice the last, five minutes at most."""
    tries = before.tries + 1 if before else 1
    wait = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** min(tries - 1, 10))
    since = before.since if before else now
    return Trouble(key, error.code, error.says, error.do, since, tries, now + wait)


def due(before: Trouble | None, now: int) -> bool:
    """Whether the work of a key may be tried now.

    A wait beyond the longest means that the clock was set back since: it counts no more.
    """
    return before is None or not 0 < before.retry_at - now <= LONGEST_WAIT_S
