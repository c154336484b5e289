"""When may failed work be tried again?"""

from __future__ import annotations

from takehold.decide.reads import DISPUTES
from takehold.model.errors import TakeholdError, Unreadable
from takehold.model.facts import Trouble

FIRST_WAIT_S = 5
LONGEST_WAIT_S = 300
# A file that cannot be read is tried so often without a wait, after everything else of its card;
# a card's medium that failed does not mend itself, and every try wears it: then it is left alone.
READS_AT_ONCE = 3
MOST_READS_OF_A_CARD = 10


def trouble(key: str, error: TakeholdError, before: Trouble | None, now: int) -> Trouble:
    """The trouble that a failure leaves: each wait is twice the last, five minutes at most."""
    tries = before.tries + 1 if before else 1
    wait = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** min(tries - 1, 10))
    if error.code == Unreadable.code and tries < READS_AT_ONCE:
        wait = 0
    since = before.since if before else now
    return Trouble(key, error.code, error.says, error.do, since, tries, now + wait)


def due(before: Trouble | None, now: int) -> bool:
    """Whether the work of a key may be tried now.

    A wait beyond the longest means that the clock was set back since: it counts no more.
    """
    return before is None or not 0 < before.retry_at - now <= LONGEST_WAIT_S


def came_anew(before: Trouble | None) -> bool:
    """Whether reads differ, and the card may lie in another reader since."""
    return before is not None and before.code in DISPUTES and not before.tries


def unreadable(before: Trouble | None) -> bool:
    """Whether the work failed because a file on a card cannot be read."""
    return before is not None and before.code == Unreadable.code


def given_up(before: Trouble | None, *, watched: bool) -> bool:
    """Whether a card's file was read in vain often enough; a share (`watched`) may get well."""
    return (
        before is not None
        and unreadable(before)
        and not watched
        and before.tries >= MOST_READS_OF_A_CARD
    )


def anew(before: Trouble, now: int) -> Trouble:
    """The trouble as it is once somebody came, or something was put in: tried at once."""
    tries = 0 if unreadable(before) or before.code in DISPUTES else before.tries
    return before._replace(retry_at=min(before.retry_at, now), tries=tries)
